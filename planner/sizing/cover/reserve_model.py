"""The model of reserve: how many hosts, and how much of their room stays free for a loss, without any homes.

    n_p    whole: hosts that run in pool p
    s_q    whole: clusters of room that pool q keeps free on an ordinary day
    t_pq   whole: the part of it that stands ready for sites of pool p

    minimise   the objective in n
    subject to load of pool p  <=  min(C_p n_p, R_p n_p - s_p)
               sum_{p hit by l} t_pq  <=  s_q                     for each loss l that does not hit q

where a host carries C_p clusters, R_p while another is lost. Where nothing else is lost together with pool p, t_pq
is s_q.

With n, s and t given, homes and standbys are a flow (`cover.pair_flow`), and every whole flow is a plan with
cover for divisible sites. So all that n, s and t must meet are the cuts of that flow: for every set S of classes

    sum_p min(C_p n_p, R_p n_p - s_p, sum_{q: (p, q) in N(S)} t_pq)  >=  demand(S)

with any of the three terms in place of each minimum. N(S) are pairs of home and standby that some class of S may use.

A site of k clusters that stays together wants k of room in one pool of its own: s_q >= k for some standby q.

Cuts on demand as in J. F. Benders, Numerische Mathematik 4 (1962) 238-252.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from planner.arrays import as_floats
from planner.fleet import Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import MinimumCut
from planner.sizing.cover.reserve_program import build_program
from planner.sizing.cover.reserve_terms import Point, ReserveCut, Shares, Taken, Wanted
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays

Whole = Literal["none", "sizes", "hosts", "all"]

_TIE, _RELAXED_TIE = 0.4, 0.05  # what all distance from the reference may cost, where a host costs 1


@dataclass
class ReserveModel:
    """The model with the cuts so far.

    ``price`` (P,): of a host; ``extra``: of one to add, on top. ``reference``: what n (P,) and s (P,) are kept close to
    among equals. ``demand``: clusters in all. ``kept_together``: what sites of several clusters want of single pools.
    ``known``: (room (P,), demand) of inequalities on host counts alone.
    """

    problem: Problem
    losses: Losses
    shares: Shares
    price: Floats
    extra: float
    reference: tuple[Floats, Floats]
    demand: int
    known: list[tuple[Ints, int]] = field(default_factory=list)
    cuts: list[ReserveCut] = field(default_factory=list)
    kept_together: tuple[Wanted, ...] = ()
    floor: Floats | None = None  # least s (P,)
    taken: Taken | None = None
    least: float = 0.0  # that the objective costs

    @property
    def pools(self) -> int:
        """Number of pools."""
        return self.problem.pools

    def tie(self, whole: Whole) -> float:
        """Return what all distance from the reference may cost."""
        # Counts are whole, so half a unit only chooses among equals; money is not.
        if self.problem.objective == "cost":
            return 0.0
        return _RELAXED_TIE if whole == "none" else _TIE

    @property
    def many(self) -> float:
        """Hosts that no plan of interest has; those with more may be farther from the reference than counted on."""
        if self.problem.objective != "hosts":
            return float(self.problem.max_hosts.sum())
        near = float(self.reference[0].sum())
        return 2.0 * max(self.least, near, 1.0)

    @property
    def farthest(self) -> tuple[float, float]:
        """How far, in all, hosts and room of a plan of interest can be from the reference."""
        hosts, room = self.reference
        largest = float(self.losses.room.max(initial=0))
        free = largest * self.many - self.demand
        many_hosts = self.many + float(hosts.sum())
        return many_hosts, max(1.0, free) + float(room.sum())

    def load(self, point: Point) -> Floats:
        """Return the most clusters that each pool may have on an ordinary day, shape (P,)."""
        kept = point.room[: self.pools]
        room = self.losses.room * point.hosts - kept
        load = np.minimum(self.problem.caps * point.hosts, room)
        taken = 0 if self.taken is None else self.taken.load
        return np.asarray(load - taken)

    def ready(self, point: Point) -> Floats:
        """Return the room that stands ready in pool q for pool p, shape (P, P)."""
        ready = point.room[self.shares.column]
        return np.asarray(ready if self.taken is None else ready - self.taken.ready)

    def shared_out(self, room: Floats) -> Floats:
        """Return ``room`` (P + shares,) with every share of s_q an even one."""
        room = room.copy()
        even = np.full(self.shares.count, np.inf)
        for columns, q in self.shares.limits:
            at = columns - self.pools
            each = room[q] / len(columns)
            even[at] = np.minimum(even[at], each)
        room[self.pools :] = np.where(np.isfinite(even), even, 0.0)
        return room

    def value(self, hosts: Floats) -> float:
        """Return the objective of ``hosts`` (P,)."""
        new = np.maximum(0, hosts - self.problem.existing).sum()
        return float(self.price @ hosts + self.extra * new)

    def cut(self, min_cut: MinimumCut, point: Point) -> ReserveCut:
        """Return the cut of a set with the smallest terms at ``point``."""
        uses = min_cut.pairs.any(axis=1) | min_cut.homes
        load = np.zeros(self.pools) if self.taken is None else self.taken.load
        full = self.problem.caps * point.hosts - load
        free = point.room[: self.pools]
        kept = self.losses.room * point.hosts - free
        kept -= load
        ready_for = (self.ready(point) * min_cut.pairs).sum(axis=1)
        by_pairs = np.where(min_cut.homes, np.inf, ready_for)
        by_ready = uses & (by_pairs < np.minimum(full, kept))
        by_kept = uses & ~by_ready & (kept < full)
        by_full = uses & ~by_ready & ~by_kept
        ready = min_cut.pairs & by_ready[:, None]
        on_room = np.zeros(len(point.room))
        np.add.at(on_room, self.shares.column[ready], 1.0)
        on_room[: self.pools] -= by_kept
        of_caps = np.where(by_full, self.problem.caps, 0)
        on_hosts = of_caps + np.where(by_kept, self.losses.room, 0)
        demand = min_cut.demand
        if self.taken is not None:  # it is not there for the set, so the whole of each term must be more
            taken = load[by_full | by_kept].sum()
            demand += int(taken + self.taken.ready[ready].sum())
        return ReserveCut(min_cut.classes, demand, by_full, by_kept, ready, as_floats(on_hosts), on_room)

    def solve(
        self, whole: Whole, budget: SolveBudget, box: tuple[Floats, Floats] | None = None
    ) -> tuple[Point | None, float]:
        """Return the cheapest point and a lower bound on its objective: inf where there is none, -inf if time ended.

        ``whole``: "none" of the unknowns, the choice of "sizes" of room for sites kept together, also the "hosts", or
        "all". ``box``: least and most hosts of each pool (P,).
        """
        program = build_program(self, whole, box)
        half_a_tie = 0.5 * self.tie(whole) / max(1.0, self.least)
        gap = 0.0 if whole == "none" else half_a_tie
        answer = solve_arrays(program, budget, gap=gap)
        if answer.outcome.state == "infeasible":
            return None, np.inf
        found = answer.outcome.has_solution
        solved = whole == "none" and found
        bound = answer.outcome.objective if solved else answer.outcome.bound
        x = answer.x[: len(program.cost)]
        pools = self.pools
        size = self.pools + self.shares.count
        hosts = x[:pools]
        room = x[pools:][:size]
        if whole in ("hosts", "all"):
            hosts = np.rint(hosts)
        if whole == "all":
            room = np.rint(room)
        point = Point(hosts, room) if found else None
        if self.problem.objective == "cost" or not np.isfinite(bound):
            return point, bound
        bound = float(np.ceil(bound - self.tie(whole) - 1e-6))
        if self.problem.objective == "hosts":
            bound = min(bound, self.many)
        return point, bound
