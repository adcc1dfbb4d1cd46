"""A layout from round-trip times, for fleets without coordinates."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import floyd_warshall

from planner.fleet import Fleet, Floats
from planner.plan import Plan

Places = dict[str, tuple[float, float]]

_GOLDEN_ANGLE = np.pi * (3 - np.sqrt(5))  # spreads any number of spokes evenly
_SITES_ASKED = 2000  # for distances between hubs; more change little and cost time


def schematic_places(fleet: Fleet, plan: Plan) -> tuple[Places, Places]:
    """Return a place for each site and each hub, in ms.

    Hubs stand by classical scaling (Torgerson 1952) of the least RTT from one to the other over any site. A site
    stands on a spoke of the hub that serves it, else of the nearest known one: as far out as its RTT, in a direction
    that means nothing. Sites without any known RTT have no place.
    """
    pairs = _known_pairs(fleet, plan)
    hubs = tuple(dict.fromkeys((*fleet.hub_ids, *pairs["hub"])))
    table = pairs.pivot_table(index="site", columns="hub", values="rtt_ms", aggfunc="median").reindex(columns=hubs)
    between = _between_hubs(table.fillna(np.inf).to_numpy(dtype=np.float64)[:_SITES_ASKED], len(hubs))
    hub_places = dict(zip(hubs, map(tuple, classical_scaling(between).tolist()), strict=True))
    return _on_spokes(pairs, plan, hub_places), hub_places


def classical_scaling(distances: Floats) -> Floats:
    """Return points in the plane, shape (n, 2), whose distances come close to ``distances``, shape (n, n).

    Exact, up to turns and reflections, where ``distances`` are those of points in a plane. Torgerson,
    "Multidimensional scaling: I. Theory and method", Psychometrika 17 (1952).
    """
    n = len(distances)
    centring = np.eye(n) - 1.0 / max(n, 1)
    values, vectors = np.linalg.eigh(-0.5 * centring @ distances**2 @ centring)
    values, vectors = values[::-1][:2], vectors[:, ::-1][:, :2]
    # The sign of an eigenvector is the library's choice; fixed here, so that the picture is the same everywhere.
    signs = np.sign(vectors[np.abs(vectors).argmax(axis=0), range(vectors.shape[1])]) if n else 1.0
    points = vectors * signs * np.sqrt(np.maximum(values, 0.0))
    return np.pad(points, ((0, 0), (0, 2 - points.shape[1])))


def _known_pairs(fleet: Fleet, plan: Plan) -> pd.DataFrame:
    columns = ["site", "hub", "rtt_ms"]
    planned = pd.DataFrame([(a.site, a.hub, a.rtt_ms) for a in plan.assignments], columns=columns)
    pairs = pd.concat([frame[columns] for frame in (planned, fleet.latency, fleet.samples) if len(frame)] or [planned])
    return pairs.dropna().astype({"rtt_ms": np.float64})


def _between_hubs(rtt: Floats, hubs: int) -> Floats:
    """Return the least sum of two RTTs of one site, over chains where no site knows both hubs; shape (hubs, hubs)."""
    between = np.full((hubs, hubs), np.inf)
    for hub in range(hubs if len(rtt) else 0):
        between[hub] = (rtt[:, [hub]] + rtt).min(axis=0)
    np.fill_diagonal(between, 0.0)
    between = floyd_warshall(np.where(np.isinf(between), 0.0, between), directed=False)  # 0 is no edge there
    finite = between[np.isfinite(between)]
    # Hubs that nothing connects stand well apart.
    return np.where(np.isinf(between), 1.5 * max(finite.max(initial=0.0), 10.0), between)


def _on_spokes(pairs: pd.DataFrame, plan: Plan, hubs: Places) -> Places:
    nearest = pairs.sort_values(["rtt_ms", "hub"]).drop_duplicates("site")
    chosen = {site: (hub, rtt) for site, hub, rtt in nearest[["site", "hub", "rtt_ms"]].itertuples(index=False)}
    chosen.update({a.site: (a.hub, a.rtt_ms) for a in plan.assignments})
    spokes: dict[str, list[tuple[str, float]]] = {}
    for site, (hub, rtt) in sorted(chosen.items()):
        spokes.setdefault(hub, []).append((site, rtt))
    return {
        site: place
        for hub, sites in spokes.items()
        for site, place in zip((s for s, _ in sites), _spread(hubs[hub], [rtt for _, rtt in sites]), strict=True)
    }


def _spread(centre: tuple[float, float], radii: Sequence[float]) -> list[tuple[float, float]]:
    angles = _GOLDEN_ANGLE * np.arange(len(radii))
    x, y = centre[0] + np.array(radii) * np.cos(angles), centre[1] + np.array(radii) * np.sin(angles)
    return list(zip(x.tolist(), y.tolist(), strict=True))
