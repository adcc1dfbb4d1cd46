"""A sharper lower bound on a later aim: branch and bound over host counts on the location model; for moderate fleets.

    minimise   sum c_ip x_ip
    subject to sum_p x_ip = 1, sum_i k_i x_ip <= C_p n_p, sum_p n_p = N, n_p <= M_p     (1)
               sum_{k_i >= k} x_ip <= floor(C_p / k) n_p   for every k > 1 there is       (2)
               x_ip <= n_p                                                                (3)
               sum d_ip x_ip <= D   for every aim that comes before                       (4)
               n_p whole, and x_ip where k_i > 1 and clusters stay together

Where plans at hand differ in more than their pools, the first of (1) is sum_p x_ip + u_i + o_i = 1, with sites that are
left out or have their own tie-breaker, and what plans keep that are `as_good` takes the place of the third. Limits on
hubs, zones and the weight on hosts are rows as in `assignment.flow_model`.

(2) counts how many sites of k clusters or more go into a host. (3) follows from the rest but makes the linear
relaxation far stronger (K. Holmberg, M. Ronnqvist, D. Yuan, European J. Operational Research 113 (1999) 544-559, use it
for the single-source problem). Few of these rows matter: they are taken in where a relaxation breaks them, and stay for
all nodes. The node of the least bound is split next, host counts first, at the column farthest from a whole number: the
bound of what is open rises from the first node on, and work can end after any.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, falses, int_array, int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.assignment.linking_rows import WithOpenRows
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.placement import PairCost
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Term,
    Terms,
    add_capacity,
    add_host_limits,
    add_place_limits,
    add_room,
    add_weight_on_hosts,
)
from planner.sizing.tie_breaks.as_good import AsGood, add_cuts

_MOST_PAIRS = 40_000  # beyond, the first relaxation alone takes longer than people wait
_WHOLE = 1e-6


@dataclass(frozen=True, slots=True)
class EpsilonConstraint:
    """An aim that comes before, and the ``value`` of it that no plan may exceed; ``own`` (S,): of own tie-breakers."""

    cost: PairCost
    value: float
    own: Floats | None = None


@dataclass(frozen=True)
class LocationModel:
    """The model: least ``cost`` of pairs with so many ``hosts``, under the aims that come ``before``.

    ``as_good``: what plans keep, where they are not all of so many hosts that serve every site by shared ones;
    ``own`` (S,): cost of own tie-breakers, 0 where None. ``cuts``: what is known of the counts of plans otherwise.
    """

    problem: Problem
    cost: PairCost
    hosts: int
    before: Sequence[EpsilonConstraint] = ()
    as_good: AsGood | None = None
    own: Floats | None = None
    cuts: Sequence[Cut] = ()


Judge = Callable[[Ints, Floats | None], float]


def strong_bound(model: LocationModel, evaluator: Judge, work: int, budget: SolveBudget) -> float:
    """Return a lower bound on the cost of ``model``; 0 where the fleet is too large for it or for ``work``.

    ``evaluator`` is asked about host counts (P,) that may do better than the plan at hand, and returns what the better
    of the two costs; where the counts are those of a relaxation, it is told the shares of sites on each pair (E,) too.
    The search ends where nothing can be cheaper than that by a step of ``cost``, or after about ``work`` (pairs times
    steps of the simplex method), so that runs repeat.
    """
    problem = model.problem
    steps = work // max(1, len(problem.pool))
    # The first relaxation alone takes about a step for each site.
    if len(problem.pool) > _MOST_PAIRS or steps < problem.sites or budget.spent:
        return 0.0
    return _Tree(model, evaluator, budget).search(steps)


@dataclass(frozen=True, slots=True, order=True)
class _Node:
    """What is known below some ``limits`` (column -> least and most): the ``bound``, and the relaxation's ``x``."""

    bound: float
    number: int
    limits: Mapping[int, tuple[float, float]]
    x: Floats


