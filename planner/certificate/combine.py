"""Linear combinations of constraints, added up in exact fractions, and what rounding makes of them."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from fractions import Fraction

from planner.certificate.certificate_parts import Line, Number, Program, Reference, Row


def terms_of(program: Program, reference: Reference) -> Iterable[tuple[int, Number]]:
    """Return the variables of a constraint with their coefficients."""
    if isinstance(reference, Line):
        return reference.by.items()
    row = program.row(reference)
    return zip(row.at, row.by, strict=True)


def said(program: Program, reference: Reference) -> Line | Row:
    """Return a constraint, derived or not, for its sense and right-hand side."""
    return reference if isinstance(reference, Line) else program.row(reference)


def added_up(program: Program, uses: Mapping[Reference, Number]) -> tuple[dict[int, Number], Number]:
    """Return the coefficients and the right-hand side of a linear combination."""
    by: dict[int, Number] = defaultdict(int)
    rhs: Number = 0
    for reference, multiplier in uses.items():
        for j, coefficient in terms_of(program, reference):
            by[j] += multiplier * coefficient
        rhs += multiplier * said(program, reference).rhs
    return {j: coefficient for j, coefficient in by.items() if coefficient}, rhs


def on_hosts(program: Program, uses: Mapping[Reference, Number]) -> Line | None:
    """Return what a combination says of hosts and kept room alone: flows are at least 0, and left out.

    None where a flow has a positive coefficient, so that it cannot be left out.
    """
    by, rhs = added_up(program, uses)
    flows = [j for j in by if program.of_class[j] >= 0]
    if any(by[j] > 0 for j in flows):
        return None
    whole: dict[Reference, Number] = {**uses}
    for j in flows:
        whole[j] = -by.pop(j)
    return Line("G", rhs, by, "lin", tuple(whole.items()))


def divided(line: Line, divisor: int) -> Line:
    """Return ``line``, which is of sense G over variables of 0 or more, divided and rounded up on both sides."""
    by: dict[int, Number] = {}
    uses: list[tuple[Reference, Number]] = [(line, Fraction(1, divisor))]
    for j, coefficient in line.by.items():
        share = Fraction(coefficient) / divisor
        by[j] = math.ceil(share)
        if by[j] != share:
            uses.append((j, by[j] - share))
    by = {j: coefficient for j, coefficient in by.items() if coefficient}
    return Line("G", math.ceil(Fraction(line.rhs) / divisor), by, "rnd", tuple(uses))
