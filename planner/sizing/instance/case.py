"""What one plan is made for: a fleet, its arrays, the assignment in force, and the aims that choose among equals."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import cached_property

from planner.arrays import indices
from planner.errors import InputError
from planner.fleet import Bools, Finding, Fleet, Ints
from planner.own import LATER_AIMS
from planner.sizing.instance.incumbent import InForce, in_force, today_of
from planner.sizing.instance.problem import Problem
from planner.today import Today

TieBreak = str  # one of `TIE_BREAKS`, or the code of an aim of the caller's own
TIE_BREAKS: tuple[TieBreak, ...] = LATER_AIMS


def later_aims(fleet: Fleet) -> tuple[TieBreak, ...]:
    """Return the aims of the setting ``then`` in order; InputError for a word that is none, or is there twice."""
    words = fleet.policy.then.replace(",", " ").split()
    known = {name: name for name in TIE_BREAKS} | {aim.name: aim.code for aim in fleet.own_aims}
    if set(words) <= set(known) and len(set(words)) == len(words):
        return tuple(known[word] for word in words)
    message = f'the setting "then" is "{fleet.policy.then}"; it must list known aims, each only once.'
    hint = f"Use some of: {' '.join(known)}."
    raise InputError((Finding("error", "then_unknown", "Policy", message, hint),))


@dataclass(frozen=True)
class Case:
    """``tie_breaks`` are the aims among plans of equal objective, in the order of the policy.

    Plans of at most ``most_hosts`` are of equal objective, where that is hosts.
    """

    fleet: Fleet
    problem: Problem
    today: Today
    tie_breaks: tuple[TieBreak, ...] = ()
    most_hosts: int = 0

    @cached_property
    def in_force(self) -> InForce:
        """The assignment in force, for the pairs of the problem."""
        return in_force(self.fleet, self.problem, self.today)

    @property
    def incumbent(self) -> Bools:
        """Pairs that keep a site on its pool, shape (E,)."""
        return self.in_force.incumbent

    def narrowed(self, problem: Problem, pair: Ints, tie_breaks: tuple[TieBreak, ...]) -> Case:
        """Return the case of a problem of the same sites with the pairs ``pair`` of this one, and other aims."""
        case = dataclasses.replace(self, problem=problem, tie_breaks=tie_breaks)
        # Worked out anew it would be the same, which takes long for large fleets.
        in_force = dataclasses.replace(self.in_force, problem=problem, incumbent=self.incumbent[pair])
        case.__dict__["in_force"] = in_force
        return case

    def by(self, tie_breaks: tuple[TieBreak, ...]) -> Case:
        """Return the case with other aims."""
        return self.narrowed(self.problem, indices(self.problem.pool), tie_breaks)

    def of_at_most(self, hosts: int) -> Case:
        """Return the case in which plans of at most so many ``hosts`` are of equal objective."""
        case = dataclasses.replace(self, most_hosts=hosts)
        case.__dict__["in_force"] = self.in_force
        return case

    def of(self, problem: Problem) -> Case:
        """Return the case of another problem, for the same fleet."""
        return self if problem is self.problem else dataclasses.replace(self, problem=problem)


def case_of(fleet: Fleet, problem: Problem, tie_breaks: tuple[TieBreak, ...] = ()) -> Case:
    """Return the case of a fleet and its arrays, with the assignment in force."""
    case = Case(fleet, problem, today_of(fleet, problem), tie_breaks)
    case.__dict__["in_force"] = in_force(fleet, problem, case.today)
    return case