class _Tree:
    def __init__(self, model: LocationModel, evaluator: Judge, budget: SolveBudget) -> None:
        problem = model.problem
        self.hosts = model.hosts
        self.step = model.cost.step
        self.evaluator = evaluator
        self.budget = budget
        self.pairs = len(problem.pool)
        self.most = as_floats(problem.max_hosts)
        program = _program(model)
        self.upper = program.upper
        self.whole = falses(len(self.upper))
        self.whole[: problem.pools] = True
        several = problem.items[problem.site] > 1
        self.whole[problem.pools :][: self.pairs] = several
        one_each = np.ones_like(problem.pool)
        self.relaxation = WithOpenRows(program, problem.pools, problem.pool, one_each, budget.seed)
        self.number = 0
        self.touched: set[int] = set()  # columns that some node limits
        self.enough = np.inf  # a bound as high as this proves the plan at hand

    def search(self, steps: int) -> float:
        """Split nodes until none is open, or time or ``steps`` of the simplex method end; return the least bound."""
        root = self._node({}, 0.0)
        if root is None:
            return 0.0
        nodes = [root]
        closed = np.inf  # least bound of the nodes that need no splitting
        while nodes and self.relaxation.iterations < steps:
            node = heapq.heappop(nodes)
            column = self._to_split(node)
            if node.bound >= self.enough or column is None:
                closed = min(closed, node.bound)
                continue
            children = self._children(node, column)
            if children is None:
                heapq.heappush(nodes, node)
                break
            for child in children:
                heapq.heappush(nodes, child)
        least_open = nodes[0].bound if nodes else np.inf
        return float(min(closed, least_open))

    def _children(self, node: _Node, column: int) -> list[_Node] | None:
        """Return the two halves of ``node``; None when time ended."""
        least, most = self._limits(node.limits, column)
        below = float(np.floor(node.x[column]))
        self.touched.add(column)
        children = []
        for limits in ((least, below), (below + 1, most)):
            child = self._node({**node.limits, column: limits}, node.bound)
            if child is None:
                return None
            children.append(child)
        return children

    def _limits(self, limits: Mapping[int, tuple[float, float]], column: int) -> tuple[float, float]:
        return limits.get(column, (0.0, float(self.upper[column])))

    def _node(self, limits: Mapping[int, tuple[float, float]], parent: float) -> _Node | None:
        columns = int_array(sorted(self.touched))
        bounds = np.array([self._limits(limits, column) for column in columns.tolist()])
        lower, upper = bounds.reshape(len(columns), 2).T
        self.relaxation.bound(columns, lower.copy(), upper.copy())
        answer = self.relaxation.solve(self.budget, self.enough)
        self.number += 1
        if answer.outcome.state == "infeasible":
            return _Node(np.inf, self.number, limits, answer.x)
        if answer.outcome.state != "optimal":
            return None
        bound = max(parent, answer.outcome.objective)
        if bound < self.enough:
            self._ask(answer.x)
        return _Node(bound, self.number, limits, answer.x)

    def _ask(self, x: Floats) -> None:
        """Let the judge look at whole counts near ``x``."""
        pools = len(self.most)
        hosts = x[:pools]
        shares = x[pools : pools + self.pairs]
        counts = np.floor(hosts + _WHOLE)
        part = np.where(counts < self.most, hosts - counts, -np.inf)
        missing = max(0, self.hosts - int(counts.sum()))
        up = np.argsort(-part, kind="stable")[:missing]
        counts[up] += 1
        away = np.abs(counts - hosts)
        near = away.max(initial=0.0) <= _WHOLE
        wished = shares if near and self.whole[pools:].any() else None
        value = self.evaluator(counts.astype(np.int64), wished)
        self.enough = value - self.step * (1 - _WHOLE)

    def _to_split(self, node: _Node) -> int | None:
        """Return the column to split at, host counts before sites; None where all that must be is whole."""
        pools = len(self.most)
        for columns in (np.arange(pools), pools + np.flatnonzero(self.whole[pools:])):
            values = node.x[columns]
            distance = np.abs(values - np.rint(values))
            if distance.max(initial=0.0) > _WHOLE:
                return int(columns[np.argmax(distance)])
        return None


def _program(model: LocationModel) -> LinearProgram:
    """Return the relaxation of (1), (2) and (4), and further limits; columns n_p, then x_ip, then all others."""
    problem, built = model.problem, ModelBuilder()
    n = built.block(problem.pools, upper=as_floats(problem.max_hosts))
    x = built.block(len(problem.pool), model.cost.values, upper=1.0)
    own = out = int_zeros(0)
    if model.as_good:
        own = np.flatnonzero(problem.may_own)
    if model.as_good and model.as_good.weight:
        out = np.arange(problem.sites)
    own_cost = 0.0 if model.own is None else model.own[own]
    o = built.block(len(own), own_cost, upper=1.0)
    u = built.block(len(out), upper=1.0)
    shared: Terms = problem.site, x, 1.0
    built.equal([shared, (own, o, 1.0), (out, u, 1.0)], problem.sites, 1.0)
    clusters = Loads(problem.pool, x, problem.clusters[problem.site])
    add_carried = add_room if problem.split else add_capacity
    add_carried(built, problem.caps, n, [clusters])
    if model.as_good is None:
        built.row([(n, 1.0)], model.hosts, model.hosts)
        add_cuts(built, model.cuts, n)
    else:
        priced: list[Term] = [(x, problem.pair_cost)]
        priced_own: Term = o, problem.own_cost[own]
        model.as_good.add(built, problem, n, priced, priced_own)
        kept_weights = problem.weights * problem.kept
        model.as_good.add_weight(built, u, problem.weights, kept_weights)
    for aim in model.before:
        terms = [(x, aim.cost.values)]
        if aim.own is not None:
            terms.append((o, aim.own[own]))
        built.at_most(terms, aim.value + 1e-6)  # what is as good to the last digit is as good
    add_host_limits(built, problem.host_limits, n)
    add_place_limits(built, problem, problem.pool, x, problem.amounts, problem.site)
    weights = Loads(problem.pool, x, problem.weights[problem.site])
    add_weight_on_hosts(built, problem.host_weight, n, weights)
    return built.program()
