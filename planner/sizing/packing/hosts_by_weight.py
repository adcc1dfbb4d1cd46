"""Which host of a pool carries which site where the weight on a host is limited too."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from planner.errors import SolverError
from planner.sizing.packing.items import Item
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
    """Return (item position, host, clusters) for every item: packed, and each filling where fewest clusters move.

    Raises SolverError when they do not fit, which the host counts have ruled out.
    """
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


def _in_clusters(items: Sequence[Item], seats: Mapping[tuple[int, str], int]) -> Seats:
    """Return item position, host and clusters of ``seats``, which count what must share a host."""
    found = []
    for (g, name), n in seats.items():
        clusters, _ = _kind(items[g])
        found.append((g, name, n * clusters))
    return found


def _units(item: Item) -> int:
    return 1 if item.together else item.clusters


def _kind(item: Item) -> Kind:
    """Return clusters and weight of what of an item must share a host."""
    units = _units(item)
    return item.clusters // units, item.weight / units
