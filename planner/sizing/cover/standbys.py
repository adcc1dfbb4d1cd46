"""Which host stands by for which site: after each loss, everybody it displaces on a host with room, nearest first.

An assignment problem for each loss by itself, or for losses that share hosts together: x_ij = 1 when the seat i
may use host j; sum_j x_ij <= 1, and the clusters that loss l sends to host j are at most R_j minus its load.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from planner.arrays import as_floats, int_array, trues
from planner.fleet import Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays

Option = tuple[int, str, int]  # position of a seat, name of a host, eligible pair of both


def find_standbys(problem: Problem, losses: Losses, seating: Seating, budget: SolveBudget) -> tuple[str | None, ...]:
    """Return the name of a standby for each seat, None for none.

    They are for as much weight of seated sites as there is room for, then those of least total RTT.
    """
    desk = _Desk(problem, losses, seating)
    host: list[str | None] = [None] * len(seating.seats)
    for members in _groups(losses, seating.seats):
        for i, name in desk.assign(members, budget).items():
            host[i] = name
    return tuple(host)


def _groups(losses: Losses, seats: Sequence[Seat]) -> list[list[int]]:
    """Return the positions of seats whose losses have to be looked at together."""
    groups: dict[object, list[int]] = defaultdict(list)
    if losses.kind == "host":
        for i, seat in enumerate(seats):
            groups[seat.host].append(i)
        return list(groups.values())
    hit = sp.csr_array(losses.pools.astype(np.int8))
    _, label = connected_components(hit.T @ hit, directed=False)
    for i, seat in enumerate(seats):
        groups[int(label[seat.pool])].append(i)
    return list(groups.values())


class _Desk:
    """Hosts with their loads, and the pairs that every site may use."""

    def __init__(self, problem: Problem, losses: Losses, seating: Seating) -> None:
        self.problem = problem
        self.losses = losses
        self.seats = seating.seats
        self.hosts_of = seating.names
        self.load = seating.loads

    def assign(self, members: Sequence[int], budget: SolveBudget) -> dict[int, str]:
        """Return the standby of the seats in ``members`` that get one."""
        options: list[Option] = []
        for i in members:
            options += [(i, name, e) for name, e in self._options(self.seats[i])]
        if not options:
            return {}
        if budget.spent:
            return self._one_by_one(options)
        pairs = [e for *_, e in options]
        rtt = self.problem.rtt_ms[pairs]
        # One unit of weight outweighs all round-trip times together.
        worth = 1.0 + float(rtt.max()) * len(members)
        sites = [self.seats[i].site for i, _, _ in options]
        gain = worth * as_floats(self.problem.weights[sites])
        matrix, most = self._rows(options)
        no_least = np.full(len(most), -np.inf)
        one = np.ones(len(options))
        whole = trues(len(options))
        program = LinearProgram(rtt - gain, one, matrix, no_least, as_floats(most), whole)
        answer = solve_arrays(program, budget)
        if not answer.outcome.has_solution:  # standbys are part of a plan however little time is left
            return self._one_by_one(options)
        chosen = np.flatnonzero(answer.x > 0.5)
        taken = [options[x] for x in chosen]
        return {i: name for i, name, _ in taken}

    def _one_by_one(self, options: Sequence[Option]) -> dict[int, str]:
        """Return standbys without a solver: seats of most weight and clusters first, each on the nearest with room."""
        problem = self.problem

        def by_worth(option: Option) -> tuple[float, ...]:
            i, _, e = option
            seat = self.seats[i]
            return -problem.weights[seat.site], -seat.clusters, problem.rtt_ms[e]

        free: dict[object, int] = {}
        found: dict[int, str] = {}
        for i, name, e in sorted(options, key=by_worth):
            rows = self._limits(self.seats[i], name, e)
            clusters = self.seats[i].clusters
            left = {key: free.get(key, room) - clusters for key, room in rows}
            if i not in found and min(left.values(), default=0) >= 0:
                found[i] = name
                free.update(left)
        return found

    def _limits(self, seat: Seat, name: str, e: int) -> list[tuple[object, int]]:
        """Return what limits a standby: for each loss the host that it sends to, with the room there."""
        pool = self.problem.pool[e]
        free = int(self.losses.room[pool]) - self.load[name]
        if self.losses.kind == "host":
            return [((seat.host, name), free)]
        losses = np.flatnonzero(self.losses.pools[:, seat.pool])
        return [((loss, name), free) for loss in losses.tolist()]

    def _options(self, seat: Seat) -> list[tuple[str, int]]:
        """Return the hosts that may stand by for ``seat``, each with its eligible pair."""
        problem, found = self.problem, []
        for e in range(problem.indptr[seat.site], problem.indptr[seat.site + 1]):
            q = int(problem.pool[e])
            if self.losses.follows[seat.pool, q]:
                room = int(self.losses.room[q]) - seat.clusters
                of_pool = self.hosts_of.get(q, ())
                others = [name for name in of_pool if name != seat.host]
                roomy = [name for name in others if self.load[name] <= room]
                found += [(name, e) for name in roomy]
        return found

    def _rows(self, options: Sequence[Option]) -> tuple[sp.csc_array, Ints]:
        """Return one row for each seat (one standby), then one for each loss and host that it may send seats to."""
        rows: dict[object, int] = {}
        most: list[int] = []
        at: list[tuple[int, int, int]] = []
        for x, (i, name, e) in enumerate(options):
            seat = self.seats[i]
            one_standby: tuple[object, int, int] = ("seat", i), 1, 1
            limits = self._limits(seat, name, e)
            room = [(key, seat.clusters, free) for key, free in limits]
            for key, clusters, limit in (one_standby, *room):
                if key not in rows:
                    rows[key] = len(most)
                    most.append(limit)
                at.append((rows[key], x, clusters))
        row, column, value = np.array(at).T
        entries = as_floats(value), (row, column)
        matrix = sp.coo_array(entries, shape=(len(most), len(options)))
        return sp.csc_array(matrix), int_array(most)
