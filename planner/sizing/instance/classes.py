"""Sites grouped into classes that the count cannot tell apart."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from pandas.util import hash_array

from planner.arrays import as_floats, indices, int_zeros, inverse, offsets, owners, run_of, runs
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.load_limits import Measure
from planner.sizing.instance.problem import Problem

Keys = npt.NDArray[np.uint64]


@dataclass(frozen=True)
class Classes:
    """Sites that the model cannot tell apart, counted once.

    Shapes: K classes, A arcs class-pool. ``of_site`` (S,): class of each site. ``size`` (K,): sites in
    it. ``items``, ``clusters``, ``weight``, ``own_cost`` (K,): of one site; ``kept`` (K,): its sites are to be kept.
    ``item_weight`` (K,), 0 where no weight on hosts is limited, and ``amounts`` (K,) are those of a unit: a site, or a
    cluster where sites may be split. ``fixed`` (K,): the model decides how many of its sites use each pool,
    because sites of other classes cannot stand in for them. The arcs of class c are ``indptr[c]:indptr[c + 1]`` with
    ``pool`` and ``cost`` (A,); those that are no ``home`` (A,) are for standbys only.
    """

    of_site: Ints
    size: Ints
    items: Ints
    clusters: Ints
    weight: Ints
    kept: Bools
    own_cost: Floats
    item_weight: Floats
    amounts: Mapping[Measure, Floats]
    fixed: Bools
    indptr: Ints
    pool: Ints
    home: Bools
    cost: Floats

    @property
    def count(self) -> int:
        """Number of classes."""
        return len(self.size)

    @cached_property
    def may_own(self) -> Bools:
        """Classes whose sites may use their own tie-breaker, shape (K,)."""
        return np.isfinite(self.own_cost)

    @cached_property
    def of_arc(self) -> Ints:
        """Class of each arc, shape (A,)."""
        return owners(self.indptr)

    @cached_property
    def arc_items(self) -> Ints:
        """``items`` of the class of each arc, shape (A,)."""
        return self.items[self.of_arc]

    @cached_property
    def arc_demand(self) -> Ints:
        """``demand`` of the class of each arc, shape (A,)."""
        return self.demand[self.of_arc]

    @cached_property
    def arc_item_weight(self) -> Floats:
        """``item_weight`` of the class of each arc, shape (A,)."""
        return self.item_weight[self.of_arc]

    @cached_property
    def arc_fixed(self) -> Bools:
        """``fixed`` of the class of each arc, shape (A,)."""
        return self.fixed[self.of_arc]

    @cached_property
    def arc_multi_cluster(self) -> Bools:
        """Arcs of classes whose sites bring several clusters to one host, shape (A,)."""
        return self.multi_cluster[self.of_arc]

    def arcs_of(self, c: int) -> slice:
        """Return where the arcs of class ``c`` stand."""
        return run_of(self.indptr, c)

    @cached_property
    def of_the_day(self) -> Classes:
        """The same classes with the arcs to homes alone."""
        if self.home.all():
            return self
        kept = self.home
        sizes = np.bincount(self.of_arc[kept], minlength=self.count)
        pool, cost = self.pool[kept], self.cost[kept]
        return replace(self, indptr=offsets(sizes), pool=pool, cost=cost, home=kept[kept])

    @cached_property
    def demand(self) -> Ints:
        """Units that a class sends to pools, shape (K,): sites, or clusters where sites may be split."""
        return self.size * self.unit_demand

    @cached_property
    def unit_demand(self) -> Ints:
        """Units of one site, shape (K,): 1, or its clusters where sites may be split."""
        return self.clusters // self.items

    @cached_property
    def multi_cluster(self) -> Bools:
        """Classes whose sites bring several clusters to one host, shape (K,)."""
        return self.items > 1


def arc_of_pair(problem: Problem, classes: Classes) -> Ints:
    """Return the arc of each eligible pair, shape (E,): both have the same place, among a class's and a site's."""
    first_arc = classes.indptr[classes.of_site]
    ahead: Ints = first_arc - problem.indptr[:-1]
    return indices(problem.site) + ahead[problem.site]


def group(problem: Problem, *, by_weight: bool, apart: Ints | None = None) -> Classes:
    """Group sites by eligible pools, clusters, own tie-breaker price, ``by_weight`` also by it, and pair costs if any.

    ``apart`` (S,): sites of different values are in different classes, and the model places every class itself.
    """
    by_cost, placed = problem.objective == "cost", apart is not None
    item_weight = np.zeros(problem.sites) if problem.host_weight is None else problem.item_weight
    weights = problem.weights if by_weight else np.ones_like(problem.weights)
    kept = problem.kept if by_weight else np.zeros_like(problem.kept)
    costs = problem.pair_cost if by_cost else np.zeros_like(problem.pair_cost)
    held_apart = int_zeros(problem.sites) if apart is None else apart
    counted = (problem.clusters, problem.own_cost, weights, kept, item_weight, held_apart, *problem.amounts.values())
    alike = as_floats(np.column_stack(counted))
    uses = problem.pool * 2 + problem.homes  # a pool for home or standby is another one than for standby only
    first, of_site = _alike(alike, problem.indptr, uses, costs if by_cost else None)
    choices = np.diff(problem.indptr)[first]
    pairs = runs(problem.indptr[first], choices)
    of_unit = {measure: each * problem.items / problem.clusters for measure, each in problem.amounts.items()}
    return Classes(
        of_site=of_site,
        size=np.bincount(of_site, minlength=len(first)).astype(np.int64),
        items=problem.items[first],
        clusters=problem.clusters[first],
        weight=weights[first],
        kept=kept[first],
        own_cost=problem.own_cost[first],
        item_weight=item_weight[first],
        amounts={measure: each[first] for measure, each in of_unit.items()},
        fixed=(problem.items[first] > 1) | (not problem.flows) | placed,
        indptr=offsets(choices),
        pool=problem.pool[pairs],
        home=problem.homes[pairs],
        cost=costs[pairs],
    )


def _alike(own: Floats, indptr: Ints, pool: Ints, costs: Floats | None) -> tuple[Ints, Ints]:
    """Return the first site of each class (K,), in order, and the class of each site (S,).

    Alike are sites with the same row of ``own`` (S, numbers) and the same pools, at the same ``costs`` (E,) if given.
    They are found by keys of 64 bits, and compared; should two that differ share a key, other keys are made.
    """
    lengths = np.diff(indptr)
    for salt in itertools.count():
        keys = _keys(own, indptr, pool, costs, salt)
        _, first, of_site = np.unique(keys, return_index=True, return_inverse=True)
        order = np.argsort(first)
        first = first[order]
        of_site = inverse(order, len(order))[of_site]
        twin = first[of_site]
        if (lengths == lengths[twin]).all() and (own == own[twin]).all():
            at = runs(indptr[twin], lengths)
            same_cost = costs is None or (costs == costs[at]).all()
            if same_cost and (pool == pool[at]).all():
                break
    return first, of_site


def _keys(own: Floats, indptr: Ints, pool: Ints, costs: Floats | None, salt: int) -> Keys:
    """Return a key for each site, shape (S,): its row of ``own`` mixed with the sum of its pools' keys."""
    pools = np.arange(pool.max(initial=0) + 1, dtype=np.uint64)
    of_pair = _mixed(pools, salt)[pool]
    if costs is not None:
        of_pair = _mixed(of_pair ^ costs.view(np.uint64), salt)
    before = np.zeros(len(pool) + 1, dtype=np.uint64)
    np.cumsum(of_pair, out=before[1:])  # wraps, and so do differences
    keys = before[indptr[1:]] - before[indptr[:-1]]
    for column in own.T:
        keys = _mixed(keys ^ np.ascontiguousarray(column).view(np.uint64), salt)
    return keys


def _mixed(values: Keys, salt: int) -> Keys:
    """Return 64 bits that look random for each of ``values``: the end of G. L. Steele's SplitMix64 (OOPSLA 2014)."""
    salted = values + np.uint64((salt + 1) * 0x9E3779B97F4A7C15 % 2**64)
    return hash_array(salted)
