"""Fewer hosts: one is closed and its sites find room elsewhere.

Closings race: all get a few steps of repair, the better part of them more, the best few the most.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.state import State
from planner.sizing.solution.prices import Prices
from planner.sizing.solvers.budget import SolveBudget

_HEATS = ((40, 0.3), (300, 0.2), (1000, 0.0))  # steps of repair, and the part that goes on to the next heat
_FEW_HOSTS = 10  # those of least load
_CLOSE = 1e-9


@dataclass(frozen=True)
class Trials:
    """What is tried for one host less: ``heats`` of a race of so many ``hosts``, None for all."""

    heats: tuple[tuple[int, float], ...]
    hosts: int | None = None


THOROUGH = Trials(_HEATS)
QUICK = Trials(_HEATS[:1], _FEW_HOSTS)


def with_fewer_hosts(
    state: State, bare: Bools, prices: Prices, trials: Trials, rng: np.random.Generator, budget: SolveBudget
) -> Iterator[State]:
    """Yield states of which each costs less than the one before, until time ends or all ``trials`` were in vain.

    ``bare`` (S,) marks sites that may do without a standby, ``prices`` are those of hosts.
    """
    while not budget.spent and state.hosts > 1:
        found = _race(state, bare, prices, trials, rng, budget)
        if found is None:
            return
        state = found
        yield state


def _race(
    state: State, bare: Bools, prices: Prices, trials: Trials, rng: np.random.Generator, budget: SolveBudget
) -> State | None:
    """Return a state with one host less in which nothing is broken, or None."""
    kept: list[State] = []
    worth = state.load / _prices_of_hosts(state, prices)
    order = np.argsort(worth, kind="stable")
    for h in order[: trials.hosts].tolist():
        trial = state.copy()
        if budget.spent:
            break
        if force_in(trial, trial.close(h), bare):
            kept.append(trial)
            if trial.violation() <= _CLOSE:
                return trial
    kept.sort(key=State.violation)
    for steps, part in trials.heats:
        for trial in kept:
            if repair(trial, bare, steps, rng, budget):
                return trial
        kept.sort(key=State.violation)
        going_on = max(2, int(part * len(kept)))
        kept = kept[:going_on]
    return None


def _prices_of_hosts(state: State, prices: Prices) -> Floats:
    """Return what each host saves when it closes, shape (M,), never 0."""
    last = prices.last(state.count())
    return np.maximum(last[state.pool], _CLOSE)
