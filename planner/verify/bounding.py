"""A branch and bound over whole host counts whose answer rests on whole-number arithmetic alone.

At each node the linear relaxation only proposes multipliers; the bound is added up from them exactly (see
`planner.verify.host_model`), so that floating point can make the search longer but not wrong. Nodes that no counts can
meet, and nodes whose least counts already meet all rows, are told by whole numbers too.

Sources: A. H. Land, A. G. Doig, "An automatic method of solving discrete programming problems", Econometrica 28 (1960)
497-520; bounds by multipliers, A. M. Geoffrion, Mathematical Programming Study 2 (1974) 82-114.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from fractions import Fraction

import highspy
import numpy as np

from planner.fleet import Bools, Floats
from planner.silence import silenced
from planner.verify.host_model import Exact, HostModel, exact

MOST_NODES = 20_000

_DENOMINATOR = 720_720 * 1_000_000  # of the multipliers: thirds, sevenths and so on up to sixteenths stay exact
_SHORT_PRICE = 100  # for leaving the rows unmet, in multiples of the goal: too dear while anything else works
_FRACTIONAL = 1e-6
_CLOSE = Fraction(1, 10**9)  # relative; money is in binary fractions, so bounds seldom meet it to the last bit


@dataclass(frozen=True, slots=True)
class Bounded:
    """No counts that meet the rows cost less than ``bound``; the cheapest found that do cost ``best``."""

    bound: Fraction
    best: Fraction | None
    nodes: int


@dataclass(frozen=True, slots=True, order=True)
class _Node:
    """Counts between ``low`` and ``high`` (P,) cost at least ``bound``; pool ``pool`` is split above ``split``."""

    bound: Fraction
    age: int  # newest first among equals: whole counts turn up sooner
    low: Exact = field(compare=False)
    high: Exact = field(compare=False)
    pool: int = field(compare=False)
    split: int = field(compare=False)


def branch_and_bound(model: HostModel, goal: Fraction, most_nodes: int = MOST_NODES) -> Bounded:
    """Return what the rows of ``model`` force: ``goal``, or less where they do not force it or nodes run out.

    The rows force less than ``goal`` where ``best`` is below it; otherwise, with ``bound`` below it, more than
    ``most_nodes`` nodes would be needed to tell.
    """
    search = _Search(model, goal)
    search.visit(np.zeros_like(model.most), model.most, Fraction(0))
    while search.bound < search.enough and search.nodes < most_nodes:
        node = heapq.heappop(search.open)
        below, above = node.high.copy(), node.low.copy()
        below[node.pool], above[node.pool] = node.split, node.split + 1
        search.visit(node.low, below, node.bound)
        search.visit(above, node.high, node.bound)
    return Bounded(search.bound, search.best, search.nodes)


class _Search:
    """Open nodes, the one with the least bound first, and the best counts so far."""

    def __init__(self, model: HostModel, goal: Fraction) -> None:
        self.model, self.goal = model, goal
        self.open: list[_Node] = []
        self.best: Fraction | None = None
        self.nodes = 0
        self._relaxation = _Relaxation(model, _SHORT_PRICE * max(1.0, float(goal)))
        self._first = self._relaxation.first

    @property
    def bound(self) -> Fraction:
        """What all counts that meet the rows cost at least; the goal where no counts meet them."""
        known = [self.open[0].bound] if self.open else []
        return min([*known, *([] if self.best is None else [self.best])], default=self.goal)

    @property
    def enough(self) -> Fraction:
        """The bound at which there is nothing left to find out."""
        if self.best is None:
            return self.goal
        return min(self.goal, self.best if self.model.whole else self.best * (1 - _CLOSE))

    def visit(self, low: Exact, high: Exact, inherited: Fraction) -> None:
        """Bound the counts between ``low`` and ``high``, and open the node unless that settles it."""
        self.nodes += 1
        if not self.model.met(high).all():
            return
        if self.model.met(low).all():
            self._offer(low)
            return
        hosts, multipliers = self._relaxed(low, high)
        self._offer(np.minimum(exact([int(n) for n in np.ceil(hosts - _FRACTIONAL)]), high))
        bound = max(inherited, self.model.bound(multipliers, _DENOMINATOR, low, high))
        opening: Bools = self._first & (low == 0).astype(np.bool_) & (high > 0).astype(np.bool_) & (hosts > _FRACTIONAL)
        pool, split = _branching(hosts, low, high)
        if opening.any():
            pool, split = int(np.argmax(np.where(opening, hosts, -1.0))), 0
        heapq.heappush(self.open, _Node(bound, -self.nodes, low, high, pool, split))

    def _offer(self, hosts: Exact) -> None:
        if self.model.met(hosts).all():
            value = self.model.value(hosts)
            self.best = value if self.best is None else min(self.best, value)

    def _relaxed(self, low: Exact, high: Exact) -> tuple[Floats, Exact]:
        """Return counts (P,) that solve the linear relaxation, not whole, and its multipliers (R,)."""
        found = self._relaxation.solve(low, high)
        if found is None:
            # Without a proposal the node is halved; its bound stays the inherited one.
            return ((low + high) / 2).astype(np.float64), exact([0] * len(self.model.least))
        hosts, duals = found
        proposed = np.rint(np.maximum(0.0, duals) * _DENOMINATOR)
        return hosts, exact([int(y) for y in proposed])


class _Relaxation:
    """The linear relaxation, kept by the solver from node to node: each begins where the last one ended.

    Columns: hosts that are free, hosts that cost, whether any run, each (P,), and the share of all rows that is left
    unmet, at the price ``unmet``. ``first`` (P,): pools of which it matters whether any run.
    """

    def __init__(self, model: HostModel, unmet: float) -> None:
        room, least = model.room.astype(np.float64), model.least.astype(np.float64)
        first = model.less.astype(np.float64)
        self.free, self.first = model.free, first.any(axis=0)
        self.rows, self.pools = room.shape
        price = (model.price / model.unit).astype(np.float64)
        nothing = np.zeros(self.pools)
        one = np.eye(self.pools)
        # Hosts run in a pool only where any run: free + paid - most any <= 0. The most is set at each node.
        some = np.hstack((one, one, 0.0 * one, np.zeros((self.pools, 1))))[self.first]
        matrix = np.vstack((np.hstack((room, room, -first, least[:, None])), -some))
        with silenced():
            self._highs = highspy.Highs()  # type: ignore[no-untyped-call]
        self._highs.setOptionValue("output_flag", False)
        lp = highspy.HighsLp()
        lp.num_row_, lp.num_col_ = matrix.shape
        lp.col_cost_ = np.concatenate((nothing, price, nothing, [unmet]))
        lp.col_lower_ = np.zeros(lp.num_col_)
        lp.col_upper_ = np.ones(lp.num_col_)
        lp.row_lower_ = np.concatenate((least, np.zeros(len(some))))
        lp.row_upper_ = np.full(lp.num_row_, highspy.kHighsInf)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        rows, columns = np.nonzero(matrix)
        lp.a_matrix_.start_ = np.searchsorted(rows, np.arange(lp.num_row_ + 1))
        lp.a_matrix_.index_ = columns
        lp.a_matrix_.value_ = matrix[rows, columns]
        self._highs.passModel(lp)
        self._columns = np.arange(lp.num_col_, dtype=np.int32)
        self._most = np.zeros(self.pools)

    def solve(self, low: Exact, high: Exact) -> tuple[Floats, Floats] | None:
        """Return hosts (P,) between ``low`` and ``high`` and the multipliers (R,); None where the solver has none."""
        least = (*np.minimum(low, self.free), *np.maximum(0, low - self.free), *np.minimum(low, 1), 0)
        most = (*np.minimum(high, self.free), *np.maximum(0, high - self.free), *np.minimum(high, 1), 1)
        bounds = np.array((least, most), dtype=np.float64)
        self._highs.changeColsBounds(len(self._columns), self._columns, *bounds)
        for row, p in enumerate(np.flatnonzero(self.first).tolist(), start=self.rows):
            if self._most[p] != high[p]:
                self._highs.changeCoeff(row, 2 * self.pools + p, float(high[p]))
                self._most[p] = high[p]
        self._highs.run()
        if self._highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            self._highs.clearSolver()  # the next node begins anew
            return None
        solution = self._highs.getSolution()
        values, duals = np.array(solution.col_value), np.array(solution.row_dual)
        return values[: self.pools] + values[self.pools : 2 * self.pools], duals[: self.rows]


def _branching(hosts: Floats, low: Exact, high: Exact) -> tuple[int, int]:
    """Return the pool whose count is farthest from whole, and the count to split above; the widest if all are whole."""
    undecided: Bools = (low < high).astype(np.bool_)
    distance = np.where(undecided, np.abs(hosts - np.rint(hosts)), -1.0)
    pool = int(np.argmax(distance))
    split = int(np.floor(hosts[pool]))
    if distance[pool] <= _FRACTIONAL:
        pool = int(np.argmax(high - low))
        split = (low[pool] + high[pool]) // 2
    return pool, min(max(split, low[pool]), high[pool] - 1)
