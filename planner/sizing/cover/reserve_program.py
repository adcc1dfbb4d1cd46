"""The model of reserve as arrays; see `cover.reserve_model` for what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from planner.fleet import Floats, Ints
from planner.sizing.solvers.highs import LinearProgram

if TYPE_CHECKING:
    from planner.sizing.cover.reserve_model import ReserveModel, Whole


Rows = tuple[sp.csr_array, Floats]  # rows and what they are at least


def build_program(model: ReserveModel, whole: Whole, box: tuple[Floats, Floats] | None) -> LinearProgram:
    """Return the model as arrays.

    Columns: n, s, t, |n_p - r_p|, |s_p - r_p|, hosts to add, then [n_p > m] and g_pm of every step that cuts use, then
    [s_q >= k] for every pool and size that sites kept together want.
    """
    problem, pools, size = model.problem, model.pools, model.pools + model.shares.count
    steps = sorted({(p, m) for cut in model.cuts for p, m, _ in cut.steps})
    sizes = sorted({(q, wish.clusters) for wish in model.kept_together for q in wish.standbys.tolist()})
    first = 4 * pools + size  # of steps
    last = first + 2 * len(steps)  # of them, where sizes begin
    columns = last + len(sizes)
    price = np.zeros(columns)
    price[:pools], price[3 * pools + size : first] = model.price, model.extra
    either = sp.csr_array(np.array((price, np.arange(columns) < pools), dtype=np.float64))
    rows = [
        _known(model, columns),
        _cuts(model, columns, {step: first + len(steps) + at for at, step in enumerate(steps)}),
        (either, np.array((model.least, model.fewest))),
        _distances(model, columns),
        _shares(model, columns),
        _steps(model, columns, steps, first),
        _sizes(model, columns, {size: last + at for at, size in enumerate(sizes)}),
    ]
    cost = price.copy()
    hosts_off, room_off = model.farthest
    cost[pools + size : 2 * pools + size] = model.tie(whole) / 2.0 / hosts_off
    cost[2 * pools + size : 3 * pools + size] = model.tie(whole) / 2.0 / room_off
    lower, upper = np.zeros(columns), np.full(columns, np.inf)
    room = model.losses.room * problem.max_hosts
    upper[:pools], upper[pools : 2 * pools], upper[2 * pools : pools + size] = (
        problem.max_hosts,
        room,
        room.max(initial=0),
    )
    upper[first : first + len(steps)] = 1.0
    upper[last:] = 1.0
    if model.floor is not None:
        lower[pools : 2 * pools] = model.floor
    if model.taken is not None and box is not None:
        beside = model.losses.room * box[1] - model.taken.load
        upper[pools : 2 * pools] = np.minimum(upper[pools : 2 * pools], np.maximum(0.0, beside))
        least_room = np.ceil(model.taken.ready / np.maximum(1.0, model.shares.factor(box[1])))
        np.maximum.at(lower, pools + model.shares.column, least_room)
    if box is not None:
        lower[:pools], upper[:pools] = box
        for at, (p, m) in enumerate(steps):
            lower[first + at], upper[first + at] = float(box[0][p] > m), float(box[1][p] > m)
    integer = np.zeros(columns, dtype=np.bool_)
    integer[: {"none": 0, "sizes": 0, "hosts": pools, "all": pools + size}[whole]] = True
    integer[first : first + len(steps)] = True
    integer[last:] = True
    matrix = sp.csc_array(sp.vstack([matrix for matrix, _ in rows]))
    matrix.eliminate_zeros()
    least = np.concatenate([needs for _, needs in rows])
    return LinearProgram(
        cost=cost,
        lower=lower,
        upper=upper,
        matrix=matrix,
        row_lower=least,
        row_upper=np.full(len(least), np.inf),
        whole=integer if whole != "none" else None,
    )


def _known(model: ReserveModel, columns: int) -> Rows:
    """Return the inequalities on host counts alone."""
    known = np.array([room for room, _ in model.known], dtype=np.float64).reshape(-1, model.pools)
    matrix = sp.hstack((sp.csr_array(known), sp.csr_array((len(known), columns - model.pools))))
    return sp.csr_array(matrix), np.array([float(demand) for _, demand in model.known])


def _cuts(model: ReserveModel, columns: int, more: dict[tuple[int, int], int]) -> Rows:
    """Return the cuts; ``more`` is the column of g_pm for each step."""
    cuts = np.zeros((len(model.cuts), columns))
    for row, cut in zip(cuts, model.cuts, strict=True):
        row[: model.pools] = cut.on_hosts
        row[model.pools : model.pools + len(cut.on_room)] = cut.on_room
        for p, m, each in cut.steps:
            row[more[p, m]] += each
    return sp.csr_array(cuts), np.array([float(cut.demand) for cut in model.cuts])


def _distances(model: ReserveModel, columns: int) -> Rows:
    """Return s <= R n, the distances from the reference and the hosts to add."""
    pools, size = model.pools, model.pools + model.shares.count
    hosts, room = model.reference
    n, s, off, room_off, add = 0, pools, pools + size, 2 * pools + size, 3 * pools + size
    each, one = np.arange(pools), np.ones(pools)
    blocks: list[tuple[list[tuple[int, Floats]], Floats]] = [
        ([(n, model.losses.room.astype(np.float64)), (s, -one)], 0.0 * one),
        ([(n, -one), (off, one)], -hosts),
        ([(n, one), (off, one)], hosts),
        ([(s, -one), (room_off, one)], -room),
        ([(s, one), (room_off, one)], room),
        ([(n, -one), (add, one)], -model.problem.existing.astype(np.float64)),
    ]
    row = np.concatenate([k * pools + each for k, (terms, _) in enumerate(blocks) for _ in terms])
    column = np.concatenate([at + each for terms, _ in blocks for at, _ in terms])
    value = np.concatenate([values for terms, _ in blocks for _, values in terms])
    matrix = sp.csr_array((value, (row, column)), shape=(len(blocks) * pools, columns))
    return matrix, np.concatenate([least for _, least in blocks])


def _shares(model: ReserveModel, columns: int) -> Rows:
    """Return that shares add up to no more than the room they are of."""
    limits = model.shares.limits
    nothing: Ints = np.zeros(0, dtype=np.int64)
    row = np.repeat(np.arange(len(limits)), [len(shares) + 1 for shares, _ in limits])
    column = np.concatenate([nothing, *(np.append(shares, q) for shares, q in limits)])
    value = np.concatenate([nothing, *(np.append(np.full(len(shares), -1), 1) for shares, _ in limits)])
    matrix = sp.csr_array((value.astype(np.float64), (row, model.pools + column)), shape=(len(limits), columns))
    return matrix, np.zeros(len(limits))


def _steps(model: ReserveModel, columns: int, steps: list[tuple[int, int]], first: int) -> Rows:
    """Return what ties y = [n_p > m] and g = n_p y to n_p: m + (M - m) y >= n, n >= (m + 1) y, M y >= g, n >= g."""
    rows = np.zeros((4 * len(steps), columns))
    least = np.zeros(4 * len(steps))
    for at, (p, m) in enumerate(steps):
        most = int(model.problem.max_hosts[p])
        y, g = first + at, first + len(steps) + at
        rows[4 * at, [y, p]], least[4 * at] = (most - m, -1.0), -m
        rows[4 * at + 1, [p, y]] = 1.0, -(m + 1.0)
        rows[4 * at + 2, [y, g]] = most, -1.0
        rows[4 * at + 3, [p, g]] = 1.0, -1.0
    return sp.csr_array(rows), least


def _sizes(model: ReserveModel, columns: int, size_at: dict[tuple[int, int], int]) -> Rows:
    """Return s_q >= k [s_q >= k], and that one of them is chosen for every wish."""
    rows = np.zeros((len(size_at) + len(model.kept_together), columns))
    least = np.zeros(len(rows))
    for at, ((q, clusters), column) in enumerate(size_at.items()):
        rows[at, [model.pools + q, column]] = 1.0, -clusters
    for at, wish in enumerate(model.kept_together, start=len(size_at)):
        rows[at, [size_at[q, wish.clusters] for q in wish.standbys.tolist()]] = 1.0
        least[at] = 1.0
    return sp.csr_array(rows), least
