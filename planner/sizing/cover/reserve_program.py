"""The model of reserve as arrays; see `cover.reserve_model` for what it says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.arrays import as_floats, indices, int_array
from planner.fleet import Floats, Ints
from planner.sizing.solvers.highs import LinearProgram
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Term, add_distance, add_new_hosts, add_room

if TYPE_CHECKING:
    from planner.sizing.cover.reserve_model import ReserveModel, Whole

Box = tuple[Floats, Floats]  # least and most hosts of each pool (P,)


@dataclass(frozen=True)
class _Columns:
    """Positions: n (P,), ``room`` s and t (P + shares,), [s_q >= k] of every (q, k)."""

    n: Ints
    room: Ints
    sizes: dict[tuple[int, int], int]


def build_program(model: ReserveModel, whole: Whole, box: Box | None) -> LinearProgram:
    """Return the model as arrays.

    Columns: n, s and t, then [s_q >= k] for every pool and size that sites kept together want, the distances
    |n_p - r_p| and |s_p - r_p|, and hosts to add.
    """
    rows = ModelBuilder()
    columns = _columns(rows, model, whole, box)
    _add_cuts(rows, model, columns)
    of_pools = columns.room[: model.pools]
    reserve = Loads(indices(of_pools), of_pools, np.ones(model.pools))
    add_room(rows, model.losses.room, columns.n, [reserve])
    _add_shares(rows, model, columns)
    _add_sizes(rows, model, columns)
    half_a_tie = model.tie(whole) / 2.0
    for at, reference, farthest in zip((columns.n, of_pools), model.reference, model.farthest, strict=True):
        add_distance(rows, at, reference, half_a_tie / farthest)
    _add_totals(rows, model, columns)
    return rows.program()


def _columns(rows: ModelBuilder, model: ReserveModel, whole: Whole, box: Box | None) -> _Columns:
    """Add n, s, t and the columns of sizes."""
    most = as_floats(model.problem.max_hosts)
    low, high = (np.zeros_like(most), most) if box is None else box
    whole_hosts = whole in ("hosts", "all")
    n = rows.block(model.pools, model.price, high, whole_hosts, low)
    least_room, most_room = _limits_of_room(model, box)
    all_whole = whole == "all"
    room = rows.block(len(least_room), upper=most_room, whole=all_whole, lower=least_room)
    wanted: set[tuple[int, int]] = set()
    for wish in model.kept_together:
        wanted.update((q, wish.clusters) for q in wish.standbys.tolist())
    sizes = rows.block(len(wanted), upper=1.0, whole=whole != "none")
    column_of = dict(zip(sorted(wanted), sizes.tolist(), strict=True))
    return _Columns(n, room, column_of)


def _limits_of_room(model: ReserveModel, box: Box | None) -> tuple[Floats, Floats]:
    """Return the least and the most of s and t, both of shape (P + shares,)."""
    pools = model.pools
    room = model.losses.room * model.problem.max_hosts
    lower = np.zeros(pools + model.shares.count)
    of_shares = np.full(model.shares.count, room.max(initial=0))
    upper = as_floats(np.concatenate((room, of_shares)))
    if model.floor is not None:
        lower[:pools] = model.floor
    if model.taken is not None and box is not None:
        beside = model.losses.room * box[1] - model.taken.load
        most = np.maximum(0.0, beside)
        upper[:pools] = np.minimum(upper[:pools], most)
        ready = np.ceil(model.taken.ready)
        np.maximum.at(lower, model.shares.column, ready)
    return lower, upper


def _add_cuts(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add the inequalities on host counts alone, then the cuts."""
    for room, demand in model.known:
        rows.at_least([(columns.n, as_floats(room))], demand)
    for cut in model.cuts:
        hosts = np.flatnonzero(cut.on_hosts)
        kept = np.flatnonzero(cut.on_room)
        on_hosts: Term = columns.n[hosts], cut.on_hosts[hosts]
        on_room: Term = columns.room[kept], cut.on_room[kept]
        rows.at_least([on_hosts, on_room], cut.demand)


def _add_totals(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add hosts to add, and what plans cost at least."""
    price: list[Term] = [(columns.n, model.price)]
    if model.extra:
        new = add_new_hosts(rows, model.problem.existing, columns.n, model.extra)
        price.append((new, model.extra))
    rows.at_least(price, model.least)


def _add_shares(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add that shares add up to no more than the room they are of."""
    for shares, q in model.shares.limits:
        of_pool: Term = columns.room[[q]], 1.0
        rows.at_least([of_pool, (columns.room[shares], -1.0)], 0.0)


def _add_sizes(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add s_q >= k [s_q >= k], and that one of them is chosen for every wish."""
    for (q, clusters), size in columns.sizes.items():
        both = np.array([columns.room[q], size])
        enough = np.array([1.0, -float(clusters)])
        rows.at_least([(both, enough)], 0.0)
    for wish in model.kept_together:
        at = [(q, wish.clusters) for q in wish.standbys.tolist()]
        chosen = int_array([columns.sizes[wanted] for wanted in at])
        rows.at_least([(chosen, 1.0)], 1.0)
