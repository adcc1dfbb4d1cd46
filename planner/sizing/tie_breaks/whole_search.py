"""Branch and bound on a few whole columns of a program that is solved warm: a dive, then the least bound first.

For programs in which some columns, the counts of hosts, decide and all others follow by a linear program. Solvers of
mixed-integer programs spend most of their time on cuts and heuristics that such programs do not need. Every node keeps
the basis of its relaxation, from which its halves are solved in a few steps of the dual simplex method. Split is the
column whose halves have raised the bound most so far, see `branch_and_bound`. The work is counted in steps of the
simplex method, so that runs repeat.
"""

from __future__ import annotations

import dataclasses
import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.arrays import int_array, int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import GrowingProgram, LinearProgram
from planner.sizing.tie_breaks.pseudo_costs import PseudoCosts, broken

_WHOLE = 1e-6


@dataclass(frozen=True, slots=True, order=True)
class _Node:
    """What is known below some ``limits`` (column -> least and most): its ``bound``, ``x`` and basis."""

    bound: float
    number: int
    limits: Mapping[int, tuple[float, float]]
    x: Floats
    basis: Any


@dataclass(frozen=True, slots=True)
class Searched:
    """Values ``x`` (columns,) of the best point found, None for none, its ``value``, and a ``bound`` on all of them."""

    x: Floats | None
    value: float
    bound: float


class WholeSearch:
    """A search for the least whole value of ``program``, where ``groups`` of columns are whole and no others need be.

    Columns of the first group are split first.
    """

    def __init__(self, program: LinearProgram, groups: Sequence[Ints], budget: SolveBudget) -> None:
        self._groups = [group for group in groups if len(group)]
        self._budget = budget
        self._upper = program.upper
        self._program = GrowingProgram(dataclasses.replace(program, whole=None), budget.seed)
        self._pseudo_costs = PseudoCosts(len(program.cost))
        self._limited: set[int] = set()
        self._number = self._steps = 0
        self._unsettled = False  # whether the last node that was asked for came to no end
        self._best: Floats | None = None
        self._value = np.inf

    def search(self, steps: int) -> Searched | None:
        """Search until nothing better is open, or time or ``steps`` end; None where the relaxation has no answer."""
        root = self._solved({}, None)
        if root is None:
            return None
        self._dive(root, steps)
        nodes = [root]
        while nodes and nodes[0].bound < self._value and self._steps < steps and not self._budget.spent:
            node = heapq.heappop(nodes)
            column = self._to_split(node.x)
            if column is None:
                self._take(node)
                continue
            halves = self._halves(node, column)
            if halves is None:  # what is below it is as open as before
                heapq.heappush(nodes, node)
                break
            for half in halves:
                if half.bound < self._value:
                    heapq.heappush(nodes, half)
        bound = nodes[0].bound if nodes else self._value
        return Searched(self._best, self._value, min(bound, self._value))

    def _dive(self, node: _Node, steps: int) -> None:
        """Round one column after the other, the one that is nearest to a whole number first."""
        while self._steps < steps:
            columns, part = self._broken(node.x)
            if not len(columns):
                self._take(node)
                return
            distance = np.minimum(part, 1 - part)
            column = int(columns[np.argmin(distance)])
            up = float(node.x[column] % 1) >= 0.5
            halves = (self._half(node, column, up=side) for side in (up, not up))
            open_halves = filter(None, halves)
            better = next((half for half in open_halves if half.bound < self._value), None)
            if better is None:
                return
            node = better

    def _take(self, node: _Node) -> None:
        if node.bound < self._value:
            self._best, self._value = node.x, node.bound
            self._program.cut_off(node.bound - 1 + 2 * _WHOLE)  # values are whole

    def _halves(self, node: _Node, column: int) -> list[_Node] | None:
        """Return the halves of ``node`` that have points; None where one came to no end, as when time is over."""
        found: list[_Node] = []
        for up in (False, True):
            half = self._half(node, column, up=up)
            if self._unsettled:
                return None
            if half is not None:
                found.append(half)
        return found

    def _half(self, node: _Node, column: int, *, up: bool) -> _Node | None:
        """Return the half of ``node`` with the larger values of ``column``, or that with the smaller; None for none."""
        least, most = self._limits(node.limits, column)
        below = float(np.floor(node.x[column]))
        part = node.x[column] - below
        limits, share = ((below + 1, most), 1 - part) if up else ((least, below), part)
        half = self._solved({**node.limits, column: limits}, node.basis)
        if half is not None:
            raised = max(0.0, half.bound - node.bound)
            self._pseudo_costs.learn(int(up), column, raised / share)
        return half

    def _limits(self, limits: Mapping[int, tuple[float, float]], column: int) -> tuple[float, float]:
        return limits.get(column, (0.0, float(self._upper[column])))

    def _solved(self, limits: Mapping[int, tuple[float, float]], basis: Any) -> _Node | None:
        """Return the node with the whole number above its relaxation's value as its bound; None where it has none."""
        self._limited |= limits.keys()
        columns = int_array(sorted(self._limited))
        bounds = np.array([self._limits(limits, column) for column in columns.tolist()])
        lower, upper = bounds.reshape(len(columns), 2).T
        self._program.bound(columns, lower.copy(), upper.copy())
        self._program.begin_at(basis)
        answer = self._program.solve(self._budget)
        self._steps += answer.iterations
        self._number += 1
        self._unsettled = answer.outcome.state not in ("optimal", "infeasible")
        if answer.outcome.state != "optimal":
            return None
        bound = float(np.ceil(answer.outcome.objective - _WHOLE))
        basis_there = self._program.basis()
        return _Node(bound, self._number, limits, answer.x, basis_there)

    def _broken(self, x: Floats) -> tuple[Ints, Floats]:
        """Return the columns of the first group that has any which are not whole, and their fractions."""
        for group in self._groups:
            columns, part = broken(x, group)
            if len(columns):
                return columns, part
        return int_zeros(0), np.zeros(0)

    def _to_split(self, x: Floats) -> int | None:
        """Return the column to split at; None where all that must be is whole."""
        columns, part = self._broken(x)
        return self._pseudo_costs.best(columns, part) if len(columns) else None
