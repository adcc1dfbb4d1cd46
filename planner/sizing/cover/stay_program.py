"""Fewest moves under cover: who can stay on the host of today, as a program over classes, hosts in use and pools.

Sets and data as in `primal_search.pool_relaxation`; classes c of s_c alike sites with the same host of today, k_c
clusters each; hosts j in use, of pool p_j; of the plan at hand the weight W left out, and U without standby
Variables
    n_p whole, >= 0     hosts of pool p, o_p of them others than those in use
    r_j in {0, 1}       the host j runs on
    y_cpq, x_cpq whole  sites of c at home in pool p with standby in q or none: y on a host of today, x on any
    u_c, v_c whole      sites of c left out, and with their own tie-breaker
    e_p >= 0            others that exist today
Minimise sum x_cpq + sum v_c over the classes that have a host today, subject to
    (1) sum_pq (x_cpq + y_cpq) + u_c + v_c = s_c
    (2) sum_j in p r_j + o_p = n_p, o_p > 0 only where all in use run, since hosts of a pool are alike
    (3) sum_cq k_c (x_cpq + y_cpq) <= C_p n_p, and for large sites as in `model_builder`
    (4) sum_q y_cpq <= s_c r_j for the host j of c, and sum_cq k_c y_cpq <= C_p r_j over the classes of j
    (5) where nobody named the host: k_c y_cpq over all of pool p <= C_p (sum_j in p r_j + e_p), e_p <= o_p
    (6) limits on hubs, zones, weight and hosts, and what plans keep that are as good on all aims before
    (7) sum w_c (x_cp + y_cp) without standby <= U, sum w_c u_c <= W
    (8) every loss finds room, see `stay_losses`
Every plan as good is a point of it. A point is a plan where sites have one cluster; else whole sites may lack room.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.cover.home_program import choices_of
from planner.sizing.cover.primal_search.state import Ground
from planner.sizing.cover.stay_losses import Homes, HostLosses, add_pool_losses
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
from planner.sizing.solution.draft import Draft
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
)
from planner.sizing.tie_breaks.as_good import as_good_as

Kept = tuple[Floats, float]  # a cost of pairs (E,), and what a plan may come to by it


class StayProgram:
    """The program of plans as good as ``draft``, which keep all of ``kept`` too.

    Hosts J: ``host_pool`` (J,) and ``host_name``; those in use, and against the loss of a host all others too.
    Columns: ``n`` and ``others`` (P,), ``r`` (J,), and ``x`` (X,), those that stay at the end. Of x, shapes (X,):
    ``kind``, ``pair``, ``home``, ``standby`` (-1 for none), ``on``, the host on which they stay, and ``stays``.
    """

    def __init__(self, case: Case, ground: Ground, draft: Draft, kept: Sequence[Kept] = ()) -> None:
        self.case, self.ground, self.problem, self.kept = case, ground, case.problem, kept
        self.good = as_good_as(case.problem, draft)
        bare = [seat.site for seat, host in zip(draft.seating.seats, draft.standbys, strict=True) if host is None]
        self.bare = int(self.problem.weights[bare].sum())
        self.short = bool(ground.coverable[bare].any()) or self.good.weight > 0
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
        self._losses()

    def program(self, cost: Floats | None = None) -> LinearProgram:
        """Return it as arrays; ``cost`` (columns,) instead of moves."""
        return self.built.program(cost)

    @property
    def counts(self) -> Ints:
        """The columns that say which hosts run."""
        levels = np.zeros(0, dtype=np.int64) if self.host_losses is None else self.host_losses.levels
        return np.concatenate((self.n, self.others, self.r, levels))

    def running(self, draft: Draft) -> Floats:
        """Return values (columns,) in which the hosts of ``draft`` run; those of sites are left at 0."""
        x, names = np.zeros(self.built.columns), draft.seating.names
        used = {name for mine in names.values() for name in mine}
        x[self.n] = [len(names.get(p, ())) for p in range(self.problem.pools)]
        x[self.r] = [name in used for name in self.host_name]
        x[self.others] = x[self.n] - np.bincount(self.host_pool, x[self.r], minlength=self.problem.pools)
        if self.host_losses is not None:
            x[self.host_losses.levels] = self.host_losses.at_levels(x[self.n])
        return x

    def _read_hosts(self) -> None:
        names, known, all_of_them = self.case.today.names, self.case.today.named, self.ground.by_host
        if self.problem.objective != "cost":
            names = [mine[: max(self.good.hosts, len(known.intersection(mine)))] for mine in names]
        listed = [(p, name) for p, mine in enumerate(names) for name in mine if name in known or all_of_them]
        self.host_pool = np.array([p for p, _ in listed], dtype=np.int64)
        self.host_name = [name for _, name in listed]
        self.in_use = np.array([name in known for name in self.host_name], dtype=np.bool_)
        listed_in = np.bincount(self.host_pool, minlength=self.problem.pools)
        self.unlisted = np.array([len(mine) for mine in names], dtype=np.int64) - listed_in

    def _read_classes(self) -> None:
        problem, today = self.problem, self.case.in_force
        at = list(zip(today.hub, today.host, strict=True))
        places = {place: number for number, place in enumerate(sorted(set(at)))}
        apart = np.array([places[place] for place in at], dtype=np.int64)
        if self.kept:  # sites of a class may cost different amounts
            apart = np.arange(problem.sites)
        self.classes = group(problem, by_weight=self.short, apart=apart)
        _, first = np.unique(self.classes.of_site, return_index=True)
        self.somewhere = ~today.nowhere[first]
        one_each = np.zeros(problem.sites, dtype=np.bool_)
        one_each[first] = True
        found = choices_of(self.ground, one_each, bare=self.short)
        stay = np.flatnonzero(today.incumbent[found.pair])
        number = {name: j for j, name in enumerate(self.host_name)}
        host = np.array([number.get(today.host[s], -1) for s in found.site[stay].tolist()], dtype=np.int64)
        every = np.concatenate((np.arange(len(found.site)), stay))
        self.kind = self.classes.of_site[found.site[every]]
        self.pair, self.home, self.standby = found.pair[every], found.home[every], found.standby[every]
        self.on = np.concatenate((np.full(len(found.site), -1), host))
        self.stays = np.arange(len(every)) >= len(found.site)
        self.clusters = self.classes.clusters[self.kind].astype(np.float64)

    def _columns(self) -> None:
        problem, classes, built = self.problem, self.classes, self.built
        size = classes.size.astype(np.float64)
        self.n = built.block(problem.pools, upper=problem.max_hosts.astype(np.float64), whole=True)
        self.others = built.block(problem.pools, upper=self.unlisted.astype(np.float64), whole=True)
        self.r = built.block(len(self.host_pool), upper=1.0, whole=True)
        moved = (~self.stays & self.somewhere[self.kind]).astype(np.float64)
        self.x = built.block(len(self.kind), moved, size[self.kind], whole=True)
        self.out = np.arange(classes.count) if self.good.weight else np.zeros(0, dtype=np.int64)
        self.u = built.block(len(self.out), upper=size[self.out], whole=True)
        self.with_own = np.flatnonzero(np.isfinite(classes.own_cost))
        given_up = self.somewhere[self.with_own].astype(np.float64)
        self.v = built.block(len(self.with_own), given_up, size[self.with_own], whole=True)

    def _everybody(self) -> None:
        """Add (1) and (3)."""
        size = self.classes.size.astype(np.float64)
        terms: list[Terms] = [(self.kind, self.x, 1.0), (self.out, self.u, 1.0), (self.with_own, self.v, 1.0)]
        self.built.add(terms, self.classes.count, size, size)
        everybody = Loads(self.home, self.x, self.classes.clusters[self.kind])
        add_capacity(self.built, self.problem.caps, self.n, [everybody])

    def _running(self) -> None:
        """Add (2)."""
        built, pools, known = self.built, np.arange(self.problem.pools), np.flatnonzero(self.in_use)
        terms: list[Terms] = [(self.host_pool, self.r, 1.0), (pools, self.others, 1.0), (pools, self.n, -1.0)]
        built.add(terms, len(pools), 0.0, 0.0)
        pool = self.host_pool[known]
        most: list[Terms] = [(np.arange(len(known)), self.others[pool], 1.0)]
        most.append((np.arange(len(known)), self.r[known], -self.unlisted[pool].astype(np.float64)))
        built.add(most, len(known), -np.inf, 0.0)
        # Others follow those in use in the list of a pool, and each runs only where the ones before it do.
        before, after = np.nonzero(
            (self.host_pool[:, None] == self.host_pool)
            & ~self.in_use
            & (self.in_use[:, None] | (np.arange(len(self.r))[:, None] == np.arange(len(self.r)) - 1))
        )
        row = np.arange(len(before))
        built.add([(row, self.r[after], 1.0), (row, self.r[before], -1.0)], len(row), -np.inf, 0.0)

    def _limits(self) -> None:
        """Add the limits of (6)."""
        problem, classes, built = self.problem, self.classes, self.built
        add_host_limits(built, problem, self.n)
        amounts = {measure: each[self.kind] for measure, each in classes.amounts.items()}
        add_place_limits(built, problem, self.home, self.x, amounts)
        if problem.host_weight is None:
            return
        weight, held = classes.item_weight[self.kind], np.flatnonzero(self.on >= 0)
        most = np.array([problem.host_weight])
        add_room(built, np.repeat(most, problem.pools), self.n, [Loads(self.home, self.x, weight)])
        add_room(built, np.repeat(most, len(self.r)), self.r, [Loads(self.on[held], self.x[held], weight[held])])

    def _hosts_in_use(self) -> None:
        """Add (4)."""
        held = np.flatnonzero(self.on >= 0)
        kinds, first, row = np.unique(self.kind[held], return_index=True, return_inverse=True)
        every, size = np.arange(len(kinds)), self.classes.size[kinds].astype(np.float64)
        host = self.r[self.on[held[first]]]
        self.built.add([(row, self.x[held], 1.0), (every, host, -size)], len(kinds), -np.inf, 0.0)
        carried = Loads(self.on[held], self.x[held], self.classes.clusters[self.kind[held]])
        add_capacity(self.built, self.problem.caps[self.host_pool], self.r, [carried])

    def _stay_anywhere(self) -> None:
        """Add (5)."""
        problem, built, pools = self.problem, self.built, np.arange(self.problem.pools)
        self.any_host = np.flatnonzero(self.stays & (self.on < 0))
        if not len(self.any_host):
            return
        existing, caps = problem.existing.astype(np.float64), problem.caps.astype(np.float64)
        known, fresh, stay = np.flatnonzero(self.in_use), np.flatnonzero(~self.in_use), np.flatnonzero(self.stays)
        pool, e = self.host_pool[known], built.block(problem.pools, upper=existing)
        terms: list[Terms] = [(self.home[stay], self.x[stay], self.clusters[stay])]
        terms += [(pool, self.r[known], -caps[pool]), (pools, e, -caps)]
        built.add(terms, len(pools), -np.inf, 0.0)
        # Hosts in use count first as those that exist; where Current names more of them, none of the others do.
        part = np.minimum(1.0, existing / np.maximum(1, np.bincount(pool, minlength=len(pools))))
        built.add([(pools, e, 1.0), (pool, self.r[known], part[pool])], len(pools), -np.inf, existing)
        more: list[Terms] = [(pools, e, 1.0), (pools, self.others, -1.0), (self.host_pool[fresh], self.r[fresh], -1.0)]
        built.add(more, len(pools), -np.inf, 0.0)

    def _as_good(self) -> None:
        """Add (7) and the rest of (6)."""
        problem, classes, built = self.problem, self.classes, self.built
        priced: list[Term] = [(self.x, problem.pair_cost[self.pair])]
        self.good.add(built, problem, self.n, priced, (self.v, classes.own_cost[self.with_own]))
        weight = classes.weight[self.out]
        self.good.add_weight(built, self.u, weight, weight * classes.kept[self.out])
        alone = np.flatnonzero(self.standby < 0)
        if self.short and (self.standby >= 0).any() and len(alone):
            bare = self.x[alone], classes.weight[self.kind[alone]].astype(np.float64)
            built.row([bare], -np.inf, self.bare + 0.5)
        for cost, most in self.kept:
            built.row([(self.x, cost[self.pair])], -np.inf, most + 1e-7 * max(1.0, abs(most)))

    def _losses(self) -> None:
        """Add (8)."""
        homes = Homes(self.home, self.standby, self.on, self.clusters, self.x)
        self.host_losses: HostLosses | None = None
        if not (self.standby >= 0).any():
            return
        if self.ground.by_host:
            self.host_losses = HostLosses(self.built, self.ground, homes, (self.n, self.r, self.host_pool))
        else:
            add_pool_losses(self.built, self.ground, homes, self.n)
