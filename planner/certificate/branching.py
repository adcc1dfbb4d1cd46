"""Branch and bound that keeps its tree, so that it can be written down: assumptions, leaves, and what unites them.

The leaf with the least bound is split next (A. H. Land, A. G. Doig, Econometrica 28 (1960) 497-520), so that the bound
of the whole tree rises with every step and holds whenever time ends.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field
from fractions import Fraction

from planner.certificate.certificate_parts import Line, Number
from planner.certificate.relaxation import Bounded, Box, Relaxation
from planner.sizing import SolveBudget

_FRACTIONAL = 1e-6
_MOST_NODES = 4_000
_DEEPEST = 400  # branches on one another, so that the tree can be told by recursion


@dataclass(order=True)
class _Node:
    """A part of the tree with its ``bound``, whole; once split, ``halves`` are its assumptions and parts."""

    bound: int
    age: int
    depth: int = field(compare=False)
    box: Box = field(compare=False)
    found: Bounded = field(compare=False)
    halves: tuple[tuple[Line, _Node], ...] = field(default=(), compare=False)


class Tree:
    """The tree over one relaxation; ``target`` is a value that a plan has, so that no more than it can be proven."""

    def __init__(self, relaxation: Relaxation, target: int, budget: SolveBudget) -> None:
        self.relaxation, self.target, self.budget = relaxation, target, budget
        self._nodes = 0
        self.root = self._node(Box(), None)
        self._open = [self.root]

    @property
    def bound(self) -> int:
        """What the tree proves."""
        return min(self.target, self._open[0].bound) if self._open else self.target

    def grow(self) -> None:
        """Split leaves until the bound is the target, or cannot rise, or time ends."""
        while self._open and self._open[0].bound < self.target and self._nodes < _MOST_NODES and not self.budget.spent:
            split = self._split(self._open[0])
            if split is None:
                return
            node = heapq.heappop(self._open)
            node.halves = self._halves(node, *split)
            for _, half in node.halves:
                heapq.heappush(self._open, half)

    def _node(self, box: Box, parent: _Node | None) -> _Node:
        self._nodes += 1
        found = self.relaxation.solve(box, _just_above(self.target), self.budget)
        if parent is not None and parent.found.bound > found.bound:  # rounded multipliers, or no time for better ones
            found = Bounded(parent.found.bound, parent.found.uses, found.x)
        depth = 0 if parent is None else parent.depth + 1
        return _Node(math.ceil(found.bound), -self._nodes, depth, box, found)

    def _split(self, node: _Node) -> tuple[int, int] | None:
        """Return a variable that is not whole and the number to split above: hosts before kept room before flows."""
        if node.found.x is None or node.depth == _DEEPEST:
            return None
        best: tuple[int, float, int, int] | None = None
        rank = {"n": 0, "a": 1, "s": 2}
        for j, x in zip(self.relaxation.columns, node.found.x.tolist(), strict=True):
            distance = abs(x - round(x))
            if distance > _FRACTIONAL:
                chosen = rank.get(self.relaxation.program.names[j][0], 3), -distance, j, math.floor(x)
                best = chosen if best is None else min(best, chosen)
        return None if best is None else (best[2], best[3])

    def _halves(self, node: _Node, variable: int, most: int) -> tuple[tuple[Line, _Node], ...]:
        below = Line("L", most, {variable: 1}, "asm")
        above = Line("G", most + 1, {variable: 1}, "asm")
        low, high = dict(node.box.low), dict(node.box.high)
        halves = (
            (below, Box(low, {**high, variable: (most, below)})),
            (above, Box({**low, variable: (most + 1, above)}, high)),
        )
        return tuple((assumed, self._node(box, node)) for assumed, box in halves)

    def line(self) -> Line:
        """Return the line that the tree proves: the objective is at least `bound`."""
        return self._told(self.root, self.bound)[0]

    def _told(self, node: _Node, enough: int) -> tuple[Line, frozenset[Line]]:
        """Return the line of a part of the tree, and the assumptions that it rests on."""
        goal = self.relaxation.goal
        if node.bound >= enough or not node.halves:
            uses = node.found.uses
            assumed = frozenset(one for one, _ in uses if isinstance(one, Line) and one.kind == "asm")
            return Line("G", node.bound, dict(goal), "rnd", uses), assumed
        parts: list[tuple[Line, Number]] = []
        assumptions: set[Line] = set()
        least: int | None = None
        for assumption, half in node.halves:
            line, assumed = self._told(half, enough)
            if assumption not in assumed:  # it holds without the split
                return line, assumed
            parts += [(line, 0), (assumption, 0)]
            assumptions |= assumed - {assumption}
            least = int(line.rhs) if least is None else min(least, int(line.rhs))
        return Line("G", least or 0, dict(goal), "uns", tuple(parts)), frozenset(assumptions)


def _just_above(target: int) -> Fraction:
    """Return the least bound that rounds up to the target, all but exactly."""
    return Fraction(target) - 1 + Fraction(1, 10**6)
