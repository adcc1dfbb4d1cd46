"""Fewest moves over all host counts: who can stay on the host of today, as a program over classes, hosts in use, pools.

Sets and data as in `assignment.flow_model`; classes c of s_c alike sites with the same host of today, k_c clusters
each; hosts j in use, of pool p_j; of the plan at hand the weight W left out
Variables
    n_p whole, >= 0     hosts of pool p, o_p of them others than those in use
    r_j in {0, 1}       the host j runs on
    y_cp, x_cp whole    sites of c in pool p: y on a host of today, x on any
    u_c, v_c whole      sites of c left out, and with their own tie-breaker
    e_p >= 0            others that exist today
Minimise sum x_cp + sum v_c over the classes that have a host today, subject to
    (1) sum_p (x_cp + y_cp) + u_c + v_c = s_c
    (2) sum_j in p r_j + o_p = n_p, o_p > 0 only where all in use run, since hosts of a pool are alike
    (3) sum_c k_c (x_cp + y_cp) <= C_p n_p, and for large sites as in `model_builder`
    (4) y_cp <= s_c r_j for the host j of c, and sum_c k_c y_cp <= C_p r_j over the classes of j
    (5) where nobody named the host: k_c y_cp over all of pool p <= C_p (sum_j in p r_j + e_p), e_p <= o_p
    (6) limits on hubs, zones, weight and hosts, and what plans keep that are as good on all aims before
    (7) sum w_c u_c <= W
Every plan as good is a point of it. A point is a plan where sites have one cluster; else whole sites may lack room.
With cover, x and y have a standby too, see `cover.stay_with_standbys`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from planner.arrays import as_floats, falses, indices, int_array, int_zeros, minus_ones
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
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
    loosened,
)
from planner.sizing.tie_breaks.as_good import AsGood

Kept = tuple[Floats, float]  # a cost of pairs (E,), and what a plan may come to by it


class StayProgram:
    """The program of plans ``good`` in all aims before, which keep all of ``kept`` too.

    Hosts J: ``host_pool`` (J,) and ``host_name``; those in use, and where ``every_host`` all others too.
    Columns: ``n`` and ``others`` (P,), ``r`` (J,), and ``x`` (X,), those that stay at the end. Of x, shapes (X,):
    ``kind``, ``pair``, ``home``, ``standby`` (-1 for none), ``on``, the host on which they stay, and ``stays``.
    """

    short = False  # whether sites may do without what others have
    every_host = False

    def __init__(self, case: Case, good: AsGood, kept: Sequence[Kept] = ()) -> None:
        self.case = case
        self.problem = case.problem
        self.kept = kept
        self.good = good
        self.short = self.short or good.weight > 0
        self.built = ModelBuilder()
        self._read_hosts()
        self._read_classes()
        self._columns()
        self._everybody()
        self._running()
        self._limits()
        self._hosts_in_use()
        self._stay_anywhere()
        self._as_good()

    def program(self, whole: Bools | None = None) -> LinearProgram:
        """Return it as arrays, with all columns whole that must be, or just ``whole`` (columns,)."""
        program = self.built.program()
        return program if whole is None else dataclasses.replace(program, whole=whole)

    def with_whole_hosts(self) -> LinearProgram:
        """Return it as arrays, in which sites may be divided."""
        whole = falses(self.built.columns)
        whole[self.counts] = True
        return self.program(whole)

    @property
    def counts(self) -> Ints:
        """The columns that say which hosts run."""
        return np.concatenate((self.n, self.others, self.r))

    def ways(self, sites: Bools) -> tuple[Ints, Ints]:
        """Return the pairs that ``sites`` (S,) may use, and pools of their standbys, -1 for none; shapes (X,)."""
        problem = self.problem
        pair = np.flatnonzero(sites[problem.site] & problem.homes)
        return pair, minus_ones(len(pair))

    def _read_hosts(self) -> None:
        names = self.case.today.names
        known = self.case.today.named
        if self.problem.objective != "cost":
            in_use = [len(known.intersection(mine)) for mine in names]
            kept = np.maximum(self.good.hosts, in_use).tolist()
            names = [mine[:most] for mine, most in zip(names, kept, strict=True)]
        every = [(p, name) for p, mine in enumerate(names) for name in mine]
        listed = [(p, name) for p, name in every if name in known or self.every_host]
        self.host_pool = int_array([p for p, _ in listed])
        self.host_name = [name for _, name in listed]
        self.in_use = np.isin(self.host_name, list(known))
        listed_in = np.bincount(self.host_pool, minlength=self.problem.pools)
        self.unlisted = int_array([len(mine) for mine in names]) - listed_in

    def _read_classes(self) -> None:
        problem, today = self.problem, self.case.in_force
        self.classes = group(problem, by_weight=self.short, apart=self._apart())
        _, first = np.unique(self.classes.of_site, return_index=True)
        self.somewhere = ~today.nowhere[first]
        one_each = np.isin(np.arange(problem.sites), first)
        pairs, standbys = self.ways(one_each)
        sites = problem.site[pairs]
        stay = np.flatnonzero(today.incumbent[pairs])
        number = {name: j for j, name in enumerate(self.host_name)}
        hosts_today = [today.host[s] for s in sites[stay].tolist()]
        host = [number.get(name, -1) for name in hosts_today]
        every = np.concatenate((indices(pairs), stay))
        self.kind = self.classes.of_site[sites[every]]
        self.pair = pairs[every]
        self.home = problem.pool[self.pair]
        self.standby = standbys[every]
        self.on = np.concatenate((minus_ones(len(pairs)), int_array(host)))
        self.stays = indices(every) >= len(pairs)
        self.clusters = self.classes.clusters[self.kind]
        self.held = np.flatnonzero(self.on >= 0)

    def _apart(self) -> Ints:
        """Return what tells sites apart, shape (S,): the host of today, and each by itself where costs are kept."""
        today = self.case.in_force
        if self.kept:
            return np.arange(self.problem.sites)
        at = list(zip(today.hub, today.host, strict=True))
        places = {place: number for number, place in enumerate(sorted(set(at)))}
        return int_array([places[place] for place in at])

    def _columns(self) -> None:
        problem = self.problem
        classes = self.classes
        built = self.built
        size = classes.size
        self.n = built.block(problem.pools, upper=problem.max_hosts, whole=True)
        self.others = built.block(problem.pools, upper=self.unlisted, whole=True)
        self.r = built.block(len(self.host_pool), upper=1.0, whole=True)
        moved = ~self.stays & self.somewhere[self.kind]
        most = size[self.kind]
        self.x = built.block(len(self.kind), as_floats(moved), most, whole=True)
        self.out = indices(size) if self.good.weight else int_zeros(0)
        self.u = built.block(len(self.out), upper=size[self.out], whole=True)
        self.with_own = np.flatnonzero(classes.may_own)
        given_up = as_floats(self.somewhere[self.with_own])
        self.v = built.block(len(self.with_own), given_up, size[self.with_own], whole=True)

    def _everybody(self) -> None:
        """Add (1) and (3)."""
        shared: Terms = self.kind, self.x, 1.0
        left_out: Terms = self.out, self.u, 1.0
        own: Terms = self.with_own, self.v, 1.0
        self.built.equal([shared, left_out, own], self.classes.count, self.classes.size)
        self.loads = Loads(self.home, self.x, self.clusters)
        add_carried = add_room if self.problem.split else add_capacity
        add_carried(self.built, self.problem.caps, self.n, [self.loads])

    def _running(self) -> None:
        """Add (2)."""
        pools = np.arange(self.problem.pools)
        known = np.flatnonzero(self.in_use)
        listed: Terms = self.host_pool, self.r, 1.0
        others: Terms = pools, self.others, 1.0
        self.built.define(self.n, [listed, others])
        pool, each = self.host_pool[known], indices(known)
        further: Terms = each, self.others[pool], 1.0
        all_run: Terms = each, self.r[known], -self.unlisted[pool]
        self.built.below([further, all_run], len(known))
        before, after = np.nonzero(self.in_order())
        self.built.no_more(self.r[after], self.r[before])

    def in_order(self) -> Bools:
        """Mark pairs of listed hosts (J, J) of which the second runs only where the first does.

        Others follow those in use in the list of a pool, and each runs only where the ones before it do.
        """
        number = indices(self.r)
        same_pool = self.host_pool[:, None] == self.host_pool
        next_to = number[:, None] == number - 1
        in_front = self.in_use[:, None] | next_to
        marks: Bools = same_pool & ~self.in_use & in_front
        return marks

    def _limits(self) -> None:
        """Add the limits of (6)."""
        problem = self.problem
        classes = self.classes
        built = self.built
        add_host_limits(built, problem.host_limits, self.n)
        units = classes.unit_demand
        amounts = {measure: each * units for measure, each in classes.amounts.items()}
        add_place_limits(built, problem, self.home, self.x, amounts, self.kind)
        each_site = classes.item_weight * units
        weight = each_site[self.kind]
        add_weight_on_hosts(built, problem.host_weight, self.n, Loads(self.home, self.x, weight))
        staying = Loads(self.on, self.x, weight).some(self.held)
        add_weight_on_hosts(built, problem.host_weight, self.r, staying)

    def _hosts_in_use(self) -> None:
        """Add (4)."""
        kind = self.kind[self.held]
        kinds, first, row = np.unique(kind, return_index=True, return_inverse=True)
        host = self.r[self.on[self.held[first]]]
        staying = Loads(row, self.x[self.held], np.ones(len(row)))
        add_room(self.built, self.classes.size[kinds], host, [staying])
        carried = Loads(self.on, self.x, self.clusters).some(self.held)
        caps = self.problem.caps[self.host_pool]
        add_carried = add_room if self.problem.split else add_capacity
        add_carried(self.built, caps, self.r, [carried])

    def _stay_anywhere(self) -> None:
        """Add (5)."""
        if not (self.stays & (self.on < 0)).any():
            return
        problem = self.problem
        built = self.built
        pools = np.arange(self.problem.pools)
        known = np.flatnonzero(self.in_use)
        fresh = np.flatnonzero(~self.in_use)
        e = built.block(problem.pools, upper=problem.existing)
        pool = self.host_pool[known]
        running = self.r[known]
        stay = self.loads.some(np.flatnonzero(self.stays))
        staying: Terms = stay.pool, stay.column, stay.items
        in_use: Terms = pool, running, -problem.caps[pool]
        exist: Terms = pools, e, 1.0
        others: Terms = pools, e, -problem.caps
        built.below([staying, in_use, others], len(pools))
        # Hosts in use count first as those that exist; where Current names more of them, none of the others do.
        named = np.maximum(1, np.bincount(pool, minlength=len(pools)))
        part = np.minimum(1.0, problem.existing / named)
        in_use_exist: Terms = pool, running, part[pool]
        built.below([exist, in_use_exist], len(pools), problem.existing)
        further: Terms = pools, self.others, -1.0
        listed: Terms = self.host_pool[fresh], self.r[fresh], -1.0
        built.below([exist, further, listed], len(pools))

    def _as_good(self) -> None:
        """Add (7) and the rest of (6)."""
        problem = self.problem
        classes = self.classes
        built = self.built
        priced: list[Term] = [(self.x, problem.pair_cost[self.pair])]
        own: Term = self.v, classes.own_cost[self.with_own]
        self.good.add(built, problem, self.n, priced, own)
        weight = classes.weight[self.out]
        of_kept = weight * classes.kept[self.out]
        self.good.add_weight(built, self.u, weight, of_kept)
        for cost, most in self.kept:
            built.at_most([(self.x, cost[self.pair])], loosened(most))
