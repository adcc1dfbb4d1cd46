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
from typing import Any

import numpy as np
from scipy.optimize import linprog

from planner.fleet import Bools, Floats
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
        room, least = model.room.astype(np.float64), model.least.astype(np.float64)
        first = model.less.astype(np.float64)
        # Columns: hosts that are free, hosts that cost, whether any run, and the share of all rows that is left unmet.
        self._matrix = -np.hstack((room, room, -first, least[:, None]))
        self._least = -least
        self._first = first.any(axis=0)  # pools of which it matters whether any run
        price = (model.price / model.unit).astype(np.float64)
        nothing = np.zeros_like(price)
        self._cost = np.concatenate((nothing, price, nothing, [_SHORT_PRICE * max(1.0, float(goal))]))

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
        free = self.model.free
        least = (*np.minimum(low, free), *np.maximum(0, low - free), *np.minimum(low, 1), 0)
        most = (*np.minimum(high, free), *np.maximum(0, high - free), *np.minimum(high, 1), 1)
        bounds = np.array((least, most), dtype=np.float64).T
        rows, pools = len(self._least), len(free)
        one = np.eye(pools)
        some = np.hstack((one, one, -np.diag(high.astype(np.float64)), np.zeros((pools, 1))))[self._first]
        matrix, limit = np.vstack((self._matrix, some)), np.concatenate((self._least, np.zeros(len(some))))
        # The stubs of SciPy do not know that bounds may be an array.
        answer: Any = linprog(self._cost, matrix, limit, bounds=bounds, method="highs")  # type: ignore[call-overload]
        if answer.x is None:
            # Without a proposal the node is halved; its bound stays the inherited one.
            return ((low + high) / 2).astype(np.float64), exact([0] * rows)
        proposed = np.rint(np.maximum(0.0, -answer.ineqlin.marginals[:rows]) * _DENOMINATOR)
        return answer.x[:pools] + answer.x[pools : 2 * pools], exact([int(y) for y in proposed])


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
