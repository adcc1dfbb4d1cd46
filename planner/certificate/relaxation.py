"""A linear relaxation whose multipliers are made exact, so that the bound they give is a line anyone can add up.

The solver only proposes multipliers. Rounded to simple fractions and mended where a variable without upper limit would
make the sum worthless, they bound the objective from below whatever they are (A. M. Geoffrion, Mathematical Programming
Study 2 (1974) 82-114).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import scipy.sparse as sp

from planner.certificate.certificate_parts import SIGN, Line, Number, Program, Reference
from planner.certificate.combine import said, terms_of
from planner.fleet import Floats
from planner.sizing import LinearProgram, SolveBudget, solve_arrays

_DENOMINATORS = (1, 2, 6, 12, 60, 420, 10_000, 10_000_000)  # simple multipliers first: people have to read them
_SHORT_PRICE = 1000.0  # for what a row lacks, in multiples of the goal: too dear while anything else works

Limits = Mapping[int, tuple[int, Line]]  # of a variable: its least or most, and the assumption that says so


@dataclass(frozen=True)
class Box:
    """What the branches so far assume: least (``low``) and most (``high``) of variables."""

    low: Limits = field(default_factory=dict)
    high: Limits = field(default_factory=dict)


@dataclass(frozen=True)
class Bounded:
    """What a relaxation says: ``bound``, exact and not rounded, with its multipliers; and the point ``x`` it found."""

    bound: Fraction
    uses: tuple[tuple[Reference, Number], ...]
    x: Floats | None


class Relaxation:
    """The program's objective over ``columns`` under the constraints ``rows``, all in the form of at least.

    ``goal``: the objective's coefficients, whole numbers. Other variables of the program must not be in ``rows``.
    """

    def __init__(
        self, program: Program, rows: Sequence[Reference], columns: Sequence[int], goal: Mapping[int, Number]
    ) -> None:
        self.program, self.columns, self.goal = program, list(columns), goal
        self.rows, self._position = list(rows), {j: at for at, j in enumerate(columns)}
        self._sign = [SIGN[said(program, row).sense] or 1 for row in rows]
        self._equal = [said(program, row).sense == "E" for row in rows]
        self._rhs = [said(program, row).rhs * sign for row, sign in zip(rows, self._sign, strict=True)]
        self._terms = [
            [(j, a * sign) for j, a in terms_of(program, row)] for row, sign in zip(rows, self._sign, strict=True)
        ]
        self._demands = [r for r, row in enumerate(rows) if self._equal[r]]
        self._keeper = self._keepers()
        self._matrix = self._arrays()

    def _keepers(self) -> dict[int, int]:
        """Return the row that says how much room can be kept free at most, for each variable of kept room."""
        found: dict[int, int] = {}
        for r, terms in enumerate(self._terms):
            if not self._equal[r]:
                found |= {j: r for j, a in terms if self.program.names[j][0] == "s" and a == -1 and self._keeps(terms)}
        return found

    def _keeps(self, terms: Sequence[tuple[int, Number]]) -> bool:
        """Say whether a row is (3): one variable of kept room, and hosts of its pool that have room."""
        kinds = [self.program.names[j][0] for j, a in terms if self.program.of_class[j] < 0]
        return sorted(kinds) in (["n", "s"], ["s"])  # of hosts without room there is nothing in it

    def _arrays(self) -> sp.csc_array:
        """Return the rows with two columns more: what any row may lack, and what one of equality may have too much."""
        at = [(r, self._position[j], float(a)) for r, terms in enumerate(self._terms) for j, a in terms]
        short = len(self.columns)
        at += [(r, short, 1.0) for r in range(len(self.rows))]
        at += [(r, short + 1, -1.0) for r in self._demands]
        row, column, value = (np.array(side) for side in zip(*at, strict=True)) if at else (np.zeros(0),) * 3
        shape = (len(self.rows), short + 2)
        return sp.csc_array(sp.coo_array((value, (row.astype(int), column.astype(int))), shape=shape))

    def solve(self, box: Box, enough: Fraction, budget: SolveBudget) -> Bounded:
        """Return the best bound under the assumptions of ``box``, with the simplest multipliers that reach ``enough``.

        Where time ends, or the solver finds nothing, the bound is that of no multipliers at all.
        """
        answer = solve_arrays(self._program(box, float(enough)), budget)
        solved = answer.outcome.state == "optimal"
        dual = answer.dual.tolist() if solved else [0.0] * len(self.rows)
        best: Bounded | None = None
        for most in _DENOMINATORS if solved else (1,):
            found = self._exact([Fraction(y).limit_denominator(most) for y in dual], box)
            if found is not None and (best is None or found[0] > best.bound):
                best = Bounded(found[0], found[1], answer.x[: len(self.columns)] if solved else None)
            if best is not None and best.bound >= enough:
                break
        if best is None:
            nothing = self._exact([Fraction(0)] * len(self.rows), box)
            assert nothing is not None  # no price is negative
            best = Bounded(nothing[0], nothing[1], None)
        return best

    def _program(self, box: Box, goal: float) -> LinearProgram:
        columns = self.columns
        high = [self._high(box, j) for j in columns]
        upper = [np.inf if most is None else float(most[0]) for most in high]
        return LinearProgram(
            cost=np.array([*(float(self.goal.get(j, 0)) for j in columns), *[_SHORT_PRICE * max(1.0, goal)] * 2]),
            upper=np.array([*upper, np.inf, np.inf]),
            matrix=self._matrix,
            row_lower=np.array([float(rhs) for rhs in self._rhs]),
            row_upper=np.array(
                [float(rhs) if equal else np.inf for rhs, equal in zip(self._rhs, self._equal, strict=True)]
            ),
            lower=np.array([*(float(self._low(box, j)[0]) for j in columns), 0.0, 0.0]),
        )

    def _low(self, box: Box, j: int) -> tuple[int, Reference]:
        return box.low.get(j) or (0, j)

    def _high(self, box: Box, j: int) -> tuple[int, Reference] | None:
        if j in box.high:
            return box.high[j]
        return (self.program.most[j], self.program.upper(j)) if j < len(self.program.most) else None

    def _exact(self, y: list[Fraction], box: Box) -> tuple[Fraction, tuple[tuple[Reference, Number], ...]] | None:
        """Return what multipliers add up to, once mended; None where they bound nothing."""
        asked = y
        y = [Fraction(0) if equal else max(Fraction(0), each) for each, equal in zip(y, self._equal, strict=True)]
        for r, constraint in enumerate(self.rows):
            if isinstance(constraint, int) and constraint in self.program.added.values():
                y[r] = min(y[r], Fraction(1))  # more of it would make a host to add cheaper than nothing
        rest = self._rest(y)
        for j, r in self._keeper.items():
            if rest[j] < 0:
                more = -rest[j]
                y[r] += more
                for other, a in self._terms[r]:
                    rest[other] -= more * a
        for r in self._demands:
            open_ended = [rest[j] / a for j, a in self._terms[r] if j not in box.high]
            limited = [asked[r]] if len(open_ended) < len(self._terms[r]) else []
            y[r] = min([*open_ended, *limited], default=Fraction(0))
            for j, a in self._terms[r]:
                rest[j] -= y[r] * a
        total = sum((each * rhs for each, rhs in zip(y, self._rhs, strict=True) if each), Fraction(0))
        uses: list[tuple[Reference, Number]] = [
            (row, each * sign) for row, each, sign in zip(self.rows, y, self._sign, strict=True) if each
        ]
        for j, left in rest.items():
            if left:
                limit = self._low(box, j) if left > 0 else self._high(box, j)
                if limit is None:
                    return None
                total += left * limit[0]
                uses.append((limit[1], left))
        return total, tuple(uses)

    def _rest(self, y: Sequence[Fraction]) -> dict[int, Fraction]:
        """Return what the objective has of each variable beyond the weighed rows."""
        rest = {j: Fraction(self.goal.get(j, 0)) for j in (*self.columns, *self.goal)}
        for each, terms in zip(y, self._terms, strict=True):
            if each:
                for j, a in terms:
                    rest[j] -= each * a
        return rest
