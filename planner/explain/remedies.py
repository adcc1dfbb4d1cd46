"""Suggestions that serve an unserved site: mend every rule that one pool breaks, or make room where it may go."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from planner.explain.bench import Bench
from planner.explain.explanation import Change, PlanMeasures, Suggestion
from planner.plan import Plan
from planner.rules.mending import mends

_Made = dict[tuple[Change, ...], Plan | None]  # a host more at one pool may serve any of many sites
_TRIES = 4  # pools tried for one site, the nearest first


def remedies(bench: Bench) -> list[Suggestion]:
    """Return the nearest change for each unserved site, confirmed by a plan that serves it."""
    found = []
    made: _Made = {}
    position = {site: at for at, site in enumerate(bench.fleet.site_ids)}
    for left in bench.plan.unserved:
        bench.tell(f"what would serve {left.site}")
        found += _first_confirmed(bench, left.site, position[left.site], made)
    return found


def _first_confirmed(bench: Bench, site: str, at: int, made: _Made) -> list[Suggestion]:
    """Return the nearest remedy that a plan confirms, or else the nearest."""
    tried = []
    for changes, words in _nearest(bench, at):
        tried.append(_tried(bench, site, changes, words, made))
        if tried[-1].confirmed:
            return tried[-1:]
    return tried[:1]


def _tried(bench: Bench, site: str, changes: tuple[Change, ...], words: str, made: _Made) -> Suggestion:
    """Return the suggestion, confirmed where the changed fleet serves the site."""
    if changes not in made:
        made[changes] = bench.replan(changes)
    after = made[changes]
    serves = after is not None and bench.serves(PlanMeasures.of(after), site)
    return bench.suggestion("remedy", "serve", words, changes, after, confirmed=serves, site=site)


def _nearest(bench: Bench, at: int) -> Iterator[tuple[tuple[Change, ...], str]]:
    """Yield changes of cells with words, the pool with the fewest broken rules and the least RTT first."""
    by_cells = ((mend.changes, mend.words) for mend in mends(bench.checker, at) if mend.changes is not None)
    return itertools.islice(by_cells, _TRIES)
