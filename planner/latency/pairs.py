"""The table of known pairs, and `resolve`, which fills it from the sources in their order of trust."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from planner.fleet import Fleet, Ints
from planner.latency.distance import from_distance
from planner.latency.figures import PairFigures, undated
from planner.latency.measured import from_caller, from_latency_sheet, from_samples
from planner.latency.round_trips import EVIDENCE, Kinds, RoundTrips
from planner.latency.wan import from_links

_MEASURED, _MODELLED, _ESTIMATED = range(3)


@dataclass(frozen=True, eq=False)
class PairTable(RoundTrips):
    """One row for each site-hub pair whose round-trip time is known, sorted by site, hub.

    ``site`` and ``hub`` are positions in ``fleet.site_ids`` and ``fleet.hub_ids``.
    """

    site: npt.NDArray[np.int32]
    hub: npt.NDArray[np.int32]


def resolve(fleet: Fleet) -> PairTable:
    """Return every pair of ``fleet`` with a known round-trip time.

    Each figure of a pair (RTT, loss, cost) comes from the first source that states it, in the order Latency sheet,
    Samples, Links, distance: a Latency row with a cost but no RTT keeps its cost when another source supplies the
    RTT, and gives no row when none does. Distances count only with the policy ``unknown_latency = estimate``, which
    considers every pair of sites and hubs; without it the work grows with the rows of the sheets.
    """
    sources = [
        (from_latency_sheet(fleet), _MEASURED),
        (from_samples(fleet), _MEASURED),
        *_of_callers(fleet, _MEASURED),
        (from_links(fleet), _MODELLED),
        *_of_callers(fleet, _MODELLED),
    ]
    if fleet.policy.unknown_latency == "estimate":
        known, _ = _combine(sources)
        sources.append((from_distance(fleet, known.key[~np.isnan(known.rtt_ms)]), _ESTIMATED))
    sources += _of_callers(fleet, _ESTIMATED)
    figures, evidence = _combine(sources)
    stated = ~np.isnan(figures.rtt_ms)
    site, hub = np.divmod(figures.key[stated], max(len(fleet.hub_ids), 1))
    return PairTable(
        site=site.astype(np.int32),
        hub=hub.astype(np.int32),
        rtt_ms=figures.rtt_ms[stated],
        loss_percent=figures.loss_percent[stated],
        pair_cost=np.nan_to_num(figures.pair_cost[stated]),
        evidence=evidence[stated],
        measured_at=figures.measured_at[stated],
    )


def _of_callers(fleet: Fleet, evidence: int) -> list[tuple[PairFigures, int]]:
    """Return the figures of the callers' own sources of one kind of evidence."""
    asked = (source for source in fleet.own_sources if source.evidence == EVIDENCE[evidence])
    return [(from_caller(fleet, source), evidence) for source in asked]


def _combine(sources: list[tuple[PairFigures, int]]) -> tuple[PairFigures, Kinds]:
    """Return each figure from the first of ``sources`` that states it, and the evidence for the RTT of each pair."""
    sources = [(figures, evidence) for figures, evidence in sources if len(figures.key)]
    if not sources:
        return PairFigures.none(), np.empty(0, dtype=np.int8)
    if len(sources) == 1:
        figures, evidence = sources[0]
        return figures, np.full(len(figures.key), evidence, dtype=np.int8)
    key = np.unique(np.concatenate([figures.key for figures, _ in sources]))
    rtt_ms, loss_percent, pair_cost = np.full((3, len(key)), np.nan)
    rests_on = np.zeros(len(key), dtype=np.int8)
    measured_at = undated(len(key))
    for figures, evidence in sources:
        at: Ints = np.searchsorted(key, figures.key)
        gives_rtt = np.isnan(rtt_ms[at]) & ~np.isnan(figures.rtt_ms)
        rests_on[at[gives_rtt]] = evidence
        measured_at[at[gives_rtt]] = figures.measured_at[gives_rtt]
        for column, stated in (
            (rtt_ms, figures.rtt_ms),
            (loss_percent, figures.loss_percent),
            (pair_cost, figures.pair_cost),
        ):
            column[at] = np.where(np.isnan(column[at]), stated, column[at])
    return PairFigures(key, rtt_ms, loss_percent, pair_cost, measured_at), rests_on
