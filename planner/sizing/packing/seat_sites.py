"""Which host of a pool carries which site: who can stay stays, the rest is spread evenly, nearest first."""

from __future__ import annotations

import dataclasses
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from planner.errors import SolverError
from planner.fleet import Ints
from planner.sizing.instance.case import Case
from planner.sizing.packing.arc_flow import pack
from planner.sizing.packing.hosts_by_weight import keeps_weight, seat_by_weight
from planner.sizing.packing.items import Item, nearest_first
from planner.sizing.packing.matching import best_matching
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solvers.budget import SolveBudget


@dataclass
class _Bin:
    """A host being filled."""

    name: str
    cap: int
    items: list[tuple[int, int]] = field(default_factory=list)  # (item position, clusters)
    load: int = 0

    @property
    def free(self) -> int:
        return self.cap - self.load

    def take(self, item: int, clusters: int) -> None:
        self.items.append((item, clusters))
        self.load += clusters


def seat_all(
    case: Case,
    hosts: Ints,
    placement: Placement,
    budget: SolveBudget,
    *,
    gathered: bool = False,
) -> Seating:
    """Return who sits on which host, with ``hosts`` (P,) running.

    ``gathered``: what stays free in a pool is free on one host, where sites that stay together allow it; else all of
    its hosts carry about the same.
    """
    problem, today = case.problem, case.today
    seats: list[Seat] = []
    running: dict[int, list[str]] = {}
    pool_of = problem.pool[placement.pair]
    for p in np.flatnonzero(hosts).tolist():
        rows = np.flatnonzero(pool_of == p).tolist()
        items = [_item(case, placement, x) for x in rows]
        names = choose_hosts(items, today.names[p], int(hosts[p]))
        running[p] = names
        items = _on_running(case, p, items, names)
        cap = int(problem.caps[p])
        unweighed = gathered and problem.host_weight is None
        filled = _gathered(items, names, cap) if unweighed else None
        for g, name, clusters in filled or fill(items, names, cap, budget, problem.host_weight):
            pair = int(placement.pair[rows[g]])
            site = int(problem.site[pair])
            seats.append(Seat(site, pair, p, name, clusters))
    return Seating(seats, running)


def _item(case: Case, placement: Placement, x: int) -> Item:
    problem = case.problem
    pair = placement.pair[x]
    clusters = int(placement.units[x])
    s = problem.site[pair]
    site = case.fleet.site_ids[problem.site_at[s]]
    rtt_ms = float(problem.rtt_ms[pair])
    today = case.today.host.get(site, "")
    weight = float(problem.weights[s] * clusters / problem.clusters[s])
    return Item(site, clusters, not problem.split, rtt_ms, today, weight)


def _on_running(case: Case, p: int, items: list[Item], names: Sequence[str]) -> list[Item]:
    """Return ``items`` with a host that runs today for those whose host Current does not name, as far as there is room.

    Where all hosts run today, any of them will do.
    """
    problem, today = case.problem, case.today
    existing = int(problem.existing[p])
    runs = today.running(p, existing, names)
    pool = case.fleet.pool_ids[problem.pool_at[p]]
    if len(runs) == len(names) or not runs:
        return items
    cap = int(problem.caps[p])
    free = dict.fromkeys(sorted(runs), cap)
    for item in items:
        if item.today in free:
            free[item.today] -= item.clusters
    placed = list(items)
    here = [pool in today.may_be.get(item.site, ()) for item in items]
    unnamed = [g for g, item in enumerate(items) if here[g] and not item.today]
    for g in sorted(unnamed, key=lambda g: -items[g].clusters):
        host = max(free, key=lambda name: free[name])
        if free[host] >= items[g].clusters:
            free[host] -= items[g].clusters
            placed[g] = dataclasses.replace(items[g], today=host)
    return placed


def choose_hosts(items: Sequence[Item], names: Sequence[str], count: int) -> list[str]:
    """Return ``count`` of ``names``: those that carry most of the items' clusters today, else the first ones."""
    carried = dict.fromkeys(names, 0)
    for item in items:
        if item.today in carried:
            carried[item.today] += item.clusters
    ranked = sorted(names, key=carried.__getitem__, reverse=True)
    chosen = set(ranked[:count])
    return [name for name in names if name in chosen]


def fill(
    items: Sequence[Item], hosts: Sequence[str], cap: int, budget: SolveBudget, most: float | None = None
) -> list[tuple[int, str, int]]:
    """Return (item position, host, clusters) for every item; loads are at most ``cap``, weights at most ``most``.

    Raises SolverError when items that stay together do not fit, which the host counts have ruled out.
    """
    if most is not None:
        seats = fill(items, hosts, cap, budget)
        if keeps_weight(items, seats, most):
            return seats
        return seat_by_weight(items, hosts, cap, most, budget)
    bins = [_Bin(name, cap) for name in hosts]
    multi_cluster, light = _by_size(items)
    moving = _settle(multi_cluster, items, bins)
    waiting = _settle(light, items, bins)
    if not _spread(moving, items, bins):
        bins = _repack(multi_cluster, items, hosts, cap, budget)
        waiting = _settle(light, items, bins)
    _pour(waiting, items, bins)
    return _seats(bins)


