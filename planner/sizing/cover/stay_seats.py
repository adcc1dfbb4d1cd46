"""Whole sites on the single hosts that a point of `stay_with_standbys` lets run: homes and standbys, exactly.

Sets and data as in `stay_with_standbys`; hosts j, g that run
Variables
    w_ijg in {0, 1}      site i lives on host j, and g stands by for it or none
    u_i, v_i in {0, 1}   site i is left out; it has its own tie-breaker
Minimise sum of moves and, far less, of round-trip times, subject to
    (1) sum_jg w_ijg + u_i + v_i = 1
    (2) sum k_i w_ijg <= C_j, and limits on hubs, zones and weight
    (3) sum k_i w_ijg over homes j in the loss l + sum k_i w_igh <= R_g for every loss l and host g that it does not hit
    (4) what plans keep that are as good on all aims before
    (5) sum w_i w_ij without standby <= U, sum w_i u_i <= W
Who stays wholly in the point stays, while all others choose among all hosts: few columns where few move.
"""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, falses, indices, int_zeros, minus_ones, rounded
from planner.fleet import Bools, Floats
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.cover.room_for_losses import CoveredHomes, add_room_for_losses
from planner.sizing.cover.stay_with_standbys import StayWithStandbys
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Term,
    Terms,
    add_place_limits,
    add_room,
    add_weight_on_hosts,
    loosened,
)

_WHOLE = 1e-6
_NODES = {"mip_max_nodes": 30}  # of branch and bound, which ends alike on busy machines too
_LATER = 0.4  # of a move: what all round-trip times together count as at most


class Point:
    """What a point ``x`` (columns,) of a program says of sites and hosts, S sites and M hosts that run.

    ``units`` (X,): sites of each choice. ``pool`` (M,): of each host. ``stays`` (S, M): homes that are no move.
    ``held`` (S, M): those of the sites that stay wholly, where sites of a class may be divided; nothing for others.
    """

    def __init__(self, program: StayWithStandbys, x: Floats) -> None:
        self.program, problem = program, program.problem
        self.x = x
        self.run = np.flatnonzero(x[program.r] > 0.5)
        more = rounded(x[program.others])
        others = np.repeat(np.arange(problem.pools), more)
        self.pool = np.concatenate((program.host_pool[self.run], others))
        in_use = [program.host_name[j] for j in self.run]
        names = [*in_use, *[""] * len(others)]
        self.stays = program.case.in_force.staying_on(self.pool, names)
        self.held = np.zeros_like(self.stays)
        order = np.argsort(program.classes.of_site, kind="stable")
        of_class = np.split(order, np.cumsum(program.classes.size)[:-1])
        left = [list(mine) for mine in of_class]
        staying = np.flatnonzero(program.stays)
        kind, home = program.kind[staying], program.home[staying]
        at = kind * problem.pools + home
        self.units = x[program.x]
        units = np.bincount(at, self.units[staying])
        for place in np.flatnonzero(units > 1 - _WHOLE).tolist():
            c, p = divmod(place, problem.pools)
            for _ in range(int(units[place] + _WHOLE)):
                s = left[c].pop()
                self.held[s] = self.stays[s] & (self.pool == p)


