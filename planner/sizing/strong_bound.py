"""A sharper lower bound on a later aim: branch and bound over host counts on the location model; for moderate fleets.

    minimise   sum c_ip x_ip
    subject to sum_p x_ip = 1, sum_i k_i x_ip <= C_p n_p, sum_p n_p = N, n_p <= M_p, n whole     (1)
               x_ip <= n_p                                                                        (2)
               sum d_ip x_ip <= D   for every aim that comes before                               (3)

(2) follows from the rest but makes the linear relaxation far stronger (K. Holmberg, M. Ronnqvist, D. Yuan, European J.
Operational Research 113 (1999) 544-559, use it for the single-source problem). Few of these rows matter; they are taken
in where a relaxation breaks them and stay for all nodes. The node of the least bound is split next, at the pool whose
two branches have raised the bound most so far (M. Benichou and others, Mathematical Programming 1 (1971) 76-94), so
that the bound of what is open rises from the first node on, and work can end after any.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from planner.fleet import Floats, Ints
from planner.sizing.open_rows import WithOpenRows
from planner.sizing.placement import PairCost
from planner.sizing.problem import Problem
from planner.sizing.solver import Effort, LinearProgram

_MOST_PAIRS = 40_000  # beyond, the first relaxation alone takes longer than people wait
_WHOLE = 1e-6


@dataclass(frozen=True, slots=True)
class Settled:
    """An aim that comes before, and the ``value`` of it that no plan may exceed."""

    cost: PairCost
    value: float


def strong_bound(
    problem: Problem,
    cost: PairCost,
    hosts: int,
    before: Sequence[Settled],
    judge: Callable[[Ints], float],
    work: int,
    effort: Effort,
) -> float:
    """Return a lower bound on total ``cost`` with ``hosts`` hosts; 0 where the fleet is too large for it.

    ``judge`` is asked about host counts (P,) that may do better than the plan at hand, and returns what the better of
    the two costs. The search ends where nothing can be cheaper than that by a step of ``cost``, or after about ``work``
    (pairs times steps of the simplex method), so that runs repeat.
    """
    if len(problem.pool) > _MOST_PAIRS or effort.spent:
        return 0.0
    return _Tree(problem, cost, hosts, before, judge, effort).search(work // max(1, len(problem.pool)))


@dataclass(frozen=True, slots=True, order=True)
class _Node:
    """Host counts between ``fewest`` and ``most`` (P,), with the bound and the counts of the relaxation of them."""

    bound: float
    number: int
    fewest: Floats
    most: Floats
    hosts: Floats


class _Tree:
    def __init__(
        self,
        problem: Problem,
        cost: PairCost,
        hosts: int,
        before: Sequence[Settled],
        judge: Callable[[Ints], float],
        effort: Effort,
    ) -> None:
        self.hosts, self.step, self.judge, self.effort = hosts, cost.step, judge, effort
        self.most = problem.max_hosts.astype(np.float64)
        program = _program(problem, cost.values, hosts, before)
        self.relaxation = WithOpenRows(program, problem.pool, np.ones_like(problem.pool), effort.seed)
        self.raised, self.times = np.zeros((2, problem.pools)), np.zeros((2, problem.pools))
        self.number = 0
        self.enough = np.inf  # a bound as high as this proves the plan at hand

    def search(self, steps: int) -> float:
        """Split nodes until none is open, or time or ``steps`` of the simplex method end; return the least bound."""
        root = self._node(np.zeros_like(self.most), self.most, 0.0)
        if root is None:
            return 0.0
        nodes = [root]
        closed = np.inf  # least bound of the nodes that need no splitting
        while nodes and self.relaxation.iterations < steps:
            node = heapq.heappop(nodes)
            pool = self._to_split(node)
            if node.bound >= self.enough or pool is None:
                closed = min(closed, node.bound)
                continue
            children = self._children(node, pool)
            if children is None:
                heapq.heappush(nodes, node)
                break
            for child in children:
                heapq.heappush(nodes, child)
        return float(min(closed, nodes[0].bound if nodes else np.inf))

    def _children(self, node: _Node, pool: int) -> list[_Node] | None:
        """Return the two halves of ``node``; None when time ended."""
        down, up = node.most.copy(), node.fewest.copy()
        down[pool], up[pool] = np.floor(node.hosts[pool]), np.ceil(node.hosts[pool])
        part = node.hosts[pool] - down[pool]
        halves = ((node.fewest, down, part), (up, node.most, 1 - part))
        children = []
        for side, (fewest, most, share) in enumerate(halves):
            child = self._node(fewest, most, node.bound)
            if child is None:
                return None
            if np.isfinite(child.bound):
                self.raised[side, pool] += (child.bound - node.bound) / share
                self.times[side, pool] += 1
            children.append(child)
        return children

    def _node(self, fewest: Floats, most: Floats, parent: float) -> _Node | None:
        self.relaxation.bound_hosts(fewest, most)
        answer = self.relaxation.solve(self.effort, self.enough)
        self.number += 1
        if answer.outcome.state == "infeasible":
            return _Node(np.inf, self.number, fewest, most, fewest)
        if answer.outcome.state != "optimal":
            return None
        hosts = answer.x[: len(self.most)]
        bound = max(parent, answer.outcome.objective)
        if bound < self.enough:
            self.enough = self.judge(self._rounded(hosts)) - self.step * (1 - _WHOLE)
        return _Node(bound, self.number, fewest, most, hosts)

    def _rounded(self, hosts: Floats) -> Ints:
        """Return whole counts near ``hosts``, as many in total as there are to be."""
        counts = np.floor(hosts + _WHOLE)
        part = np.where(counts < self.most, hosts - counts, -np.inf)
        up = np.argsort(-part, kind="stable")[: max(0, self.hosts - int(counts.sum()))]
        counts[up] += 1
        return counts.astype(np.int64)

    def _to_split(self, node: _Node) -> int | None:
        part = node.hosts - np.floor(node.hosts)
        split = np.flatnonzero(np.minimum(part, 1 - part) > _WHOLE)
        if not len(split):
            return None
        known = self.raised.sum(axis=1, keepdims=True) / np.maximum(1, self.times.sum(axis=1, keepdims=True))
        each = np.where(self.times > 0, self.raised / np.maximum(1, self.times), known + _WHOLE)
        down, up = np.maximum(each * np.stack((part, 1 - part)), _WHOLE)
        return int(split[np.argmax((down * up)[split])])


def _program(problem: Problem, cost: Floats, hosts: int, before: Sequence[Settled]) -> LinearProgram:
    """Return the relaxation of (1) and (3); columns n_p, then x_ip."""
    pairs, pools, sites = len(problem.pool), problem.pools, problem.sites
    pair = np.arange(pairs)
    of_site = sp.csr_array((np.ones(pairs), (problem.site, pair)), shape=(sites, pairs))
    load = sp.csr_array((problem.items[problem.site].astype(np.float64), (problem.pool, pair)), shape=(pools, pairs))
    earlier = sp.csr_array(np.array([aim.cost.values for aim in before]).reshape(len(before), pairs))
    matrix = sp.vstack(
        (
            sp.hstack((sp.csr_array((sites, pools)), of_site)),
            sp.hstack((sp.diags_array(-problem.caps.astype(np.float64)), load)),
            sp.hstack((sp.csr_array(np.ones((1, pools))), sp.csr_array((1, pairs)))),
            sp.hstack((sp.csr_array((len(before), pools)), earlier)),
        )
    )
    at_most = [aim.value + 1e-6 for aim in before]  # what is as good to the last digit is as good
    return LinearProgram(
        cost=np.concatenate((np.zeros(pools), cost)),
        upper=np.concatenate((problem.max_hosts, np.ones(pairs))).astype(np.float64),
        matrix=sp.csc_array(matrix),
        row_lower=np.concatenate((np.ones(sites), np.full(pools, -np.inf), [hosts], np.full(len(before), -np.inf))),
        row_upper=np.concatenate((np.ones(sites), np.zeros(pools), [hosts], at_most)),
    )