def _by_size(items: Sequence[Item]) -> tuple[list[int], list[int]]:
    """Return the positions of large items, and those of all others, each nearest first."""
    order = nearest_first(items)
    large = [g for g in order if items[g].large]
    return large, [g for g in order if not items[g].large]


def _seats(bins: Sequence[_Bin]) -> list[tuple[int, str, int]]:
    """Return item position, host and clusters of all that hosts carry."""
    return [(g, bin_.name, clusters) for bin_ in bins for g, clusters in bin_.items]


def _gathered(items: Sequence[Item], hosts: Sequence[str], cap: int) -> list[tuple[int, str, int]] | None:
    """Fill one host after the other, those first that carry most today; None where large items do not fit so."""
    carried = Counter[str]()
    for item in items:
        carried[item.today] += item.clusters
    left = sum(item.clusters for item in items)
    bins = []
    for name in sorted(hosts, key=lambda name: -carried[name]):
        bins.append(_Bin(name, min(cap, left)))
        left -= bins[-1].cap
    multi_cluster, light = _by_size(items)
    if not _spread(_settle(multi_cluster, items, bins), items, bins):
        return None
    _pour(_settle(light, items, bins), items, bins)
    return _seats(bins)


def _settle(candidates: Sequence[int], items: Sequence[Item], bins: list[_Bin]) -> list[int]:
    """Leave items on the host they have today while there is room; return those that have to move."""
    by_name = {bin_.name: bin_ for bin_ in bins}
    moving = []
    for g in candidates:
        bin_ = by_name.get(items[g].today)
        if bin_ is not None and bin_.free >= items[g].clusters:
            bin_.take(g, items[g].clusters)
        else:
            moving.append(g)
    return moving


def _spread(multi_cluster: Sequence[int], items: Sequence[Item], bins: list[_Bin]) -> bool:
    """Put large items one by one on the emptiest host; False when one does not fit."""
    for g in sorted(multi_cluster, key=lambda g: -items[g].clusters):
        bin_ = max(bins, key=lambda r: r.free, default=None)
        if bin_ is None or bin_.free < items[g].clusters:
            return False
        bin_.take(g, items[g].clusters)
    return True


def _repack(
    multi_cluster: Sequence[int], items: Sequence[Item], hosts: Sequence[str], cap: int, budget: SolveBudget
) -> list[_Bin]:
    """Pack the large items from scratch and give each packed host the name that moves fewest clusters."""
    sizes = [items[g].clusters for g in multi_cluster]
    packed = pack(sizes, len(hosts), cap, SolveBudget(seed=budget.seed))
    if packed is None:
        raise SolverError("sites that stay together do not fit into the hosts that were counted for them")
    stay = np.zeros((len(hosts), len(hosts)))
    position = {name: i for i, name in enumerate(hosts)}
    for b, content in enumerate(packed):
        for item in (items[multi_cluster[i]] for i in content):
            if item.today in position:
                stay[b, position[item.today]] += item.clusters
    bins = [_Bin(name, cap) for name in hosts]
    for b, h in best_matching(stay):
        for i in packed[b]:
            bins[h].take(multi_cluster[i], sizes[i])
    return bins


def _pour(light: Sequence[int], items: Sequence[Item], bins: list[_Bin]) -> None:
    """Fill hosts in order to loads that differ by one at most, splitting an item only where it may be split."""
    queue = [(g, items[g].clusters) for g in reversed(light)]
    more = sum(clusters for _, clusters in queue)
    for bin_, target in zip(bins, _targets(bins, more), strict=True):
        while queue and bin_.load < target:
            g, clusters = queue.pop()
            taken = min(clusters, target - bin_.load)
            bin_.take(g, taken)
            if taken < clusters:
                queue.append((g, clusters - taken))


def _targets(bins: list[_Bin], more: int) -> list[int]:
    """Return the loads that ``more`` clusters bring the hosts to: one common level, or one less at the last hosts."""
    loads = [bin_.load for bin_ in bins]
    level = _level(loads, [bin_.cap for bin_ in bins], more)
    filled = [min(level, bin_.cap) for bin_ in bins]
    targets = list(map(max, loads, filled))
    surplus = sum(targets) - sum(loads) - more
    for h in reversed(range(len(bins))):
        if surplus > 0 and targets[h] == level > loads[h]:
            targets[h] -= 1
            surplus -= 1
    return targets


def _level(loads: Sequence[int], caps: Sequence[int], more: int) -> int:
    """Return the lowest common level at which ``more`` clusters fit on top of ``loads``."""

    def room(level: int) -> int:
        filled = [min(level, cap) for cap in caps]
        return sum(max(0, full - load) for full, load in zip(filled, loads, strict=True))

    return bisect_left(range(max(caps, default=0)), more, key=room)
