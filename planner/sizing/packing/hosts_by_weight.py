"""Which host of a pool carries which site where the weight on a host is limited too."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.errors import SolverError
from planner.sizing.packing.items import Item, nearest_first
from planner.sizing.packing.matching import best_matching
from planner.sizing.packing.two_dimensions import Filling, Kind, pack_weighed
from planner.sizing.solvers.budget import SolveBudget

Seats = list[tuple[int, str, int]]  # item position, host, clusters

_CLOSE = 1e-9


def keeps_weight(items: Sequence[Item], seats: Seats, most: float) -> bool:
    """Say whether no host of ``seats`` carries more than ``most`` weight."""
    carried: dict[str, float] = defaultdict(float)
    for g, host, clusters in seats:
        share = clusters / items[g].clusters
        carried[host] += items[g].weight * share
    return max(carried.values(), default=0.0) <= most * (1 + _CLOSE)


def seat_by_weight(items: Sequence[Item], hosts: Sequence[str], cap: int, most: float, budget: SolveBudget) -> Seats:
    """Return (item position, host, clusters) for every item: who can stay stays, the rest goes where most is free.

    Where that ends with somebody standing, all are packed from scratch. Raises SolverError when they do not fit,
    which the host counts have ruled out.
    """
    bins = {name: _Bin(cap, most) for name in hosts}
    order = nearest_first(items)
    single = [g for g in order for _ in range(_units(items[g]))]
    moving = [g for g in single if not _stays(items[g], g, bins)]

    def share_of_host(g: int) -> float:
        clusters, weight = _kind(items[g])
        return max(clusters / cap, weight / most)

    for g in sorted(moving, key=share_of_host, reverse=True):
        kind = _kind(items[g])
        with_room = (r for r in bins.values() if r.fits(kind))
        bin_ = max(with_room, key=_Bin.free, default=None)
        if bin_ is None:
            return _packed(items, hosts, cap, most, budget)
        bin_.take(g, kind)
    seats = {(g, name): n for name, bin_ in bins.items() for g, n in bin_.items.items()}
    return _in_clusters(items, seats)


def _in_clusters(items: Sequence[Item], seats: Mapping[tuple[int, str], int]) -> Seats:
    """Return item position, host and clusters of ``seats``, which count what must share a host."""
    found = []
    for (g, name), n in seats.items():
        clusters, _ = _kind(items[g])
        found.append((g, name, n * clusters))
    return found


@dataclass
class _Bin:
    cap: float
    most: float

    def __post_init__(self) -> None:
        self.clusters = float(self.cap)
        self.weight = self.most * (1 + _CLOSE)
        self.items: Counter[int] = Counter()

    def free(self) -> float:
        """Return the share of the host that is free, of clusters or weight whichever is scarcer."""
        of_clusters = self.clusters / self.cap
        return min(of_clusters, self.weight / self.most)

    def fits(self, kind: Kind) -> bool:
        clusters, weight = kind
        return self.clusters >= clusters and self.weight >= weight

    def take(self, item: int, kind: Kind) -> None:
        self.items[item] += 1
        self.clusters -= kind[0]
        self.weight -= kind[1]


def _units(item: Item) -> int:
    return 1 if item.together else item.clusters


def _kind(item: Item) -> Kind:
    """Return clusters and weight of what of an item must share a host."""
    units = _units(item)
    return item.clusters // units, item.weight / units


def _stays(item: Item, g: int, bins: dict[str, _Bin]) -> bool:
    bin_ = bins.get(item.today)
    if bin_ is None or not bin_.fits(_kind(item)):
        return False
    bin_.take(g, _kind(item))
    return True


def _packed(items: Sequence[Item], hosts: Sequence[str], cap: int, most: float, budget: SolveBudget) -> Seats:
    """Pack all items from scratch and give each filling the host that moves fewest clusters."""
    of_kind: dict[Kind, list[int]] = defaultdict(list)
    for g, item in enumerate(items):
        of_kind[_kind(item)] += [g] * _units(item)
    copies = {kind: len(members) for kind, members in of_kind.items()}
    unlimited = SolveBudget(seed=budget.seed)
    fillings = pack_weighed(copies, len(hosts), cap, most, unlimited)
    if fillings is None:
        raise SolverError("sites do not fit into the hosts that were counted for them, by clusters and weight")
    units = [item for item in items for _ in range(_units(item))]
    today = Counter((_kind(item), item.today) for item in units)

    def stays(filling: Filling, name: str) -> float:
        """Return the clusters that keep their host if ``filling`` is that of ``name``."""
        return sum(min(n, today[kind, name]) * kind[0] for kind, n in filling.items())

    stay = [[stays(filling, name) for name in hosts] for filling in fillings]
    seats: Counter[tuple[int, str]] = Counter()
    wanted: dict[Kind, list[str]] = defaultdict(list)
    for b, h in best_matching(np.array(stay, dtype=np.float64)):
        for kind, n in fillings[b].items():
            name = hosts[h]
            at_home = [g for g in of_kind[kind] if items[g].today == name]
            for g in at_home[:n]:
                of_kind[kind].remove(g)
                seats[g, name] += 1
            missing = n - len(at_home[:n])
            wanted[kind] += [name] * missing
    for kind, names in wanted.items():
        for g, name in zip(of_kind[kind], names, strict=True):
            seats[g, name] += 1
    return _in_clusters(items, seats)
