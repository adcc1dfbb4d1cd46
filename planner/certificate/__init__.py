"""A plan's bound as a certificate in an open format, VIPR 1.0, that programs of others check."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass

from planner.certificate.bound import prove_bound
from planner.certificate.certificate_parts import Line, Number, Program
from planner.certificate.cut_sets import find_sets
from planner.certificate.program import build_program
from planner.certificate.sites import read_scope
from planner.certificate.solution import point_of, value_of
from planner.certificate.text import pieces
from planner.counted_words import counted
from planner.fleet import Fleet
from planner.outputs.atomic import write_pieces
from planner.plan import Plan
from planner.sizing import SolveBudget

__all__ = ["Certified", "certify_plan", "write_certificate"]


@dataclass(frozen=True)
class Certified:
    """A certificate that is ready to be written: it proves ``bound``, and its plan has the objective ``value``."""

    program: Program
    last: Line
    point: dict[int, Number]
    bound: Number
    value: Number

    def text(self) -> Iterator[str]:
        """Yield the text of the file, piece by piece."""
        return pieces(self.program, self.last, self.point, self.bound, self.value)

    def words(self) -> str:
        """Say what it proves; first that it is less than the plan needs, where it is."""
        scope = self.program.scope
        same = "serves the same sites" if scope.cover == "none" else "serves and covers the same sites"
        figure = _figure(scope.objective, self.bound)
        least = f"no plan that {same} needs {'less' if scope.objective == 'cost' else 'fewer'} than {figure}."
        if self.bound < self.value:
            needs = _figure(scope.objective, self.value)
            return f"The certificate does not prove that the plan is best. The plan needs {needs}. Proven: {least}"
        return f"The certificate proves that {least}"


def _figure(objective: str, value: Number) -> str:
    if objective == "cost":
        return f"{float(value):,.2f} a year"
    return counted(int(value), "host" if objective == "hosts" else "new host")


def certify_plan(fleet: Fleet, plan: Plan, *, seconds: float | None = None) -> Certified:
    """Return the certificate of ``plan``: the program of ``fleet``, the plan as its solution, the proof of a bound.

    The bound is the best that sums of rows, roundings and splits give within ``seconds``, about a minute by default, or
    until Ctrl-C in the main thread. It holds for all plans that serve the same sites and, against the loss of a hub or
    zone, cover the same ones. Raises InputError where the plan does not hold for the fleet, or a price is not known.
    """
    scope, budget = read_scope(fleet, plan), SolveBudget(seconds=seconds)
    with budget.listening():
        sets = find_sets(fleet, scope, plan.objective_value, budget)
        program = build_program(fleet, scope, [each.sites for each in sets if each.one_lost])
        point = point_of(program, plan)
        value = value_of(program, point)
        last = prove_bound(plan, program, sets, value, budget)
    return Certified(program, last, point, last.rhs, value)


def write_certificate(
    fleet: Fleet, plan: Plan, path: str | os.PathLike[str], *, seconds: float | None = None
) -> Certified:
    """Write the certificate of ``plan`` to ``path``, whole or not at all, and return it; see `certify_plan`.

    Raises InputError as `certify_plan` does, and where the file cannot be written.
    """
    made = certify_plan(fleet, plan, seconds=seconds)
    write_pieces(path, made.text())
    return made
