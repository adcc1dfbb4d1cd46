"""The best bound on the objective that can be written down as a derivation, by the cheapest of several ways.

First sets of sites alone, over host counts; then, where that leaves a gap, the whole program with these sets beside its
rows. Both branch where multipliers do not close the gap. The objective is divided by the largest number that goes into
all of its prices, so that a bound on money may be rounded up too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import reduce

from planner.certificate.branching import Tree
from planner.certificate.certificate_parts import Line, Number, Program, Reference
from planner.certificate.combine import on_hosts
from planner.certificate.cut_sets import CutSet
from planner.certificate.relaxation import Relaxation
from planner.certificate.sets import both_forms, classes_of, hall_lines, kept_lines, standby_lines
from planner.plan import Plan
from planner.sizing import SolveBudget

_MOST_TERMS = 400_000  # of the whole program, up to which its relaxation is asked too
_SETS_SECONDS, _WHOLE_SECONDS = 20.0, 20.0


def prove_bound(plan: Plan, program: Program, sets: Sequence[CutSet], value: Number, budget: SolveBudget) -> Line:
    """Return the line that says the most of the objective, of which ``value`` is that of the plan.

    ``sets`` are of the cut search; those with standbys are of the plan's own proof.
    """
    unit = _unit(program)
    if not unit:
        return Line("G", 0, program.objective, "lin", ())
    goal: dict[int, Number] = {j: _whole(price / unit) for j, price in program.objective.items()}
    target = math.ceil(value / unit)
    lines = [*_set_lines(program, sets), *_standby_lines(plan, program)]
    counts = range(program.blocks[0].start if program.blocks else program.variables)
    rows: list[Reference] = [*lines, *program.added.values()]
    tree = _grown(Relaxation(program, rows, counts, goal), target, budget.within(_SETS_SECONDS))
    if tree.bound < target and sum(len(row.at) for row in program.rows) <= _MOST_TERMS:
        first, every = program.constraints - len(program.rows), range(program.variables)
        rows = [*range(first, program.constraints), *lines]
        tree = max(
            tree,
            _grown(Relaxation(program, rows, every, goal), target, budget.within(_WHOLE_SECONDS)),
            key=lambda t: t.bound,
        )
    found = tree.line() if tree.bound > 0 else Line("G", 0, goal, "lin", tuple(goal.items()))
    if unit == 1:
        found.by = program.objective
        return found
    return Line("G", found.rhs * unit, program.objective, "lin", ((found, unit),))


def _grown(relaxation: Relaxation, target: int, budget: SolveBudget) -> Tree:
    tree = Tree(relaxation, target, budget)
    tree.grow()
    return tree


def _unit(program: Program) -> Fraction:
    """Return the largest number of which all prices are multiples; 0 where there are none."""
    prices = [Fraction(price) for price in program.objective.values()]
    if not prices:
        return Fraction(0)
    denominator = math.lcm(*(price.denominator for price in prices))
    return Fraction(reduce(math.gcd, (int(price * denominator) for price in prices)), denominator)


def _whole(value: Number) -> int:
    assert value == int(value)
    return int(value)


def _set_lines(program: Program, sets: Iterable[CutSet]) -> Iterator[Line]:
    """Yield what sets of sites force."""
    for each in sets:
        if not each.one_lost:
            yield from hall_lines(program, classes_of(program, each.sites), each.size)
    for constraint in program.one_lost:
        yield from both_forms(on_hosts(program, {constraint: 1}))


def _standby_lines(plan: Plan, program: Program) -> Iterable[Line]:
    told = plan.proof.details.get("cover_sets") or ()
    if program.scope.standbys and told:
        yield from standby_lines(program, told)
        yield from kept_lines(program)
