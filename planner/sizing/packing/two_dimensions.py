"""Packing inside a pool where a host is limited in clusters and in weight: kinds of items, hosts are bins.

Two greedy orders answer most cases; a model of hosts and kinds answers the rest exactly:

    sum_h x_th = m_t,  sum_t k_t x_th <= C,  sum_t w_t x_th <= W,  x whole;

kinds are in order and hosts in the order of their first item, so that kind t is on the first m_1 + ... + m_t hosts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from planner.arrays import rounded
from planner.fleet import Floats
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Term, Terms, add_room

Kind = tuple[int, float]  # clusters and weight of an item
Filling = dict[Kind, int]  # how many of each kind a host carries

_CLOSE = 1e-9  # relative; weights are whole but for parts of split sites


def pack_weighed(
    kinds: Mapping[Kind, int], hosts: int, cap: int, most: float, budget: SolveBudget
) -> list[Filling] | None:
    """Return what each of ``hosts`` hosts of ``cap`` clusters and ``most`` weight carries of ``kinds`` (with copies).

    None when it cannot be done, or time ran out before that was known.
    """
    limit = most * (1 + _CLOSE)
    if any(size > cap or weight > limit for size, weight in kinds):
        return None
    if sum(n * size for (size, _), n in kinds.items()) > hosts * cap:
        return None
    if sum(n * weight for (_, weight), n in kinds.items()) > hosts * limit:
        return None

    def largest(kind: Kind) -> float:
        return max(kind[0] / cap, kind[1] / most)

    def both(kind: Kind) -> float:
        return kind[0] / cap + kind[1] / most

    for key in (largest, both):
        found = _first_fit(kinds, hosts, cap, limit, key)
        if found is not None:
            return found
    return _exact(kinds, hosts, cap, most, largest, budget)


def _first_fit(
    kinds: Mapping[Kind, int], hosts: int, cap: int, most: float, key: Callable[[Kind], float]
) -> list[Filling] | None:
    free = [[float(cap), most] for _ in range(hosts)]
    found: list[Filling] = [{} for _ in range(hosts)]
    for kind in sorted(kinds, key=lambda kind: (-key(kind), kind)):
        size, weight = kind
        left = kinds[kind]
        for room, content in zip(free, found, strict=True):
            taken = min(left, int(room[0] // size))
            if weight:
                taken = min(taken, int(room[1] / weight + _CLOSE))
            if taken:
                content[kind] = taken
                room[0] -= taken * size
                room[1] -= taken * weight
                left -= taken
        if left:
            return None
    return found


def _exact(
    kinds: Mapping[Kind, int], hosts: int, cap: int, most: float, key: Callable[[Kind], float], budget: SolveBudget
) -> list[Filling] | None:
    order = sorted(kinds, key=lambda kind: (-key(kind), kind))
    copies = np.array([kinds[kind] for kind in order], dtype=np.float64)
    model = ModelBuilder()
    n = model.block(1, upper=hosts)
    packed = add_weighed_fillings(model, order, copies, (cap, most), hosts, n[0])
    model.equal([packed], len(order), copies)
    answer = solve_arrays(model.program(), budget)
    if not answer.outcome.has_solution:
        return None
    _, column, _ = packed
    of_kind = rounded(answer.x[column]).reshape(len(order), hosts)
    of_host = [zip(order, numbers, strict=True) for numbers in of_kind.T.tolist()]
    return [{kind: n for kind, n in filling if n} for filling in of_host]


def add_weighed_fillings(
    model: ModelBuilder, kinds: Sequence[Kind], copies: Floats, most: tuple[int, float], hosts: int, running: int
) -> Terms:
    """Add x_th for ``kinds`` with ``copies`` (T,) on ``hosts`` hosts, of which as many run as column ``running`` says.

    ``most``: clusters and weight on a host. Return the terms that count the items of each kind.
    """
    most_clusters, most_weight = most
    columns = np.arange(len(kinds) * hosts)
    t, h = np.divmod(columns, hosts)
    size, weight = np.array(kinds, dtype=np.float64).T
    reach = np.minimum(np.cumsum(copies), hosts)
    reached = np.where(h < reach[t], copies[t], 0.0)
    x = model.block(len(t), upper=reached, whole=True)
    runs = model.block(hosts, upper=1.0, whole=True)
    clusters = Loads(h, x, size[t])
    add_room(model, np.full(hosts, most_clusters), runs, [clusters])
    share = weight / most_weight
    weights = Loads(h, x, share[t])
    add_room(model, np.ones(hosts), runs, [weights])
    model.no_more(runs[1:], runs[:-1])
    number: Term = np.array([running]), -1.0
    model.at_most([(runs, 1.0), number], 0.0)
    return t, x, 1.0
