"""The model of spare room as arrays; see `planner.sizing.cover.spare` for what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from planner.fleet import Floats, Ints
from planner.sizing.solver import LinearProgram

if TYPE_CHECKING:
    from planner.sizing.cover.spare import SpareModel, Whole

Rows = tuple[sp.csr_array, Floats]  # rows and what they are at least


def build_program(model: SpareModel, whole: Whole, box: tuple[Floats, Floats] | None) -> LinearProgram:
    """Return the model as arrays.

    Columns: n, s, t, |n_p - r_p|, |s_p - r_p|, hosts to add, then [n_p > m] and g_pm of every step that cuts use.
    """
    problem, pools, size = model.problem, model.pools, model.pools + model.shares.count
    steps = sorted({(p, m) for cut in model.cuts for p, m, _ in cut.steps})
    columns = 4 * pools + size + 2 * len(steps)
    first = 4 * pools + size  # of steps
    price = np.zeros(columns)
    price[:pools], price[3 * pools + size : first] = model.price, model.extra
    either = sp.csr_array(np.array((price, np.arange(columns) < pools), dtype=np.float64))
    rows = [
        _known(model, columns),
        _cuts(model, columns, {step: first + len(steps) + at for at, step in enumerate(steps)}),
        (either, np.array((model.least, model.fewest))),
        _distances(model, columns),
        _shares(model, columns),
        _steps(model, columns, steps),
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
    if box is not None:
        lower[:pools], upper[:pools] = box
        for at, (p, m) in enumerate(steps):
            lower[first + at], upper[first + at] = float(box[0][p] > m), float(box[1][p] > m)
    integer = np.zeros(columns, dtype=np.bool_)
    integer[: {"none": 0, "hosts": pools, "all": pools + size}[whole]] = True
    integer[first : first + len(steps)] = whole != "none"
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


def _known(model: SpareModel, columns: int) -> Rows:
    """Return the inequalities on host counts alone."""
    known = np.array([room for room, _ in model.known], dtype=np.float64).reshape(-1, model.pools)
    matrix = sp.hstack((sp.csr_array(known), sp.csr_array((len(known), columns - model.pools))))
    return sp.csr_array(matrix), np.array([float(demand) for _, demand in model.known])


def _cuts(model: SpareModel, columns: int, more: dict[tuple[int, int], int]) -> Rows:
    """Return the cuts; ``more`` is the column of g_pm for each step."""
    cuts = np.zeros((len(model.cuts), columns))
    for row, cut in zip(cuts, model.cuts, strict=True):
        row[: model.pools] = cut.on_hosts
        row[model.pools : model.pools + len(cut.on_room)] = cut.on_room
        for p, m, each in cut.steps:
            row[more[p, m]] += each
    return sp.csr_array(cuts), np.array([float(cut.demand) for cut in model.cuts])


def _distances(model: SpareModel, columns: int) -> Rows:
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


def _shares(model: SpareModel, columns: int) -> Rows:
    """Return that shares add up to no more than the room they are of."""
    limits = model.shares.limits
    nothing: Ints = np.zeros(0, dtype=np.int64)
    row = np.repeat(np.arange(len(limits)), [len(shares) + 1 for shares, _ in limits])
    column = np.concatenate([nothing, *(np.append(shares, q) for shares, q in limits)])
    value = np.concatenate([nothing, *(np.append(np.full(len(shares), -1), 1) for shares, _ in limits)])
    matrix = sp.csr_array((value.astype(np.float64), (row, model.pools + column)), shape=(len(limits), columns))
    return matrix, np.zeros(len(limits))


def _steps(model: SpareModel, columns: int, steps: list[tuple[int, int]]) -> Rows:
    """Return what ties y = [n_p > m] and g = n_p y to n_p: m + (M - m) y >= n, n >= (m + 1) y, M y >= g, n >= g."""
    rows = np.zeros((4 * len(steps), columns))
    least = np.zeros(4 * len(steps))
    for at, (p, m) in enumerate(steps):
        most = int(model.problem.max_hosts[p])
        y, g = columns - 2 * len(steps) + at, columns - len(steps) + at
        rows[4 * at, [y, p]], least[4 * at] = (most - m, -1.0), -m
        rows[4 * at + 1, [p, y]] = 1.0, -(m + 1.0)
        rows[4 * at + 2, [y, g]] = most, -1.0
        rows[4 * at + 3, [p, g]] = 1.0, -1.0
    return sp.csr_array(rows), least
