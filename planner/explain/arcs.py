"""Extra arcs: pairs of site and pool that one rule alone keeps apart, with what it takes to open each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Fleet, Floats, Ints
from planner.rules import RULES, Checker, Pairs
from planner.rules.pairs import pool_pairs
from planner.sizing import Problem

REACH_SHARE, REACH_MS = 0.5, 20.0  # budgets are raised by half at most, or by 20 ms if that is more
MOST_ARCS = 300_000  # beyond it the nearest few of each site: HiGHS needs minutes on more


@dataclass(frozen=True)
class ExtraArcs:
    """Pairs that a change would open; arrays of shape (X,), positions are those of a Problem.

    ``switch``: which change opens the pair, 0..switches-1, and ``names`` (switches,) its site or pool. ``need`` is
    what the change has to reach, an RTT in ms for budgets and for releases the rank of one (`Facts.ranks`); ``size``
    is how far that is, in ms for budgets and 0 for releases. ``cut_short`` says that pairs were left out to keep the
    model small.
    """

    site: Ints
    pool: Ints
    switch: Ints
    need: Floats
    size: Floats
    names: tuple[str, ...]
    cut_short: bool = False

    def __len__(self) -> int:
        return len(self.site)


def blocked_only_by(checker: Checker, code: str) -> Pairs:
    """Return the pairs of sites that need a host which break rule ``code`` and no other."""
    pairs = pool_pairs(checker.facts.fleet, checker.facts.latency)
    pairs = pairs.take(checker.needs_host[pairs.site])
    for rule in (*RULES, *checker.own):
        broken = rule.broken(checker.facts, pairs)
        pairs = pairs.take(broken if rule.code == code else ~broken)
    return pairs


def budget_arcs(fleet: Fleet, checker: Checker, problem: Problem, most: int = MOST_ARCS) -> ExtraArcs:
    """Return the pairs that a larger latency budget of the site would open, one change for each site."""
    pairs = blocked_only_by(checker, "latency")
    budgets = fleet.budgets_ms[pairs.site]
    pairs = pairs.take(pairs.rtt_ms - budgets <= np.maximum(REACH_SHARE * budgets, REACH_MS))
    site, pool, pairs = within(fleet, problem, pairs)
    need = pairs.rtt_ms
    size = pairs.rtt_ms - fleet.budgets_ms[pairs.site]
    cut_short = len(size) > most
    if cut_short:
        keep = nearest(site, size, max(1, most // max(1, len(np.unique(site)))))
        site, pool, need, size = site[keep], pool[keep], need[keep], size[keep]
    switches, switch = np.unique(site, return_inverse=True)
    names = tuple(fleet.site_ids[problem.site_at[s]] for s in switches)
    return ExtraArcs(site, pool, switch.astype(np.int64), need, size, names, cut_short)


def release_arcs(fleet: Fleet, checker: Checker, problem: Problem) -> ExtraArcs:
    """Return the pairs that a newer release of the pool's hosts would open, one change for each pool.

    Under ``not_older`` only: under ``same_major`` a newer release of a host shuts out the sites that it serves now.
    """
    blocked = blocked_only_by(checker, "host_release")
    if fleet.policy.host_release_rule != "not_older":
        blocked = blocked.take(np.zeros(0, dtype=np.int64))
    site, pool, pairs = within(fleet, problem, blocked)
    need = checker.facts.ranks[0][pairs.site].astype(np.float64)
    switches, switch = np.unique(pool, return_inverse=True)
    names = tuple(fleet.pool_ids[problem.pool_at[p]] for p in switches)
    return ExtraArcs(site, pool, switch.astype(np.int64), need, np.zeros(len(site)), names)


def within(fleet: Fleet, problem: Problem, pairs: Pairs) -> tuple[Ints, Ints, Pairs]:
    """Return site and pool positions in ``problem`` of the pairs whose site it has, and these pairs."""
    site_of = np.full(len(fleet.site_ids), -1, dtype=np.int64)
    site_of[problem.site_at] = np.arange(problem.sites)
    pool_of = np.full(len(fleet.pool_ids), -1, dtype=np.int64)
    pool_of[problem.pool_at] = np.arange(problem.pools)
    inside: Bools = site_of[pairs.site] >= 0
    pairs = pairs.take(inside)
    order = np.lexsort((pool_of[pairs.pool], site_of[pairs.site]))
    pairs = pairs.take(order)
    return site_of[pairs.site], pool_of[pairs.pool], pairs


def nearest(site: Ints, size: Floats, each: int) -> Ints:
    """Return the positions of the ``each`` smallest of every site; ``site`` is ascending."""
    order = np.lexsort((size, site))
    first = np.searchsorted(site, site)  # where the site's pairs begin
    return np.sort(order[np.arange(len(site)) - first < each])
