"""Which host of a pool carries which site where the weight on a host is limited too."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from planner.errors import SolverError
from planner.sizing.guests import Guest
from planner.sizing.solver import Effort
from planner.sizing.weighed_packing import Kind, pack_weighed

Seats = list[tuple[int, str, int]]  # guest position, host, clusters

_CLOSE = 1e-9


def keeps_weight(guests: Sequence[Guest], seats: Seats, most: float) -> bool:
    """Say whether no host of ``seats`` carries more than ``most`` weight."""
    carried: dict[str, float] = defaultdict(float)
    for g, host, clusters in seats:
        carried[host] += guests[g].weight * clusters / guests[g].clusters
    return all(weight <= most * (1 + _CLOSE) for weight in carried.values())


def seat_by_weight(guests: Sequence[Guest], hosts: Sequence[str], cap: int, most: float, effort: Effort) -> Seats:
    """Return (guest position, host, clusters) for every guest: who can stay stays, the rest goes where most is free.

    Where that ends with somebody standing, all are packed from scratch. Raises SolverError when they do not fit,
    which the host counts have ruled out.
    """
    rooms = {name: _Room(cap, most) for name in hosts}
    order = sorted(range(len(guests)), key=lambda g: (guests[g].rtt_ms, guests[g].site))
    items = [g for g in order for _ in range(_items(guests[g]))]
    moving = [g for g in items if not _stays(guests[g], g, rooms)]
    for g in sorted(moving, key=lambda g: -max(_kind(guests[g])[0] / cap, _kind(guests[g])[1] / most)):
        kind = _kind(guests[g])
        room = max((r for r in rooms.values() if r.fits(kind)), key=_Room.free, default=None)
        if room is None:
            return _packed(guests, hosts, cap, most, effort)
        room.take(g, kind)
    return [(g, name, n * _kind(guests[g])[0]) for name, room in rooms.items() for g, n in room.guests.items()]


@dataclass
class _Room:
    cap: float
    most: float

    def __post_init__(self) -> None:
        self.clusters, self.weight = float(self.cap), self.most * (1 + _CLOSE)
        self.guests: Counter[int] = Counter()

    def free(self) -> float:
        """Return the share of the host that is free, of clusters or weight whichever is scarcer."""
        return min(self.clusters / self.cap, self.weight / self.most)

    def fits(self, kind: Kind) -> bool:
        return self.clusters >= kind[0] and self.weight >= kind[1]

    def take(self, guest: int, kind: Kind) -> None:
        self.guests[guest] += 1
        self.clusters -= kind[0]
        self.weight -= kind[1]


def _items(guest: Guest) -> int:
    return 1 if guest.together else guest.clusters


def _kind(guest: Guest) -> Kind:
    """Return clusters and weight of what of a guest must share a host."""
    return guest.clusters // _items(guest), guest.weight / _items(guest)


def _stays(guest: Guest, g: int, rooms: dict[str, _Room]) -> bool:
    room = rooms.get(guest.today)
    if room is None or not room.fits(_kind(guest)):
        return False
    room.take(g, _kind(guest))
    return True


def _packed(guests: Sequence[Guest], hosts: Sequence[str], cap: int, most: float, effort: Effort) -> Seats:
    """Pack all guests from scratch and give each filling the host that moves fewest clusters."""
    of_kind: dict[Kind, list[int]] = defaultdict(list)
    for g, guest in enumerate(guests):
        of_kind[_kind(guest)] += [g] * _items(guest)
    copies = {kind: len(items) for kind, items in of_kind.items()}
    fillings = pack_weighed(copies, len(hosts), cap, most, Effort(seed=effort.seed))
    if fillings is None:
        raise SolverError("sites do not fit into the hosts that were counted for them, by clusters and weight")
    today = Counter((kind, guests[g].today) for kind, items in of_kind.items() for g in items)
    stay = [
        [sum(min(n, today[kind, name]) * kind[0] for kind, n in filling.items()) for name in hosts]
        for filling in fillings
    ]
    seats: Counter[tuple[int, str]] = Counter()
    wanted: dict[Kind, list[str]] = defaultdict(list)
    for b, h in zip(*(side.tolist() for side in linear_sum_assignment(-np.array(stay))), strict=True):
        for kind, n in fillings[b].items():
            mine = [g for g in of_kind[kind] if guests[g].today == hosts[h]][:n]
            for g in mine:
                of_kind[kind].remove(g)
                seats[g, hosts[h]] += 1
            wanted[kind] += [hosts[h]] * (n - len(mine))
    for kind, names in wanted.items():
        for g, name in zip(of_kind[kind], names, strict=True):
            seats[g, name] += 1
    return [(g, name, n * _kind(guests[g])[0]) for (g, name), n in seats.items()]
