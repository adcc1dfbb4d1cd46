"""Whether two fleets are one at two times: their ids, and sites that may only have another name."""

from __future__ import annotations

from collections.abc import Iterator

from planner.counted_words import first_few
from planner.fleet import Fleet

_LEAST_TIMES = 2  # round-trip times that tell a site from others


def doubtful_identity(old: Fleet, new: Fleet) -> Iterator[str]:
    """Yield a note where the fleets have different ids, and where closed sites came back under other ids."""
    before, after = old.policy.fleet_id, new.policy.fleet_id
    if before and after and before != after:
        yield f"These are two fleets: the setting fleet_id is {before} in the old one and {after} in the new one."
    renamed = [f"{one} -> {other}" for one, other in _perhaps_renamed(old, new)]
    if renamed:
        yield (
            f"Perhaps only renamed, since they have the same round-trip times: {first_few(renamed)}. "
            "They count as closed and opened."
        )


def _perhaps_renamed(old: Fleet, new: Fleet) -> Iterator[tuple[str, str]]:
    """Yield closed and opened sites that have the same clusters and round-trip times, where only one fits."""
    closed = _by_times(old, set(old.site_ids) - set(new.site_ids))
    opened = _by_times(new, set(new.site_ids) - set(old.site_ids))
    for times, sites in closed.items():
        others = opened.get(times, [])
        if len(sites) == len(others) == 1:
            yield sites[0], others[0]


def _by_times(fleet: Fleet, wanted: set[str]) -> dict[tuple[object, ...], list[str]]:
    rows = fleet.latency[fleet.latency["site"].isin(wanted)]
    times: dict[str, list[tuple[str, float]]] = {}
    for site, hub, rtt in zip(rows["site"], rows["hub"], rows["rtt_ms"], strict=True):
        times.setdefault(site, []).append((hub, rtt))
    clusters = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    found: dict[tuple[object, ...], list[str]] = {}
    for site, own in sorted(times.items()):
        if len(own) >= _LEAST_TIMES:
            found.setdefault((clusters[site], *sorted(own)), []).append(site)
    return found