class Seats:
    """Plans on the hosts of ``point``; ``free`` (S,) marks the sites that need not stay although they do so there.

    Of the columns w: ``site``, ``home``, ``standby`` (X,), -1 for none, and ``pair``. ``out`` and ``own_of`` are the
    sites of the columns ``u`` and ``v``.
    """

    def __init__(self, point: Point, free: Bools) -> None:
        self.point, program = point, point.program
        self.ground, self.problem = program.ground, program.problem
        self.held = point.held.any(axis=1) & ~free
        self._choose(point.held | ~self.held[:, None])

    @property
    def columns(self) -> int:
        """How many columns w there are."""
        return len(self.site)

    def _build(self) -> None:
        point, program, held = self.point, self.point.program, self.held
        self.built = ModelBuilder()
        self.w = self.built.block(len(self.site), upper=1.0, whole=True)
        self.out = np.flatnonzero(~held if program.good.weight else falses(len(held)))
        self.u = self.built.block(len(self.out), upper=1.0, whole=True)
        self.own_of = np.flatnonzero(~held & self.problem.may_own)
        self.v = self.built.block(len(self.own_of), upper=1.0, whole=True)
        clusters = self.problem.clusters[self.site]
        self.homes = Loads(self.home, self.w, clusters)
        on = np.ones(len(point.pool))
        self.running = self.built.block(len(on), lower=on, upper=on)
        self._homes()
        self._as_good()
        self._losses()

    def _choose(self, may: Bools) -> None:
        """Find who may live where, with which standby."""
        problem, point = self.problem, self.point
        pair = minus_ones((problem.sites, problem.pools))
        pair[problem.site, problem.pool] = indices(problem.pool)
        pairs = pair[:, point.pool]
        eligible = pairs >= 0
        homes = may & eligible & problem.homes[pairs]
        same = np.eye(len(point.pool), dtype=np.bool_)
        follows = self.ground.follows[np.ix_(point.pool, point.pool)]
        apart = follows & ~same
        parts = [int_zeros((0, 3))]
        bare = ~self.ground.coverable | point.program.short
        for s in range(problem.sites):
            may_pair = homes[s][:, None] & apart
            with_standby = np.argwhere(may_pair & eligible[s])
            alone = np.flatnonzero(homes[s] & bare[s])
            without = np.column_stack((alone, np.full(len(alone), NOWHERE)))
            ways = np.concatenate((with_standby, without))
            parts.append(np.insert(ways, 0, s, axis=1))
        self.site, self.home, self.standby = np.concatenate(parts).T
        self.pair = pairs[self.site, self.home]

    def best(self, most: float, budget: SolveBudget) -> State | None:
        """Return the plan of fewest moves, at most ``most``, and nearly the least total RTT; None for none."""
        self._build()
        today = self.point.program.case.in_force
        elsewhere = ~self.point.stays[self.site, self.home]
        moved = elsewhere & ~today.nowhere[self.site]
        given_up = ~today.nowhere[self.own_of]
        self.built.at_most([(self.w, moved), (self.v, given_up)], most + 0.5)
        rtt_ms = self.problem.rtt_ms[self.pair]
        longest = float(rtt_ms.max(initial=0.0))
        all_rtt = 1e-9 + longest * self.problem.sites
        gap = _LATER / 2 / max(1.0, most)
        cost = np.zeros(self.built.columns)
        cost[self.w] = moved + rtt_ms * (_LATER / all_rtt)
        cost[self.v] = given_up
        answer = solve_arrays(self.built.program(cost), budget, gap=gap, options=_NODES)
        if not answer.outcome.has_solution:
            return None
        state = State(self.ground)
        for p in self.point.pool.tolist():
            state.open(p)
        for at in np.flatnonzero(answer.x[self.w] > 0.5).tolist():
            state.put(int(self.site[at]), int(self.home[at]), int(self.standby[at]))
        return state

    def _homes(self) -> None:
        """Add (1) and (2)."""
        problem = self.problem
        built = self.built
        hosts = self.point.pool
        shared: Terms = self.site, self.w, 1.0
        left_out: Terms = self.out, self.u, 1.0
        own: Terms = self.own_of, self.v, 1.0
        built.equal([shared, left_out, own], problem.sites, 1.0)
        add_room(built, problem.caps[hosts], self.running, [self.homes])
        pool = hosts[self.home]
        add_place_limits(built, problem, pool, self.w, problem.amounts, self.site)
        weight = Loads(self.home, self.w, problem.weights[self.site])
        add_weight_on_hosts(built, problem.host_weight, self.running, weight)

    def _as_good(self) -> None:
        """Add (4) and (5)."""
        problem = self.problem
        program = self.point.program
        built = self.built
        counts = as_floats(np.bincount(self.point.pool, minlength=problem.pools))
        n = built.block(problem.pools, lower=counts, upper=counts)
        priced: list[Term] = [(self.w, problem.pair_cost[self.pair])]
        own: Term = self.v, problem.own_cost[self.own_of]
        program.good.add(built, problem, n, priced, own)
        weight = problem.weights[self.out]
        of_kept = weight * problem.kept[self.out]
        program.good.add_weight(built, self.u, weight, of_kept)
        if program.short:
            bare = self.standby == NOWHERE
            alone: Term = self.w[bare], problem.weights[self.site[bare]]
            built.at_most([alone], program.bare + 0.5)
        for cost, most in program.kept:
            built.at_most([(self.w, cost[self.pair])], loosened(most))

    def _losses(self) -> None:
        """Add (3)."""
        hosts, losses = self.point.pool, self.ground.losses
        each = np.eye(len(hosts), dtype=np.bool_)
        lost = each if self.ground.by_host else losses.pools[:, hosts]
        followed = np.flatnonzero(self.standby >= 0)
        send = Loads(self.standby, self.w, self.homes.items).some(followed)
        standbys = CoveredHomes(self.home[followed], send)
        room = self.ground.room[hosts]
        add_room_for_losses(self.built, lost, self.homes, standbys, self.running, room)
