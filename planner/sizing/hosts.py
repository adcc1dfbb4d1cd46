"""Which host of a pool carries which site: who can stay stays, the rest is spread evenly, nearest first."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from planner.errors import SolverError
from planner.fleet import Fleet, Ints
from planner.sizing.guests import Guest
from planner.sizing.packing import pack
from planner.sizing.placement import Placement
from planner.sizing.problem import Problem
from planner.sizing.solver import Effort
from planner.sizing.today import Today
from planner.sizing.weighed_seats import keeps_weight, seat_by_weight


@dataclass(frozen=True, slots=True)
class Seat:
    """A site of the problem (or a part of one that may be split) on a host: its eligible pair and its pool."""

    site: int
    pair: int
    pool: int
    host: str
    clusters: int


@dataclass(frozen=True)
class Seating:
    """Who sits where, and the ``names`` of the hosts that run in each pool, also of those that carry nothing."""

    seats: list[Seat]
    names: dict[int, list[str]]


@dataclass
class _Room:
    """A host being filled."""

    name: str
    cap: int
    guests: list[tuple[int, int]] = field(default_factory=list)  # (guest position, clusters)
    load: int = 0

    @property
    def free(self) -> int:
        return self.cap - self.load

    def take(self, guest: int, clusters: int) -> None:
        self.guests.append((guest, clusters))
        self.load += clusters


def seat_all(
    fleet: Fleet,
    problem: Problem,
    hosts: Ints,
    placement: Placement,
    today: Today,
    effort: Effort,
    deal: Ints | None = None,
    *,
    gathered: bool = False,
) -> Seating:
    """Return who sits on which host, with ``hosts`` (P,) running.

    Where ``deal`` (S,) groups sites, those of a group are dealt out over the hosts of their pool, and nobody is
    left where he is for his own sake. ``gathered``: what stays free in a pool is free on one host, where sites that
    stay together allow it; else all of its hosts carry about the same.
    """
    seats: list[Seat] = []
    running: dict[int, list[str]] = {}
    pool_of = problem.pool[placement.pair]
    for p in np.flatnonzero(hosts).tolist():
        rows = np.flatnonzero(pool_of == p).tolist()
        guests = [_guest(fleet, problem, placement, today, x) for x in rows]
        names = running[p] = choose_hosts(guests, today.names[p], int(hosts[p]))
        if deal is not None:
            groups = [int(deal[problem.site[placement.pair[x]]]) for x in rows]
            order = sorted(range(len(rows)), key=lambda g: (groups[g], guests[g].site))
            dealt = [g for h in range(len(names)) for g in order[h :: len(names)]]
            rank = {g: float(i) for i, g in enumerate(dealt)}
            guests = [dataclasses.replace(guest, today="", rtt_ms=rank[g]) for g, guest in enumerate(guests)]
        unweighed = gathered and problem.host_weight is None
        filled = _gathered(guests, names, int(problem.caps[p])) if unweighed else None
        for g, name, clusters in filled or fill(guests, names, int(problem.caps[p]), effort, problem.host_weight):
            pair = int(placement.pair[rows[g]])
            seats.append(Seat(int(problem.site[pair]), pair, p, name, clusters))
    return Seating(seats, running)


def _guest(fleet: Fleet, problem: Problem, placement: Placement, today: Today, x: int) -> Guest:
    pair, clusters = placement.pair[x], int(placement.units[x])
    s = problem.site[pair]
    site = fleet.site_ids[problem.site_at[s]]
    return Guest(
        site=site,
        clusters=clusters,
        together=not problem.split,
        rtt_ms=float(problem.rtt_ms[pair]),
        today=today.host.get(site, ""),
        weight=float(problem.weights[s] * clusters / problem.clusters[s]),
    )


def choose_hosts(guests: Sequence[Guest], names: Sequence[str], count: int) -> list[str]:
    """Return ``count`` of ``names``: those that carry most of the guests' clusters today, else the first ones."""
    carried = dict.fromkeys(names, 0)
    for guest in guests:
        if guest.today in carried:
            carried[guest.today] += guest.clusters
    ranked = sorted(range(len(names)), key=lambda i: (-carried[names[i]], i))[:count]
    return [names[i] for i in sorted(ranked)]


def fill(
    guests: Sequence[Guest], hosts: Sequence[str], cap: int, effort: Effort, most: float | None = None
) -> list[tuple[int, str, int]]:
    """Return (guest position, host, clusters) for every guest; loads are at most ``cap``, weights at most ``most``.

    Raises SolverError when guests that stay together do not fit, which the host counts have ruled out.
    """
    if most is not None:
        seats = fill(guests, hosts, cap, effort)
        return seats if keeps_weight(guests, seats, most) else seat_by_weight(guests, hosts, cap, most, effort)
    rooms = [_Room(name, cap) for name in hosts]
    order = sorted(range(len(guests)), key=lambda g: (guests[g].rtt_ms, guests[g].site))
    heavy = [g for g in order if guests[g].together and guests[g].clusters > 1]
    light = [g for g in order if not (guests[g].together and guests[g].clusters > 1)]
    moving = _settle(heavy, guests, rooms)
    waiting = _settle(light, guests, rooms)
    if not _spread(moving, guests, rooms):
        rooms = _repack(heavy, guests, hosts, cap, effort)
        waiting = _settle(light, guests, rooms)
    _pour([(g, guests[g].clusters) for g in waiting], rooms)
    return [(g, room.name, clusters) for room in rooms for g, clusters in room.guests]


