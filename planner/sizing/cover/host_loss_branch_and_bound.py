"""A bound on what hosts cost that survive the loss of any one host: branch and bound on the counts of single pools.

Nodes are ranges of counts, the one with the least bound first (A. H. Land, A. G. Doig, Econometrica 28 (1960)
497-520). A range is split where the relaxation mixes counts most, weighed by what splits of that pool have brought
so far (M. Benichou et al., Mathematical Programming 1 (1971) 76-94). Conditions on host counts come in where a
relaxation fails them. Each part is solved from the basis of its whole, unless conditions came in since.
"""

from __future__ import annotations

import dataclasses
import heapq
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy.sparse as sp

from planner.arrays import as_floats, falses
from planner.fleet import Floats, Ints
from planner.sizing.cover.host_levels import Conditions, LevelProgram
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, GrowingProgram

_AT_A_TIME = 30  # conditions taken in at once
_MIXED = 1e-6
_EPS = 1e-6
_LEAST_GAIN = 1e-3


@dataclass(order=True)
class _Node:
    bound: float
    number: int
    low: Ints = field(compare=False)
    high: Ints = field(compare=False)
    share: Floats = field(compare=False)  # of each count, shape (Z,)
    basis: Any = field(compare=False)
    conditions: int = field(compare=False)  # taken in when that was its basis


class LevelBound:
    """The search: ``bound`` holds for every plan that costs less than ``below``, else it is ``below`` itself.

    `search` goes on where it ended before, also when a cheaper plan is known by then.
    """

    def __init__(self, levels: LevelProgram, conditions: Conditions, below: float, *, whole: bool) -> None:
        self.levels = levels
        self.whole = whole
        self.bound = 0.0
        self._conditions = conditions
        self._met = levels.met_by(conditions)
        self._taken = falses(len(conditions.demand))
        self._program = GrowingProgram(dataclasses.replace(levels.program(), whole=None))
        self.look_below(below)
        self._gain = np.ones((2, levels.problem.pools))
        self._splits = np.ones((2, levels.problem.pools))
        self._steps = self._number = 0
        self._unsettled = False  # whether a node came to no end, so that nothing is known of it
        self._open: list[_Node] | None = None  # before the first search

    def look_below(self, value: float) -> None:
        """Leave out what does not cost less than ``value``."""
        self.below = value
        self._most = value - (1.0 if self.whole else 0.0) + _EPS
        self._program.cut_off(self._most)

    def search(self, most_steps: int, budget: SolveBudget) -> None:
        """Raise the bound until it reaches ``below``, or time or ``most_steps`` more simplex steps are spent."""
        last = self._steps + most_steps
        self._unsettled = False
        if self._open is None:
            first = self._node(0, self.levels.window.low, self.levels.window.high, budget)
            if self._unsettled or budget.spent:
                return
            self._open = [] if first is None else [first]
        while self._open and self.bound < self.below and not budget.spent and self._steps < last:
            node = self._open[0]
            self._raise(node.bound)
            budget.tell("cover", None, self.bound)
            children = self._children(node, budget)
            if children is None:
                return
            heapq.heappop(self._open)
            for child in children:
                heapq.heappush(self._open, child)
        self._raise(self._open[0].bound if self._open else self.below)

    def _children(self, node: _Node, budget: SolveBudget) -> list[_Node] | None:
        """Return the parts of a node that may hold something cheaper; None where it is whole, or not known."""
        p, at = self._split(node)
        if p < 0:
            return None
        children = []
        for side in range(2):
            low = node.low.copy()
            high = node.high.copy()
            (high if side == 0 else low)[p] = at + side
            self._number += 1
            if node.conditions == self._taken.sum():
                self._program.begin_at(node.basis)
            child = self._node(self._number, low, high, budget)
            if budget.spent or self._unsettled:
                return None
            bound = self.below if child is None else child.bound
            self._gain[side, p] += bound - node.bound
            self._splits[side, p] += 1.0
            if child is not None:
                child.bound = max(child.bound, node.bound)
                children.append(child)
        return children

    def _raise(self, bound: float) -> None:
        rounded = float(np.ceil(bound - _EPS)) if self.whole else bound
        self.bound = max(self.bound, min(rounded, self.below))

    def _node(self, number: int, low: Ints, high: Ints, budget: SolveBudget) -> _Node | None:
        """Return the node of a range, None where nothing in it costs less than ``below``."""
        levels = self.levels
        enough = levels.hosts >= low[levels.pool]
        few = levels.hosts <= high[levels.pool]
        upper = as_floats(enough & few)
        self._program.bound(levels.level, np.zeros(len(upper)), upper)
        answer = self._answer(budget)
        if answer.outcome.state != "optimal":
            self._unsettled = answer.outcome.state != "infeasible"
            return None
        bound = float(answer.outcome.objective)
        if bound > self._most + _EPS:  # the solver looks at the cut-off only on some of its ways
            return None
        share = answer.x[levels.level]
        return _Node(bound, number, low, high, share, self._program.basis(), int(self._taken.sum()))

    def _answer(self, budget: SolveBudget) -> Answer:
        """Solve, and take in the conditions that are failed."""
        while True:
            answer = self._program.solve(budget)
            self._steps += answer.iterations
            if answer.outcome.state != "optimal":
                return answer
            met = self._met @ answer.x[self.levels.level]
            short = self._conditions.demand - met
            short[self._taken] = 0.0
            worst = np.argsort(-short, kind="stable")[:_AT_A_TIME]
            worst = worst[short[worst] > _EPS]
            if not len(worst):
                return answer
            self._taken[worst] = True
            rows = sp.csr_array(self._met[worst])
            entries = rows.data, self.levels.level[rows.indices], rows.indptr
            wide = sp.csr_array(entries, self._shape(len(worst)))
            self._program.add(wide, as_floats(self._conditions.demand[worst]))

    def _shape(self, rows: int) -> tuple[int, int]:
        return rows, self.levels.model.columns

    @property
    def used(self) -> Conditions:
        """The conditions that mattered."""
        return self._conditions.some(np.flatnonzero(self._taken))

    def _split(self, node: _Node) -> tuple[int, int]:
        """Return pool and count at which the node is split, (-1, 0) where counts are whole."""
        levels, pools = self.levels, self.levels.problem.pools
        mean = np.bincount(levels.pool, weights=node.share * levels.hosts, minlength=pools)
        squared = node.share * levels.hosts**2
        squares = np.bincount(levels.pool, weights=squared, minlength=pools)
        mixed = squares - mean**2
        mixed[node.low >= node.high] = 0.0
        if mixed.max(initial=0.0) <= _MIXED:
            return -1, 0
        brought = np.maximum(_LEAST_GAIN, self._gain / self._splits).prod(axis=0)
        p = int((mixed * brought).argmax())
        below = np.floor(mean[p] + _EPS)
        highest = node.high[p] - 1
        at = int(np.clip(below, node.low[p], highest))
        return p, at
