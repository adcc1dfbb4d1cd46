"""What a solve may spend, shared by all that make one plan, and how a solve ended.

Outcomes are read from HiGHS itself, because PuLP 3.3 calls a solve that ran out of time with a plan in
hand "Optimal". Solver output never reaches standard output, which carries only what was asked for.
"""

from __future__ import annotations

import dataclasses
import math
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Literal

from planner.interrupts import heard

_WHOLE = frozenset({"hosts", "new_hosts"})  # stages whose values are whole
_CLOSE = 1e-6

State = Literal["optimal", "feasible", "infeasible", "unsolved"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a solve ended: what is known, the solver's own word for it, and the dual bound (minimisation)."""

    state: State
    word: str
    objective: float = float("nan")
    bound: float = -float("inf")

    @property
    def has_solution(self) -> bool:
        """Whether variable values may be read."""
        return self.state in ("optimal", "feasible")


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a plan is: the ``stage``, best value and bound of what it makes small so far, seconds since the start.

    ``best`` is None before there is a plan. In stage ``weight`` both are of weight left unserved, in the
    solver's units.
    """

    stage: str
    best: float | None
    bound: float | None
    seconds: float


@dataclass
class SolveBudget:
    """What a solve may spend, shared by all solves of one plan.

    ``seconds``: time limit, None for none. ``seed``: of the solver.
    ``stopped`` is set by Ctrl-C, or by ``watch`` when it returns False: the running solve returns its best
    and later ones do not start.
    """

    seconds: float | None = None
    seed: int = 0
    watch: Callable[[Progress], bool | None] | None = None
    stopped: threading.Event = field(default_factory=threading.Event)
    started: float = field(default_factory=time.monotonic)

    @property
    def left(self) -> float | None:
        """Seconds left, at least 0; None without a limit."""
        if self.stopped.is_set():
            return 0.0
        if self.seconds is None:
            return None
        return max(0.0, self.seconds - (time.monotonic() - self.started))

    @property
    def spent(self) -> bool:
        """Whether nothing is left."""
        left = self.left
        return left is not None and left <= 0.0

    def allows(self, seconds: float) -> bool:
        """Say whether something that takes ``seconds`` and cannot be stopped may still begin."""
        left = self.left
        return left is None or left > seconds

    def within(self, seconds: float) -> SolveBudget:
        """Return a budget that ends with this one, and after ``seconds`` from now at the latest."""
        left = seconds if self.left is None else min(seconds, self.left)
        gone = time.monotonic() - self.started
        return dataclasses.replace(self, seconds=gone + left)

    def part(self, share: float) -> SolveBudget:
        """Return a budget that may take a ``share`` of what is left; without a limit it is this one."""
        left = self.left
        return self if left is None else self.within(share * left)

    def tell(self, stage: str, best: float | None, bound: float | None) -> None:
        """Report to ``watch`` that a ``stage`` knows a value, the ``best`` so far, and a ``bound``, None for none."""
        if self.watch is not None:
            if bound is not None and stage in _WHOLE:
                bound = float(math.ceil(bound - _CLOSE))
            seconds = time.monotonic() - self.started
            progress = Progress(stage, best, bound, seconds)
            if self.watch(progress) is False:
                self.stopped.set()

    @contextmanager
    def listening(self) -> Iterator[None]:
        """Turn Ctrl-C into ``stopped`` while the block runs; a second Ctrl-C interrupts as usual."""
        with heard(self.stopped.set):
            yield
