"""Homes that sites may have, each with the pools that may stand by for it: the columns of programs over pools."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import minus_ones
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.ground import Ground

_MOST_CHOICES = 150_000  # above, standbys are left out


@dataclass(frozen=True)
class HomeChoices:
    """Homes that sites may have, with the standby: ``site``, ``pair``, ``home`` and ``standby`` (X,), -1 for none."""

    site: Ints
    pair: Ints
    home: Ints
    standby: Ints


def choices_of(ground: Ground, keep: Bools, *, bare: bool) -> HomeChoices:
    """Return the choices of the sites that ``keep`` (S,) marks; ``bare``: sites may do without a standby."""
    with_standby = all_choices(ground, keep, bare=bare)
    return with_standby if len(with_standby.site) <= _MOST_CHOICES else _homes_alone(ground, keep)


def _homes_alone(ground: Ground, keep: Bools) -> HomeChoices:
    problem = ground.problem
    pair = np.flatnonzero(keep[problem.site] & problem.homes)
    site, pool = problem.site[pair], problem.pool[pair]
    return HomeChoices(site, pair, pool, minus_ones(len(pair)))


def all_choices(ground: Ground, keep: Bools, *, bare: bool) -> HomeChoices:
    """Return the choices of these sites, however many they are, those that can have no standby first."""
    problem, losses = ground.problem, ground.losses
    alone = _homes_alone(ground, keep)
    without = bare | ~ground.coverable[alone.site]
    of_alone = np.column_stack((alone.site, alone.pair, alone.home, alone.standby))
    parts = [of_alone[without]]
    known: dict[bytes, Ints] = {}
    for s in np.flatnonzero(keep & ground.coverable).tolist():
        at = problem.pairs_of(s)
        pools = problem.pool[at]
        homes = problem.homes[at]
        key = pools.tobytes() + homes.tobytes()
        if key not in known:
            partners = losses.partners(pools, problem.max_hosts)
            partners[~homes] = False
            known[key] = np.argwhere(partners).T
        first, second = known[key]
        site = np.full(len(first), s)
        pair = at.start + first
        columns = site, pair, pools[first], pools[second]
        parts.append(np.column_stack(columns))
    return HomeChoices(*np.concatenate(parts).T)
