"""Fleets as they would be if some pairs were measured, and the pairs of which a measurement could change anything."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from planner import columns
from planner.fleet import Bools, Fleet, Floats, Ints, positions, typed_table
from planner.latency import EVIDENCE, distance_km, estimate_range_ms
from planner.latency.distance import FIBRE_MS_PER_KM, hub_coordinates
from planner.plan import Outcome
from planner.rules import Checker

Pair = tuple[str, str]  # site and hub
_MOST_PAIRS = 2_000_000  # of sites and hubs, known or not: beyond it unknown pairs are not looked at
_FAR_MS = 60_000.0


@dataclass(frozen=True)
class OpenPairs:
    """Pairs (E,) by positions of their ``site`` and ``hub`` in the fleet, with a guess of the round-trip time in ms."""

    site: Ints
    hub: Ints
    guess: Floats

    def __len__(self) -> int:
        return len(self.site)

    def named(self, fleet: Fleet) -> dict[Pair, float]:
        """Return the guess of each pair by its names."""
        sites = map(fleet.site_ids.__getitem__, self.site.tolist())
        hubs = map(fleet.hub_ids.__getitem__, self.hub.tolist())
        return dict(zip(zip(sites, hubs, strict=True), self.guess.tolist(), strict=True))


def assumed(fleet: Fleet, pairs: Sequence[Pair], outcome: Outcome) -> Fleet:
    """Return ``fleet`` with each of ``pairs`` measured on the policy's day: exactly its budget, or beyond any."""
    site = positions([site for site, _ in pairs], fleet.site_ids)
    hub = positions([hub for _, hub in pairs], fleet.hub_ids)
    return assumed_at(fleet, site, hub, outcome)


def assumed_at(fleet: Fleet, site: Ints, hub: Ints, outcome: Outcome) -> Fleet:
    """Return `assumed` for pairs that are given by the positions of their ``site`` and ``hub`` (E,) in the fleet."""
    table = fleet.latency
    width = max(len(fleet.hub_ids), 1)
    wanted = site * width + hub
    rtt_ms = fleet.budgets_ms[site] if outcome == "within" else np.full(len(site), _FAR_MS)
    loss = np.zeros(len(site)) if outcome == "within" else np.full(len(site), np.nan)
    order = np.argsort(wanted)
    stated = positions(table["site"], fleet.site_ids) * width + positions(table["hub"], fleet.hub_ids)
    at = np.minimum(np.searchsorted(wanted[order], stated), max(len(wanted) - 1, 0))
    same: Bools = wanted[order][at] == stated if len(wanted) else np.zeros(len(stated), dtype=np.bool_)
    changed = table.copy()
    moment = pd.Timestamp(fleet.as_of)
    changed.loc[same, "rtt_ms"] = rtt_ms[order][at[same]]
    changed.loc[same, "loss_percent"] = loss[order][at[same]]
    changed.loc[same, "measured_at"] = moment
    new = ~np.isin(wanted, stated)
    sites, hubs = pd.Index(fleet.site_ids, dtype=object), pd.Index(fleet.hub_ids, dtype=object)
    frames = []
    for frame, of_site, of_hub in (
        (changed, positions(table["site"], fleet.site_ids), positions(table["hub"], fleet.hub_ids)),
        (_rows(rtt_ms[new], loss[new], moment), site[new], hub[new]),
    ):
        if len(frame):
            ids = {"site": pd.Categorical.from_codes(of_site, sites), "hub": pd.Categorical.from_codes(of_hub, hubs)}
            frames.append(frame[list(columns.LATENCY.names)].assign(**ids))
    return fleet.replace(latency=pd.concat(frames, ignore_index=True) if frames else table)


def _rows(rtt_ms: Floats, loss: Floats, moment: pd.Timestamp) -> pd.DataFrame:
    given = {"rtt_ms": rtt_ms, "loss_percent": loss, "measured_at": [moment] * len(rtt_ms)}
    return typed_table(columns.LATENCY, given, len(rtt_ms))


def open_pairs(fleet: Fleet, checker: Checker) -> OpenPairs:
    """Return the pairs of sites that need a host which may not be used now and could be if measured, with a guess.

    The guess is a round-trip time in ms, 0 where there is none. They are the unknown ones, those whose evidence or
    age the policy does not accept, and estimates beyond the budget; not those too far for fibre in a straight line.
    A modelled time beyond the budget is none of them: no path of the Links is faster.
    """
    known, width = checker.facts.latency, len(fleet.hub_ids)
    budget = fleet.budgets_ms
    weaker = known.evidence > EVIDENCE.index(fleet.policy.accepted_evidence)
    estimated = known.evidence == EVIDENCE.index("estimated")
    low = np.where(estimated, estimate_range_ms(1.0)[0], 1.0) * known.rtt_ms
    over = known.rtt_ms > budget[known.site]
    possible = (weaker | _old(fleet, checker) | (estimated & over)) & (low <= budget[known.site])
    possible &= checker.needs_host[known.site]
    keys = known.site.astype(np.int64) * width + known.hub
    open_keys, guess = keys[possible], known.rtt_ms[possible]
    if len(fleet.site_ids) * width <= _MOST_PAIRS:
        is_unknown = np.repeat(checker.needs_host, width)
        is_unknown[keys] = False
        unknown = np.flatnonzero(is_unknown)
        fibre = _guesses(fleet, unknown)
        near = ~(fibre > budget[unknown // width])
        open_keys = np.concatenate((open_keys, unknown[near]))
        guess = np.concatenate((guess, np.nan_to_num(fibre[near])))
    site, hub = np.divmod(open_keys, max(width, 1))
    return OpenPairs(site, hub, guess)


def _old(fleet: Fleet, checker: Checker) -> Bools:
    """Return which known pairs the policy bars for their age."""
    known, policy = checker.facts.latency, fleet.policy
    if policy.max_age_days is None or policy.old_latency != "ineligible":
        return np.zeros(len(known), dtype=np.bool_)
    age = np.datetime64(fleet.as_of, "D") - known.measured_at.astype("datetime64[D]")
    old: Bools = ~(age <= np.timedelta64(policy.max_age_days, "D")) & (known.evidence == EVIDENCE.index("measured"))
    return old


def _guesses(fleet: Fleet, keys: Ints) -> Floats:
    """Return the round-trip time in ms of fibre in a straight line; NaN where a place is not known."""
    site, hub = np.divmod(keys, max(len(fleet.hub_ids), 1))
    at, hubs = fleet.sites[["latitude", "longitude"]].to_numpy(dtype=np.float64), hub_coordinates(fleet)
    return 2.0 * FIBRE_MS_PER_KM * distance_km(at[site, 0], at[site, 1], hubs[hub, 0], hubs[hub, 1])
