"""The model of reserve as arrays; see `cover.reserve_model` for what it says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planner.arrays import as_floats, int_array
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
    add_room(
        rows, model.losses.room, columns.n, [Loads(np.arange(model.pools), columns.room[: model.pools], _one(model))]
    )
    _add_shares(rows, model, columns)
    _add_sizes(rows, model, columns)
    for at, reference, farthest in zip(
        (columns.n, columns.room[: model.pools]), model.reference, model.farthest, strict=True
    ):
        add_distance(rows, at, reference, model.tie(whole) / 2.0 / farthest)
    _add_totals(rows, model, columns)
    return rows.program()


def _one(model: ReserveModel) -> Floats:
    return np.ones(model.pools)


def _columns(rows: ModelBuilder, model: ReserveModel, whole: Whole, box: Box | None) -> _Columns:
    """Add n, s, t and the columns of sizes."""
    most = as_floats(model.problem.max_hosts)
    low, high = (np.zeros_like(most), most) if box is None else box
    n = rows.block(model.pools, model.price, high, whole in ("hosts", "all"), low)
    least_room, most_room = _limits_of_room(model, box)
    room = rows.block(len(least_room), upper=most_room, whole=whole == "all", lower=least_room)
    wanted = sorted({(q, wish.clusters) for wish in model.kept_together for q in wish.standbys.tolist()})
    sizes = rows.block(len(wanted), upper=1.0, whole=whole != "none")
    return _Columns(n, room, dict(zip(wanted, sizes.tolist(), strict=True)))


def _limits_of_room(model: ReserveModel, box: Box | None) -> tuple[Floats, Floats]:
    """Return the least and the most of s and t, both of shape (P + shares,)."""
    pools = model.pools
    room = model.losses.room * model.problem.max_hosts
    lower = np.zeros(pools + model.shares.count)
    upper = as_floats(np.concatenate((room, np.full(model.shares.count, room.max(initial=0)))))
    if model.floor is not None:
        lower[:pools] = model.floor
    if model.taken is not None and box is not None:
        beside = model.losses.room * box[1] - model.taken.load
        upper[:pools] = np.minimum(upper[:pools], np.maximum(0.0, beside))
        np.maximum.at(lower, model.shares.column, np.ceil(model.taken.ready))
    return lower, upper


def _add_cuts(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add the inequalities on host counts alone, then the cuts."""
    for room, demand in model.known:
        rows.row([(columns.n, as_floats(room))], demand, np.inf)
    for cut in model.cuts:
        hosts = np.flatnonzero(cut.on_hosts)
        kept = np.flatnonzero(cut.on_room)
        terms: list[Term] = [(columns.n[hosts], cut.on_hosts[hosts]), (columns.room[kept], cut.on_room[kept])]
        rows.row(terms, cut.demand, np.inf)


def _add_totals(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add hosts to add, and what plans cost at least."""
    price: list[Term] = [(columns.n, model.price)]
    if model.extra:
        price.append((add_new_hosts(rows, model.problem.existing, columns.n, model.extra), model.extra))
    rows.row(price, model.least, np.inf)
    rows.row([(columns.n, 1.0)], model.fewest, np.inf)


def _add_shares(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add that shares add up to no more than the room they are of."""
    for shares, q in model.shares.limits:
        rows.row([(columns.room[[q]], 1.0), (columns.room[shares], -1.0)], 0.0, np.inf)


def _add_sizes(rows: ModelBuilder, model: ReserveModel, columns: _Columns) -> None:
    """Add s_q >= k [s_q >= k], and that one of them is chosen for every wish."""
    for (q, clusters), size in columns.sizes.items():
        rows.row([(np.array([columns.room[q], size]), np.array([1.0, -float(clusters)]))], 0.0, np.inf)
    for wish in model.kept_together:
        chosen = int_array([columns.sizes[q, wish.clusters] for q in wish.standbys.tolist()])
        rows.row([(chosen, 1.0)], 1.0, np.inf)
