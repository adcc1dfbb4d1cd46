"""Cheap host counts that sites could live on if they were divisible: hosts are dropped, then moved between pools.

A count is judged by what the linear program of `cover.primal_search.pool_relaxation` lacks there. Its duals say where
a host more would help most, and where one less would be missed least.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from planner.fleet import Ints
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram, Shares
from planner.sizing.cover.primal_search.prices import Prices
from planner.sizing.solvers.budget import SolveBudget

_EPS = 1e-6
_MOST_ADDED = 20  # hosts, to begin with counts that lack nothing
_WHOLE = 1e-3  # of a host; what is so near to a whole number is one
_DIVES = 3  # the larger half of the fractions is rounded up twice, then all of them
_ADDED, _DROPPED = 3, 5  # pools tried for a move: where a host is added, and where one is taken away


@dataclass(frozen=True)
class Patience:
    """Solves in vain after which a cheaper count is given up: ``drops`` of single hosts, None for all; ``moves``."""

    moves: int
    drops: int | None = None


def cheaper_counts(
    program: PoolProgram, hosts: Ints, prices: Prices, patience: Patience, budget: SolveBudget
) -> Iterator[tuple[Ints, Shares]]:
    """Yield counts that lack nothing and their shares, each cheaper than the one before; ``hosts`` (P,) begin.

    Where they lack something, hosts are added first.
    """
    hosts = hosts.copy()
    shares = program.solve(hosts, budget)
    for _ in range(_MOST_ADDED):
        if shares is None or shares.lacking <= _EPS:
            break
        worth = np.where(program.ground.problem.may_grow(hosts), shares.worth / prices.next(hosts), 0.0)
        if worth.max(initial=0.0) <= 0:
            return
        hosts[int(worth.argmax())] += 1
        shares = program.solve(hosts, budget)
    if shares is None or shares.lacking > _EPS:
        return
    yield hosts, shares
    while not budget.spent:
        found = _dropped(_Descent(program, prices, patience, budget), hosts, shares)
        if found is None:
            return
        hosts, shares = found
        yield hosts, shares


def dived_counts(program: PoolProgram, hosts: Ints, prices: Prices, budget: SolveBudget) -> Ints | None:
    """Return cheap counts by a dive: the largest fractions are rounded up, the rest is solved again.

    ``hosts`` (P,) begin; None where time ends before.
    """
    most = program.ground.problem.max_hosts.astype(np.float64)
    least, near = np.zeros_like(most), hosts
    for _ in range(_DIVES):
        counts = program.fewest(near, prices.last(hosts), least, most, budget)
        if counts is None:
            return None
        up = np.minimum(np.ceil(counts - _WHOLE), most)
        near = up.astype(np.int64)
        fractions = np.flatnonzero(up - counts > _WHOLE)
        if not len(fractions):
            break
        ranked = fractions[np.argsort(up[fractions] - counts[fractions], kind="stable")]
        chosen = ranked[: -(-len(ranked) // 2)]
        least[chosen] = up[chosen]
    return near


@dataclass(frozen=True)
class _Descent:
    """What a search for cheaper counts goes by."""

    program: PoolProgram
    prices: Prices
    patience: Patience
    budget: SolveBudget


def _dropped(by: _Descent, hosts: Ints, shares: Shares) -> tuple[Ints, Shares] | None:
    """Return counts that cost less than ``hosts`` and lack nothing, or None."""
    prices = by.prices
    running = np.flatnonzero(hosts)
    use = shares.load[running] / hosts[running] / prices.last(hosts)[running]
    trials: list[tuple[float, Ints, Shares]] = []
    for p in running[np.argsort(use, kind="stable")].tolist():
        fewer = _changed(hosts, {p: -1})
        trial = by.program.solve(fewer, by.budget)
        if trial is None:
            return None
        if trial.lacking <= _EPS:
            return fewer, trial
        trials.append((trial.lacking, fewer, trial))
        if len(trials) == by.patience.drops:
            break
    if not trials or not by.patience.moves:
        return None
    _, fewer, trial = min(trials, key=lambda one: one[0])
    return _moved(by, fewer, trial, prices.total(hosts))


def _moved(by: _Descent, hosts: Ints, shares: Shares, below: float) -> tuple[Ints, Shares] | None:
    """Return counts that cost less than ``below`` and lack nothing, by moves of single hosts, or None."""
    seen = {hosts.tobytes()}
    least, fails = shares.lacking, 0
    while fails < by.patience.moves and not by.budget.spent:
        trials: list[tuple[float, Ints, Shares]] = []
        for change in _moves(by.program, hosts, shares):
            other = _changed(hosts, change)
            if other.tobytes() in seen or by.prices.total(other) >= below - _EPS:
                continue
            seen.add(other.tobytes())
            fails += 1
            trial = by.program.solve(other, by.budget)
            if trial is None:
                return None
            if trial.lacking <= _EPS:
                return other, trial
            trials.append((trial.lacking, other, trial))
            if trial.lacking < shares.lacking - _EPS:
                break
        if not trials:
            return None
        lacking, hosts, shares = min(trials, key=lambda one: one[0])
        if lacking < least - _EPS:
            least, fails = lacking, 0
    return None


def _moves(program: PoolProgram, hosts: Ints, shares: Shares) -> list[dict[int, int]]:
    """Return moves of a host, the most promising first: from where it is worth little to where it is worth much."""
    problem = program.ground.problem
    added = [p for p in np.argsort(-shares.worth, kind="stable").tolist() if hosts[p] < problem.max_hosts[p]][:_ADDED]
    idle = np.where(hosts > 0, shares.worth + 1e-3 * shares.load / np.maximum(1, hosts), np.inf)
    dropped = [p for p in np.argsort(idle, kind="stable").tolist() if hosts[p] > 0][: _DROPPED + 1]
    pairs = [(a, b) for a in added for b in dropped if a != b]
    pairs.sort(key=lambda pair: shares.worth[pair[1]] - shares.worth[pair[0]])
    moves = [{a: 1, b: -1} for a, b in pairs]
    return [move for move in moves if problem.may_run(_changed(hosts, move))]


def _changed(hosts: Ints, change: dict[int, int]) -> Ints:
    other = hosts.copy()
    for p, by in change.items():
        other[p] += by
    return other
