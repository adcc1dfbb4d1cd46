"""Whole sites on the single hosts that a point of `stay_program` lets run: homes and standbys, exactly.

Sets and data as in `stay_program`; hosts j, g that run
Variables
    w_ijg in {0, 1}    site i lives on host j, and g stands by for it or none
Minimise sum of moves and, far less, of round-trip times, subject to
    (1) sum_jg w_ijg = 1 for the sites that the point serves
    (2) sum k_i w_ijg <= C_j, and limits on hubs, zones and weight
    (3) sum k_i w_ijg over homes j in the loss l + sum k_i w_igh <= R_g for every loss l and host g that it does not hit
    (4) what plans keep that are as good on all aims before
Who stays in the point stays, while sites that are free choose among all hosts: few columns where only movers are free.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.cover.stay_program import Kept, StayProgram
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, add_place_limits, add_room

_MOST_COLUMNS = 40_000
_LATER = 0.4  # of a move: what all round-trip times together count as at most


class Point:
    """What a point says of sites and hosts, shapes S sites and M hosts that run.

    ``pool`` (M,): of each host. ``may`` (S, M): where sites live that stay, nowhere for others. ``served`` and ``bare``
    (S,): who has a shared host, and who may do without a standby. ``stays`` (S, M): homes that are no move.
    """

    def __init__(self, program: StayProgram, x: Floats) -> None:
        self.program, problem = program, program.problem
        self.run = np.flatnonzero(x[program.r] > 0.5)
        others = np.rint(x[program.others]).astype(np.int64)
        self.pool = np.concatenate((program.host_pool[self.run], np.repeat(np.arange(problem.pools), others)))
        self.served = np.zeros(problem.sites, dtype=np.bool_)
        self.bare = ~program.ground.coverable
        self.stays = self._stays()
        self.may = np.zeros_like(self.stays)
        order = np.argsort(program.classes.of_site, kind="stable")
        left = [list(mine) for mine in np.split(order, np.cumsum(program.classes.size)[:-1])]
        units = np.rint(x[program.x]).astype(np.int64)
        for column in np.flatnonzero(units > 0)[::-1].tolist():  # those that stay first
            for _ in range(units[column]):
                s = int(left[program.kind[column]].pop())
                self.served[s] = True
                self.bare[s] |= program.standby[column] < 0
                if program.stays[column]:
                    self.may[s] = self.stays[s] & (self.pool == program.home[column])

    def _stays(self) -> Bools:
        """Mark where sites stay: on their host of today, or on any in its pool that runs today if nobody named it."""
        program, today = self.program, self.program.case.in_force
        named = np.array([*(program.host_name[j] for j in self.run), *[""] * (len(self.pool) - len(self.run))])
        mine = np.array(today.host)
        pools = np.zeros((program.problem.sites, program.problem.pools), dtype=np.bool_)
        pools[program.problem.site[today.incumbent], program.problem.pool[today.incumbent]] = True
        same = mine[:, None] == named
        on_any = (mine == "")[:, None] & self._old()
        found: Bools = pools[:, self.pool] & (on_any | same)
        return found

    def _old(self) -> Bools:
        """Mark the hosts that run today: those in use, and of the others as many as exist beside them."""
        program = self.program
        old = np.zeros(len(self.pool), dtype=np.bool_)
        old[: len(self.run)] = program.in_use[self.run]
        left = program.problem.existing - np.bincount(self.pool[old], minlength=program.problem.pools)
        for h in np.flatnonzero(~old).tolist():
            old[h] = left[self.pool[h]] > 0
            left[self.pool[h]] -= 1
        return old


def seated(point: Point, free: Bools, most: float, budget: SolveBudget) -> State | None:
    """Return a plan of at most ``most`` moves on the hosts of ``point``; None where none was found.

    ``free`` (S,) marks the sites that need not stay although they do so in the point.
    """
    served = point.served[:, None]
    may = served & np.where((point.may.any(axis=1) & ~free)[:, None], point.may, np.ones_like(point.may))
    program = _SeatProgram(point, may)
    return program.best(most, budget) if len(program.site) <= _MOST_COLUMNS else None


class _SeatProgram:
    """The columns w of homes that ``may`` (S, M) marks: ``site``, ``home``, ``standby`` (X,), -1 for none."""

    def __init__(self, point: Point, may: Bools) -> None:
        self.point, program = point, point.program
        self.ground, self.problem = program.ground, program.problem
        problem = self.problem
        pair = np.full((problem.sites, problem.pools), -1)
        pair[problem.site, problem.pool] = np.arange(len(problem.pool))
        pairs = pair[:, point.pool]
        homes = may & (pairs >= 0) & problem.homes[pairs]
        apart = self.ground.follows[np.ix_(point.pool, point.pool)] & ~np.eye(len(point.pool), dtype=np.bool_)
        parts = []
        for s in np.flatnonzero(point.served).tolist():
            home, standby = np.nonzero(homes[s][:, None] & apart & (pairs[s] >= 0))
            alone = np.flatnonzero(homes[s] & point.bare[s])
            home, standby = np.concatenate((home, alone)), np.concatenate((standby, np.full(len(alone), NOWHERE)))
            parts.append(np.column_stack((np.full(len(home), s), home, standby)))
        self.site, self.home, self.standby = np.concatenate([np.zeros((0, 3), dtype=np.int64), *parts]).T
        self.pair = pairs[self.site, self.home]
        self.built = ModelBuilder()
        self.w = self.built.block(len(self.site), upper=1.0, whole=True)
        self.clusters = problem.clusters[self.site]
        self._homes()
        self._losses()

    def best(self, most: float, budget: SolveBudget) -> State | None:
        """Return the plan of fewest moves, at most ``most``, and nearly the least total RTT; None for none."""
        today = self.point.program.case.in_force
        moved = (~self.point.stays[self.site, self.home] & ~today.nowhere[self.site]).astype(np.float64)
        given_up = int((~self.point.served & ~today.nowhere & np.isfinite(self.problem.own_cost)).sum())
        self.built.row([(self.w, moved)], -np.inf, most - given_up + 0.5)
        rtt_ms = self.problem.rtt_ms[self.pair]
        later = rtt_ms * (_LATER / (1e-9 + float(rtt_ms.max(initial=0.0)) * self.problem.sites))
        gap = _LATER / 2 / max(1.0, most)
        cost = np.zeros(self.built.columns)
        cost[self.w] = moved + later
        answer = solve_arrays(self.built.program(cost), budget, gap=gap)
        if not answer.outcome.has_solution:
            return None
        state = State(self.ground)
        for p in self.point.pool.tolist():
            state.open(p)
        for at in np.flatnonzero(answer.x[self.w] > 0.5).tolist():
            state.put(int(self.site[at]), int(self.home[at]), int(self.standby[at]))
        return state

    def _homes(self) -> None:
        """Add (1), (2) and (4)."""
        problem, built, hosts = self.problem, self.built, self.point.pool
        _, row = np.unique(self.site, return_inverse=True)
        built.add([(row, self.w, 1.0)], int(self.point.served.sum()), 1.0, 1.0)
        on = np.ones(len(hosts))
        one = built.block(len(hosts), lower=on, upper=on)
        add_room(built, problem.caps[hosts], one, [Loads(self.home, self.w, self.clusters)])
        amounts = {measure: each[self.site] for measure, each in problem.amounts.items()}
        add_place_limits(built, problem, hosts[self.home], self.w, amounts)
        if problem.host_weight is not None:
            weight = Loads(self.home, self.w, problem.weights[self.site])
            add_room(built, np.full(len(hosts), problem.host_weight), one, [weight])
        for cost, most in self._kept():
            built.row([(self.w, cost[self.pair])], -np.inf, most + 1e-7 * max(1.0, abs(most)))

    def _kept(self) -> Sequence[Kept]:
        program, problem = self.point.program, self.problem
        if problem.objective != "cost":
            return program.kept
        hosts = float(problem.host_cost[self.point.pool].sum())
        own = float(problem.own_cost[~self.point.served & np.isfinite(problem.own_cost)].sum())
        return [*program.kept, (problem.pair_cost, program.good.objective - hosts - own)]

    def _losses(self) -> None:
        """Add (3)."""
        hosts, losses = self.point.pool, self.ground.losses
        assert losses is not None
        lost = np.eye(len(hosts), dtype=np.bool_) if self.ground.by_host else losses.pools[:, hosts]
        room = self.ground.room[hosts].astype(np.float64)
        for hit in lost:
            sent = np.flatnonzero(hit[self.home] & (self.standby >= 0))
            asked, row = np.unique(self.standby[sent], return_inverse=True)
            number = np.full(len(hosts), -1)
            number[asked] = np.arange(len(asked))
            there = np.flatnonzero(number[self.home] >= 0)
            clusters: Ints = self.clusters
            arrive = row, self.w[sent], clusters[sent].astype(np.float64)
            live = number[self.home[there]], self.w[there], clusters[there].astype(np.float64)
            self.built.add([arrive, live], len(asked), -np.inf, room[asked])