def _gathered(guests: Sequence[Guest], hosts: Sequence[str], cap: int) -> list[tuple[int, str, int]] | None:
    """Fill one host after the other, those first that carry most today; None where large guests do not fit so."""
    carried = {name: sum(guest.clusters for guest in guests if guest.today == name) for name in hosts}
    left, rooms = sum(guest.clusters for guest in guests), []
    for name in sorted(hosts, key=lambda name: -carried[name]):
        rooms.append(_Room(name, min(cap, left)))
        left -= rooms[-1].cap
    order = sorted(range(len(guests)), key=lambda g: (guests[g].rtt_ms, guests[g].site))
    heavy = [g for g in order if guests[g].together and guests[g].clusters > 1]
    light = [g for g in order if not (guests[g].together and guests[g].clusters > 1)]
    if not _spread(_settle(heavy, guests, rooms), guests, rooms):
        return None
    _pour([(g, guests[g].clusters) for g in _settle(light, guests, rooms)], rooms)
    return [(g, room.name, clusters) for room in rooms for g, clusters in room.guests]


def _settle(candidates: Sequence[int], guests: Sequence[Guest], rooms: list[_Room]) -> list[int]:
    """Leave guests on the host they have today while there is room; return those that have to move."""
    by_name = {room.name: room for room in rooms}
    moving = []
    for g in candidates:
        room = by_name.get(guests[g].today)
        if room is not None and room.free >= guests[g].clusters:
            room.take(g, guests[g].clusters)
        else:
            moving.append(g)
    return moving


def _spread(heavy: Sequence[int], guests: Sequence[Guest], rooms: list[_Room]) -> bool:
    """Put large guests one by one on the emptiest host; False when one does not fit."""
    for g in sorted(heavy, key=lambda g: -guests[g].clusters):
        room = max(rooms, key=lambda r: r.free, default=None)
        if room is None or room.free < guests[g].clusters:
            return False
        room.take(g, guests[g].clusters)
    return True


def _repack(
    heavy: Sequence[int], guests: Sequence[Guest], hosts: Sequence[str], cap: int, effort: Effort
) -> list[_Room]:
    """Pack the large guests from scratch and give each packed host the name that moves fewest clusters."""
    packing = pack([guests[g].clusters for g in heavy], len(hosts), cap, Effort(seed=effort.seed))
    if packing.bins is None:
        raise SolverError("sites that stay together do not fit into the hosts that were counted for them")
    stay = np.zeros((len(hosts), len(hosts)))
    position = {name: i for i, name in enumerate(hosts)}
    for b, content in enumerate(packing.bins):
        for guest in (guests[heavy[i]] for i in content):
            if guest.today in position:
                stay[b, position[guest.today]] += guest.clusters
    rooms = [_Room(name, cap) for name in hosts]
    for b, h in zip(*(side.tolist() for side in linear_sum_assignment(-stay)), strict=True):
        for i in packing.bins[b]:
            rooms[h].take(heavy[i], guests[heavy[i]].clusters)
    return rooms


def _pour(light: list[tuple[int, int]], rooms: list[_Room]) -> None:
    """Fill hosts in order to loads that differ by one at most, splitting a guest only where it may be split."""
    queue = list(reversed(light))
    for room, target in zip(rooms, _targets(rooms, sum(clusters for _, clusters in light)), strict=True):
        while queue and room.load < target:
            g, clusters = queue.pop()
            taken = min(clusters, target - room.load)
            room.take(g, taken)
            if taken < clusters:
                queue.append((g, clusters - taken))


def _targets(rooms: list[_Room], more: int) -> list[int]:
    """Return the loads that ``more`` clusters bring the hosts to: one common level, or one less at the last hosts."""
    loads = [room.load for room in rooms]
    level = _level(loads, [room.cap for room in rooms], more)
    targets = [max(room.load, min(level, room.cap)) for room in rooms]
    surplus = sum(targets) - sum(loads) - more
    for h in reversed(range(len(rooms))):
        if surplus > 0 and targets[h] == level > loads[h]:
            targets[h] -= 1
            surplus -= 1
    return targets


def _level(loads: Sequence[int], caps: Sequence[int], more: int) -> int:
    """Return the lowest common level at which ``more`` clusters fit on top of ``loads``."""
    low, high = 0, max(caps, default=0)
    while low < high:
        middle = (low + high) // 2
        room = sum(max(0, min(middle, cap) - load) for load, cap in zip(loads, caps, strict=True))
        low, high = (low, middle) if room >= more else (middle + 1, high)
    return low
