"""Packing inside a pool where a host is limited in clusters and in weight: kinds of items, hosts are bins.

Two greedy orders answer most cases; a model of hosts and kinds answers the rest exactly:

    sum_h x_th = m_t,  sum_t k_t x_th <= C,  sum_t w_t x_th <= W,  x whole;

kinds are in order and hosts in the order of their first item, so that kind t is on the first m_1 + ... + m_t hosts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import scipy.sparse as sp

from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays

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
            taken = min(left, int(room[0] // size), int(room[1] / weight + _CLOSE) if weight else left)
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
    reach = np.minimum(np.cumsum(copies), hosts)
    t, h = np.divmod(np.arange(len(order) * hosts), hosts)
    both = np.array(order, dtype=np.float64)
    rows = np.concatenate((t, len(order) + h, len(order) + hosts + h))
    values = np.concatenate((np.ones(len(t)), both[t, 0], both[t, 1] / most))
    shape = (len(order) + 2 * hosts, len(t))
    program = LinearProgram(
        cost=np.zeros(len(t)),
        upper=np.where(h < reach[t], copies[t], 0.0),
        matrix=sp.csc_array(sp.coo_array((values, (rows, np.tile(np.arange(len(t)), 3))), shape=shape)),
        row_lower=np.concatenate((copies, np.full(2 * hosts, -np.inf))),
        row_upper=np.concatenate((copies, np.full(hosts, float(cap)), np.ones(hosts))),
        whole=np.ones(len(t), dtype=np.bool_),
    )
    answer = solve_arrays(program, budget)
    if not answer.outcome.has_solution:
        return None
    chosen = np.rint(answer.x).astype(np.int64).reshape(len(order), hosts)
    return [{kind: int(n) for kind, n in zip(order, chosen[:, j], strict=True) if n} for j in range(hosts)]
