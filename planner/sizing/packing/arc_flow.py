"""Bin packing inside a pool: sites whose clusters stay together are items, hosts are bins.

Items of one cluster fill any gap, so only larger ones decide whether a packing exists. First-fit
decreasing answers most cases; the arc-flow model answers the rest exactly.

Source of the model: J. M. Valério de Carvalho, "Exact solution of bin-packing problems using column
generation and branch-and-bound", Annals of Operations Research 86 (1999) 629-659.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import int_array, int_zeros
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import ModelBuilder, Terms


@dataclass(frozen=True, slots=True)
class ArcFlow:
    """The arcs of one host: a path from 0 is one filling, an arc ``(fill, fill + size)`` one item.

    Items lie on a path from large to small, which keeps every filling and drops its permutations.
    """

    arcs: tuple[tuple[int, int], ...]  # (fill before, size)
    nodes: tuple[int, ...]


def arc_flow(counts: Mapping[int, int], cap: int) -> ArcFlow:
    """Return the arcs for items of ``counts`` (size -> how many there can be) and hosts of ``cap``, all in clusters."""
    reached, arcs = {0}, set()
    for size in sorted((s for s, n in counts.items() if n > 0 and s <= cap), reverse=True):
        starts = sorted(reached)
        for start in starts:
            for copies in range(min(counts[size], (cap - start) // size)):
                arcs.add((start + copies * size, size))
                reached.add(start + (copies + 1) * size)
    return ArcFlow(tuple(sorted(arcs)), tuple(sorted(reached)))


def first_fit_decreasing(sizes: Sequence[int], cap: int) -> list[list[int]]:
    """Return item positions for each bin of ``cap``: items of ``sizes``, each into the first with room, large first."""
    bins: list[list[int]] = []
    free: list[int] = []
    for item in sorted(range(len(sizes)), key=lambda i: (-sizes[i], i)):
        size = sizes[item]
        roomy = (b for b, room in enumerate(free) if room >= size)
        spot = next(roomy, None)
        if spot is None:
            bins.append([])
            free.append(cap)
            spot = len(bins) - 1
        bins[spot].append(item)
        free[spot] -= size
    return bins


def pack(sizes: Sequence[int], hosts: int, cap: int, budget: SolveBudget) -> list[list[int]] | None:
    """Return the positions of the items of ``sizes`` in each of ``hosts`` bins of ``cap``.

    None when it cannot be done, or time ran out before that was known. Every size must be positive.
    """
    bins = first_fit_decreasing(sizes, cap)
    if len(bins) <= hosts:
        empty: list[list[int]] = [[] for _ in range(hosts - len(bins))]
        return bins + empty
    if sum(sizes) > hosts * cap or max(sizes) > cap:
        return None
    large = [(i, size) for i, size in enumerate(sizes) if size > 1]
    of_large = [size for _, size in large]
    chosen = _flow(of_large, hosts, cap, budget)
    if chosen is None:
        return None
    packed = _decode(large, chosen, hosts)
    singles = [i for i, size in enumerate(sizes) if size == 1]
    _fill(packed, singles, sizes, cap)
    return packed


def _flow(sizes: Sequence[int], hosts: int, cap: int, budget: SolveBudget) -> dict[tuple[int, int], int] | None:
    """Return the flow of the arc-flow model along each arc that is used; None where there is none in time."""
    counts = dict(sorted(Counter(sizes).items()))
    model = ModelBuilder()
    n = model.block(1, 1.0, hosts, whole=True)
    packed = add_fillings(model, counts, cap, hosts, n[0])
    number = np.array(list(counts.values()), dtype=np.float64)
    model.equal([packed], len(counts), number)
    answer = solve_arrays(model.program(), budget)
    if not answer.outcome.has_solution:
        return None
    _, column, _ = packed
    arcs = zip(arc_flow(counts, cap).arcs, answer.x[column], strict=True)
    return {arc: round(x) for arc, x in arcs if x > 0.5}


def add_fillings(model: ModelBuilder, counts: Mapping[int, int], cap: int, most: int, hosts: int) -> Terms:
    """Add the flow of the fillings of at most ``most`` hosts, whose number is column ``hosts``.

    A filling may end anywhere: inflow is no less than outflow at every node. Return the terms that count how many items
    of each size are packed, in the order of ``counts``.
    """
    graph = arc_flow(counts, cap)
    fill, size = int_array(graph.arcs).reshape(-1, 2).T
    node = np.array(graph.nodes)
    at = model.block(len(fill), upper=most, whole=True)
    leaving = np.searchsorted(node, fill)
    entering = np.searchsorted(node, fill + size)
    outflow: Terms = leaving, at, -1.0
    inflow: Terms = entering, at, 1.0
    begun: Terms = int_zeros(1), np.array([hosts]), 1.0
    model.above([outflow, inflow, begun], len(node))
    number = {item: row for row, item in enumerate(counts)}
    row = [number[item] for item in size.tolist()]
    return int_array(row), at, 1.0


def _decode(items: list[tuple[int, int]], flow: dict[tuple[int, int], int], hosts: int) -> list[list[int]]:
    """Follow the flow from 0 host by host and put an item of the arc's size on each arc."""
    waiting: dict[int, list[int]] = {}
    for item, size in reversed(items):
        waiting.setdefault(size, []).append(item)
    left = dict(flow)
    bins: list[list[int]] = []
    for _ in range(hosts):
        fill, content = 0, []
        while (size := next((s for f, s in sorted(left) if f == fill and left[f, s]), 0)) > 0:
            left[fill, size] -= 1
            content.append(waiting[size].pop())
            fill += size
        bins.append(content)
    return bins


def _fill(bins: list[list[int]], singles: list[int], sizes: Sequence[int], cap: int) -> None:
    loads = [sum(sizes[i] for i in content) for content in bins]
    free = [cap - load for load in loads]
    spot = 0
    for item in singles:
        while free[spot] == 0:
            spot += 1
        bins[spot].append(item)
        free[spot] -= 1
