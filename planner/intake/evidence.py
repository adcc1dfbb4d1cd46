"""Checks of how well round-trip times are known: their age, and what the policy accepts."""

import numpy as np
import pandas as pd

from planner.counted_words import counted
from planner.fleet import Bools, Fleet
from planner.intake.draft import Draft
from planner.intake.findings import Place, show

_FEW = 0.1  # gaps for each known pair; where more lack, only near pairs were measured


def accepted(draft: Draft, fleet: Fleet) -> None:
    """Say what is known and not used: estimates and modelled times that the policy does not accept."""
    policy, place = fleet.policy, draft.policy.places.get("accepted_evidence", Place())
    if policy.unknown_latency == "estimate" and policy.accepted_evidence != "estimated":
        draft.findings.add("estimates_unused", place, "accepted_evidence", value=policy.accepted_evidence)
    if policy.accepted_evidence == "measured" and len(fleet.links):
        draft.findings.add("links_unused", place, "accepted_evidence")


def ages(draft: Draft, fleet: Fleet) -> None:
    """Report old, undated and future measurements, where the policy says what is old."""
    most = fleet.policy.max_age_days
    if most is None:
        return
    effect = {"warn": "they are used all the same", "ineligible": "these pairs are ineligible"}
    words = {"days": most, "as_of": fleet.as_of, "effect": effect[fleet.policy.old_latency]}
    measured = _dated_pairs(fleet)
    place = draft.policy.places.get("max_age_days", Place())
    day = pd.Timestamp(fleet.as_of)
    undated = measured["at"].isna()
    if undated.any():
        draft.findings.add("latency_undated", place, "max_age_days", pairs=int(undated.sum()), **words)
    old = measured[(day - measured["at"].dt.normalize()).dt.days > most]
    if len(old):
        first = old.loc[old["at"].idxmin()]
        oldest = f"{show(first['site'])} to {show(first['hub'])} on {first['at'].date()}"
        draft.findings.add("latency_old", place, "max_age_days", pairs=len(old), oldest=oldest, **words)
    future = measured["at"].dt.normalize() > day + pd.Timedelta(days=1)  # a day for time zones
    if future.any():
        draft.findings.add("latency_future", place, "max_age_days", pairs=int(future.sum()), **words)


def _dated_pairs(fleet: Fleet) -> pd.DataFrame:
    """Return site, hub and time of each measured pair: of the Latency sheet, else of the last of its probes."""
    stated = fleet.latency[fleet.latency["rtt_ms"].notna()]
    table = pd.DataFrame({"site": stated["site"], "hub": stated["hub"], "at": stated["measured_at"]}).astype(
        {"site": object, "hub": object}
    )
    probes = fleet.samples[["site", "hub", "at"]].astype({"site": object, "hub": object})
    last = pd.DataFrame(probes.groupby(["site", "hub"], sort=False, as_index=False)["at"].max())
    known = set(zip(table["site"], table["hub"], strict=True))
    more = [pair not in known for pair in zip(last["site"], last["hub"], strict=True)]
    return pd.concat([table, last.loc[more]], ignore_index=True) if any(more) else table


def gaps(draft: Draft, fleet: Fleet) -> None:
    """Name the pairs without a round-trip time where almost all others of measured sites and hubs have one."""
    if draft.latency is None or draft.findings.any_error or len(fleet.links):
        return
    known = np.zeros((len(draft.site_ids.ids), len(draft.hub_ids.ids)), dtype=np.bool_)
    for rows in filter(None, (draft.latency, draft.samples)):
        timed = rows.frame["rtt_ms"].notna().to_numpy(dtype=np.bool_)
        known[rows.site[timed], rows.hub[timed]] = True
    of_sites: Bools = np.asarray(known.any(axis=1, keepdims=True))
    of_hubs: Bools = np.asarray(known.any(axis=0, keepdims=True))
    lacking = ~known & of_sites & of_hubs
    if not 0 < lacking.sum() <= _FEW * known.sum():
        return
    pairs = [f"{draft.site_ids.ids[site]} to {draft.hub_ids.ids[hub]}" for site, hub in np.argwhere(lacking).tolist()]
    example = draft.findings.some(pairs)
    said = f"{counted(len(pairs), 'pair')} of site and hub {'has' if len(pairs) == 1 else 'have'}"
    draft.findings.add("latency_gaps", Place(draft.latency.raw.file), pairs=said, example=example)


CHECKS = (accepted, ages, gaps)
