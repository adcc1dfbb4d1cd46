"""What one plan is made for: a fleet, its arrays, the assignment in force, and the aims that choose among equals."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

from planner.fleet import Bools, Fleet
from planner.sizing.instance.incumbent import InForce, in_force
from planner.sizing.instance.problem import Problem
from planner.today import Today

TieBreak = Literal["moves", "latency", "margin", "spread"]
TIE_BREAKS: tuple[TieBreak, ...] = get_args(TieBreak)


@dataclass(frozen=True)
class Case:
    """``tie_breaks`` are the aims among plans of equal objective, in the order of the policy."""

    fleet: Fleet
    problem: Problem
    today: Today
    tie_breaks: tuple[TieBreak, ...] = ()

    @cached_property
    def in_force(self) -> InForce:
        """The assignment in force, for the pairs of the problem."""
        return in_force(self.fleet, self.problem, self.today)

    @property
    def incumbent(self) -> Bools:
        """Pairs that keep a site on its pool, shape (E,)."""
        return self.in_force.incumbent

    def of(self, problem: Problem) -> Case:
        """Return the case of another problem, for the same fleet."""
        return dataclasses.replace(self, problem=problem)
