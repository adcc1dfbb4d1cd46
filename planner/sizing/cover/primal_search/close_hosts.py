"""Fewer hosts: one is closed and its sites find room elsewhere; where that fails, hosts move to other pools.

Closings race: all get a few steps of repair, the better part of them more, the best few the most. A plan with one host
too few is then kept, broken as it is, and one host after the other moves from where it is missed least to where most is
broken, as in the search for fewest vehicles (Y. Nagata, O. Bräysy, Operations Research Letters 37 (2009) 333-338).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from planner.arrays import indices, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.prices import Prices
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.state import State
from planner.sizing.solvers.budget import SolveBudget

_HEATS = ((40, 0.3), (300, 0.2), (1000, 0.0))  # steps of repair, and the part that goes on to the next heat
_MOVES = 20  # of hosts, in vain
_FEW_HOSTS = 10  # those of least load
_MOVE_STEPS = 300
_CLOSED = 8  # hosts that are tried for a move
_POOLS = 6  # to which one may move
_WORSE = 1.15  # a move may leave so much more broken than before
_CLOSE = 1e-9


@dataclass(frozen=True)
class Trials:
    """What is tried for one host less: ``heats`` of a race of so many ``hosts``, None for all, then ``moves``."""

    heats: tuple[tuple[int, float], ...]
    moves: int
    hosts: int | None = None


THOROUGH = Trials(_HEATS, _MOVES)
QUICK = Trials(_HEATS[:1], 0, _FEW_HOSTS)


def with_fewer_hosts(
    state: State, bare: Bools, prices: Prices, trials: Trials, rng: np.random.Generator, budget: SolveBudget
) -> Iterator[State]:
    """Yield states of which each costs less than the one before, until time ends or all ``trials`` were in vain.

    ``bare`` (S,) marks sites that may do without a standby, ``prices`` are those of hosts.
    """
    while not budget.spent and state.hosts > 1:
        raced = _race(state, bare, prices, trials, rng, budget)
        found = next((trial for broken, trial in raced if broken <= _CLOSE), None)
        if found is None and raced:
            found = _moved(raced[0][1], bare, prices, trials.moves, rng, budget)
        if found is None:
            return
        state = found
        yield state


def _race(
    state: State, bare: Bools, prices: Prices, trials: Trials, rng: np.random.Generator, budget: SolveBudget
) -> list[tuple[float, State]]:
    """Return states with one host less, the least broken first."""
    kept: list[tuple[float, State]] = []
    worth = state.load / _prices_of_hosts(state, prices)
    order = np.argsort(worth, kind="stable")
    for h in order[: trials.hosts].tolist():
        trial = state.copy()
        if budget.spent:
            break
        if force_in(trial, trial.close(h), bare):
            kept.append((trial.violation(), trial))
            if kept[-1][0] <= _CLOSE:
                return [kept[-1]]
    for steps, part in trials.heats:
        again = []
        for _, trial in sorted(kept, key=lambda one: one[0]):
            if repair(trial, bare, steps, rng, budget):
                return [(0.0, trial)]
            again.append((trial.violation(), trial))
        again.sort(key=lambda one: one[0])
        going_on = max(2, int(part * len(again)))
        kept = again[:going_on]
    return kept


def _prices_of_hosts(state: State, prices: Prices) -> Floats:
    """Return what each host saves when it closes, shape (M,), never 0."""
    last = prices.last(state.count())
    return np.maximum(last[state.pool], _CLOSE)


def _moved(
    state: State, bare: Bools, prices: Prices, moves: int, rng: np.random.Generator, budget: SolveBudget
) -> State | None:
    """Return a state with as many hosts as ``state``, some of them elsewhere, in which nothing is broken; or None."""
    now = least = state.violation()
    best = state
    fails = 0
    while fails < moves and not budget.spent:
        fails += 1
        wanted = _wanted(state)
        if not wanted:
            return None
        p = int(rng.choice(wanted))
        opened = state.copy()
        opened.open(p)
        trial = _closed(opened, bare, prices, rng)
        if trial is None:
            continue
        if repair(trial, bare, _MOVE_STEPS, rng, budget):
            return trial
        broken = trial.violation()
        if broken <= _WORSE * now + 1:
            state, now = trial, broken
        if broken < least - _CLOSE:
            least, best, fails = broken, trial, 0
        elif now > 2 * least + 10:
            state, now = best.copy(), least
    return None


def _closed(state: State, bare: Bools, prices: Prices, rng: np.random.Generator) -> State | None:
    """Return ``state`` without one of its hosts, that of a few whose sites find the best places elsewhere."""
    carried = state.load + state.peak()
    use = carried / _prices_of_hosts(state, prices)
    chance = rng.uniform(0.5, 1.5, state.hosts - 1)
    by_use = np.argsort(use[:-1] * chance, kind="stable")  # the last one has just been opened
    found: tuple[float, State] | None = None
    for h in by_use[:_CLOSED].tolist():
        trial = state.copy()
        if not force_in(trial, trial.close(h), bare):
            continue
        broken = trial.violation()
        if found is None or broken < found[0]:
            found = broken, trial
    return None if found is None else found[1]


def _wanted(state: State) -> list[int]:
    """Return pools that may run one more host, each as often as clusters on overfull hosts could use it."""
    problem = state.ground.problem
    over = np.append(state.over().sum(axis=0), 0)  # the last for nowhere
    stress = over[state.home] + over[state.standby]
    met = totals(problem.pool, stress[problem.site], problem.pools)
    reach: Ints = met.astype(np.int64)
    reach[~problem.may_grow(state.count())] = 0
    first = np.argsort(-reach, kind="stable")[:_POOLS]
    often = _POOLS - indices(first)
    reached = reach[first] > 0
    return np.repeat(first[reached], often[reached]).tolist()
