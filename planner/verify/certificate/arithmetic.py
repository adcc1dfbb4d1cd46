"""Does every line of a certificate follow from those before it? By fractions alone: there is no solver here.

A line with reason ``lin`` must be dominated by the combination of constraints that it names; with ``rnd`` by that
combination rounded, where only whole variables with whole coefficients are in it; with ``uns`` by two lines that hold
under the two halves of a split. An assumption ``asm`` is carried by all that rests on it, until a split takes it away.
``sol`` says that no better solution than the best one listed is looked for. Source: as for `form`.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from fractions import Fraction

from planner.verify.certificate.form import Constraint, Derived, Head, Number


class LineError(ValueError):
    """A line does not follow; the message names it and says why."""


class Chain:
    """The constraints of a certificate so far; `check` takes in one more."""

    def __init__(self, head: Head) -> None:
        self.head = head
        self._best = best_value(head)
        self._derived: list[tuple[Constraint, frozenset[int], int]] = []
        self._cut_off = False

    @property
    def size(self) -> int:
        """Number of constraints so far."""
        return len(self.head.constraints) + len(self._derived)

    def check(self, line: Derived) -> None:
        """Take in a line; LineError where it does not follow."""
        said = line.constraint
        if line.reason == "asm":
            assumed = frozenset((self.size,))
        elif line.reason == "sol":
            assumed = self._cut(said)
        elif line.reason == "uns":
            assumed = self._united(line)
        else:
            assumed = self._combined(line)
        self._derived.append((said, assumed, line.last_use))

    def ends(self) -> str:
        """Return why the last line does not prove what the certificate says; "" where it does."""
        head = self.head
        if not head.infeasible and (head.lower if head.minimise else head.upper) is None:
            return ""
        if not self.size:
            return "it contains no steps of a proof"
        last, assumed = self._said(self.size - 1)
        if assumed:
            return f"its last step, {last.name}, is shown for one case only, and the other case is missing"
        if head.infeasible:
            return "" if _false(last) else f"its last step, {last.name}, must be a contradiction, and is none"
        bound = head.lower if head.minimise else head.upper
        assert bound is not None
        if self._cut_off and (self._best is None or (bound > self._best if head.minimise else bound < self._best)):
            return "its proof leaves out plans that would be better than the bound that it states"
        sense = 1 if head.minimise else -1
        goal = Constraint("bound", sense, bound, tuple(head.objective), tuple(head.objective.values()))
        return (
            ""
            if _dominates(last, goal)
            else f"its last step, {last.name}, does not prove the bound of {bound} that it states"
        )

    def _said(self, at: int, by: str = "") -> tuple[Constraint, frozenset[int]]:
        """Return a constraint and what it assumes; LineError for one that was said to be used no more."""
        given = len(self.head.constraints)
        if at < given:
            return self.head.constraints[at], frozenset()
        constraint, assumed, last_use = self._derived[at - given]
        if by and 0 <= last_use < self.size:
            raise LineError(
                f"step {by} uses {constraint.name}, which the file declares as no longer used at that place"
            )
        return constraint, assumed

    def _combined(self, line: Derived) -> frozenset[int]:
        """Check a combination, rounded or not; return what it assumes."""
        said = line.constraint
        by: dict[int, Number] = defaultdict(int)
        rhs: Number = 0
        senses: set[int] = set()
        assumed: set[int] = set()
        for at, multiplier in line.uses:
            used, assumptions = self._said(at, said.name)
            assumed |= assumptions
            if multiplier:
                senses.add(used.sense * (1 if multiplier > 0 else -1))
                for j, a in zip(used.at, used.by, strict=True):
                    by[j] += multiplier * a
                rhs += multiplier * used.rhs
        if {-1, 1} <= senses:
            raise LineError(
                f"step {said.name} adds constraints 'at least' to constraints 'at most', which proves nothing"
            )
        sense = next((s for s in senses if s), 0)
        left = {j: a for j, a in by.items() if a}
        if line.reason == "rnd":
            rhs = self._rounded(said.name, left, sense, rhs)
        if not _dominates(Constraint("", sense, rhs, tuple(left), tuple(left.values())), said):
            raise LineError(f"step {said.name} does not follow from the constraints that it uses")
        return frozenset(assumed)

    def _rounded(self, name: str, left: dict[int, Number], sense: int, rhs: Number) -> Number:
        if not all(Fraction(a).denominator == 1 and j in self.head.whole for j, a in left.items()):
            raise LineError(f"step {name} is rounded, but a part of it need not be a whole number")
        return rhs if sense == 0 else math.floor(rhs) if sense < 0 else math.ceil(rhs)

    def _united(self, line: Derived) -> frozenset[int]:
        """Check that two lines hold under the halves of a split; return what is assumed besides."""
        name = line.constraint.name
        (one, first), (other, second) = ((line.uses[i][0], line.uses[i + 1][0]) for i in (0, 2))
        assumed: set[int] = set()
        for at, half in ((one, first), (other, second)):
            held, assumptions = self._said(at, name)
            if not _dominates(held, line.constraint):
                raise LineError(f"step {name} does not follow from {held.name}")
            assumed |= assumptions - {half}
        below, above = sorted((self._said(at, name)[0] for at in (first, second)), key=lambda c: c.sense)
        split = (below.sense, above.sense) == (-1, 1) and below.rhs + 1 == above.rhs and below.terms() == above.terms()
        whole = Fraction(below.rhs).denominator == 1
        whole = whole and all(Fraction(a).denominator == 1 and j in self.head.whole for j, a in below.terms().items())
        if not split or not whole:
            raise LineError(
                f"step {name} rests on two cases, {below.name} and {above.name}, which are not all the cases"
            )
        return frozenset(assumed)

    def _cut(self, said: Constraint) -> frozenset[int]:
        """Check a line that looks only for solutions better than the best one listed."""
        head, self._cut_off = self.head, True
        whole = all(Fraction(a).denominator == 1 and j in head.whole for j, a in head.objective.items())
        better = 1 if whole else 0
        if self._best is None or said.terms() != {j: a for j, a in head.objective.items() if a}:
            why = "takes a known plan as its reason; that proves only a limit on the objective"
            raise LineError(f"step {said.name} {why}")
        at_most = said.sense == -1 and said.rhs >= self._best - better
        at_least = said.sense == 1 and said.rhs <= self._best + better
        if not (at_most if head.minimise else at_least):
            raise LineError(f"step {said.name} leaves out plans as good as the best known one")
        return frozenset()


def unkept(head: Head) -> str:
    """Return what is wrong with the solutions that are listed; "" where each keeps all constraints."""
    for number, point in enumerate(head.solutions, start=1):
        if any(Fraction(value).denominator > 1 for j, value in point.items() if j in head.whole):
            return f"plan {number} in it has a fraction where a whole number is needed"
        for constraint in head.constraints:
            value = sum((point[j] * a for j, a in zip(constraint.at, constraint.by, strict=True) if j in point), 0)
            if not {-1: value <= constraint.rhs, 0: value == constraint.rhs, 1: value >= constraint.rhs}[
                constraint.sense
            ]:
                return f"plan {number} in it breaks the constraint {constraint.name}"
    best = best_value(head)
    if head.infeasible and best is not None:
        return "it says that no plan exists, but contains one"
    wanted = head.upper if head.minimise else head.lower
    if wanted is not None and (best is None or (best > wanted if head.minimise else best < wanted)):
        return f"no plan in it needs only {wanted}, the figure that it claims"
    return ""


def best_value(head: Head) -> Number | None:
    """Return the best objective of the solutions listed; None where there are none."""
    values = [_value(head.objective.items(), point) for point in head.solutions]
    return None if not values else min(values) if head.minimise else max(values)


def _value(terms: Iterable[tuple[int, Number]], point: dict[int, Number]) -> Number:
    return sum((a * point.get(j, 0) for j, a in terms), 0)


def _false(constraint: Constraint) -> bool:
    if constraint.terms():
        return False
    return {-1: constraint.rhs < 0, 0: constraint.rhs != 0, 1: constraint.rhs > 0}[constraint.sense]


def _dominates(one: Constraint, other: Constraint) -> bool:
    """Say whether ``one`` says as much as ``other``, or is a contradiction."""
    if _false(one):
        return True
    if one.terms() != other.terms():
        return False
    if other.sense == 0:
        return one.sense == 0 and one.rhs == other.rhs
    return one.sense * other.sense >= 0 and (one.rhs - other.rhs) * other.sense >= 0
