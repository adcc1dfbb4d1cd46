"""Which host of a pool carries which site where the weight on a host is limited too."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.errors import SolverError
from planner.sizing.packing.items import Item
from planner.sizing.packing.matching import best_matching
from planner.sizing.packing.two_dimensions import Kind, pack_weighed
from planner.sizing.solvers.budget import SolveBudget

Seats = list[tuple[int, str, int]]  # item position, host, clusters

_CLOSE = 1e-9


def keeps_weight(items: Sequence[Item], seats: Seats, most: float) -> bool:
    """Say whether no host of ``seats`` carries more than ``most`` weight."""
    carried: dict[str, float] = defaultdict(float)
    for g, host, clusters in seats:
        carried[host] += items[g].weight * clusters / items[g].clusters
    return all(weight <= most * (1 + _CLOSE) for weight in carried.values())


def seat_by_weight(items: Sequence[Item], hosts: Sequence[str], cap: int, most: float, budget: SolveBudget) -> Seats:
    """Return (item position, host, clusters) for every item: who can stay stays, the rest goes where most is free.

    Where that ends with somebody standing, all are packed from scratch. Raises SolverError when they do not fit,
    which the host counts have ruled out.
    """
    bins = {name: _Bin(cap, most) for name in hosts}
    order = sorted(range(len(items)), key=lambda g: (items[g].rtt_ms, items[g].site))
    single = [g for g in order for _ in range(_units(items[g]))]
    moving = [g for g in single if not _stays(items[g], g, bins)]
    for g in sorted(moving, key=lambda g: -max(_kind(items[g])[0] / cap, _kind(items[g])[1] / most)):
        kind = _kind(items[g])
        bin_ = max((r for r in bins.values() if r.fits(kind)), key=_Bin.free, default=None)
        if bin_ is None:
            return _packed(items, hosts, cap, most, budget)
        bin_.take(g, kind)
    return [(g, name, n * _kind(items[g])[0]) for name, bin_ in bins.items() for g, n in bin_.items.items()]


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
        return min(self.clusters / self.cap, self.weight / self.most)

    def fits(self, kind: Kind) -> bool:
        return self.clusters >= kind[0] and self.weight >= kind[1]

    def take(self, item: int, kind: Kind) -> None:
        self.items[item] += 1
        self.clusters -= kind[0]
        self.weight -= kind[1]


def _units(item: Item) -> int:
    return 1 if item.together else item.clusters


def _kind(item: Item) -> Kind:
    """Return clusters and weight of what of an item must share a host."""
    return item.clusters // _units(item), item.weight / _units(item)


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
    fillings = pack_weighed(copies, len(hosts), cap, most, SolveBudget(seed=budget.seed))
    if fillings is None:
        raise SolverError("sites do not fit into the hosts that were counted for them, by clusters and weight")
    today = Counter((kind, items[g].today) for kind, members in of_kind.items() for g in members)
    stay = [
        [sum(min(n, today[kind, name]) * kind[0] for kind, n in filling.items()) for name in hosts]
        for filling in fillings
    ]
    seats: Counter[tuple[int, str]] = Counter()
    wanted: dict[Kind, list[str]] = defaultdict(list)
    for b, h in best_matching(np.array(stay, dtype=np.float64)):
        for kind, n in fillings[b].items():
            mine = [g for g in of_kind[kind] if items[g].today == hosts[h]][:n]
            for g in mine:
                of_kind[kind].remove(g)
                seats[g, hosts[h]] += 1
            wanted[kind] += [hosts[h]] * (n - len(mine))
    for kind, names in wanted.items():
        for g, name in zip(of_kind[kind], names, strict=True):
            seats[g, name] += 1
    return [(g, name, n * _kind(items[g])[0]) for (g, name), n in seats.items()]
