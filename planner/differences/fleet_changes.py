"""Two fleets -> every cell, setting and pair in which they differ, with the cause that it may be of a difference."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from planner import columns
from planner.columns import Sheet
from planner.differences.difference import Cause, FleetChange
from planner.fleet import Fleet
from planner.identity import fleet_id
from planner.latency import resolve

RELEASES = frozenset({"release", "target_release", "host_release", "host_release_today"})
# What no plan is made from: for people, rollouts, horizons, readiness and availability. Whatever is not listed counts.
_UPTIME = ("_availability_percent", "_mtbf_hours", "_mttr_hours")
_OF_NO_PLAN = frozenset(
    (
        *("name", "owner", "node_locations", "node_link", "node_link_gbps", "node_links", "service_link_gbps"),
        *("storage_tiers", "storage_groups", "cache_devices", "tie_breaker_net", "storage_net", "management_net"),
        *("timezone", "window", "crew", "neighbours", "opens", "closes", "priority"),
        *("lead_time_days", "spare_percent"),
        *(
            "fleet_id",
            "last_plan",
            "last_plan_hash",
            "last_plan_follows",
            "management_floor",
            "currency",
            "rollout_start",
            "sites_per_wave",
            "sites_per_region",
            "sites_per_host",
        ),
        *("sites_per_crew", "crews", "pilot_sites", "wave_growth", "pilot_days", "neighbour_days", "site_minutes"),
        *("host_minutes", "rehoming_minutes", "period", "periods"),
    )
)


def counts(sheet: Sheet, column: str) -> bool:
    """Say whether plans are made from a column of Sites or Hubs, or a setting."""
    alone = (columns.SITES, "uplink_mbps"), (columns.HUBS, "region")  # read by no rule, unlike those of the other sheet
    return column not in _OF_NO_PLAN and not column.endswith(_UPTIME) and (sheet, column) not in alone


def fleet_changes(old: Fleet, new: Fleet) -> tuple[FleetChange, ...]:
    """Return every difference of two fleets: policy, hubs, sites, round-trip times, prices.

    Round-trip times are those that plans go by, of sites and hubs that both have, under the policy of ``new``.
    """
    return (
        *_of_policy(old, new),
        *_of_table(old.pools, new.pools, columns.HUBS, "pool"),
        *_of_table(old.sites, new.sites, columns.SITES, "site"),
        *_of_pairs(old, new),
        *_of_table(old.prices, new.prices, columns.PRICES, "item"),
    )


def text_of(value: Any) -> str:
    """Return a cell as text, "" for a blank.

    >>> text_of(40.0), text_of(("A", "B")), text_of(float("nan")), text_of(True)
    ('40', 'A; B', '', 'yes')
    """
    if isinstance(value, tuple):
        return "; ".join(value)
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _of_policy(old: Fleet, new: Fleet) -> Iterator[FleetChange]:
    for setting in dataclasses.fields(old.policy):
        if setting.name.startswith("last_plan"):  # which plans there were is no difference of fleets
            continue
        before, after = (text_of(getattr(fleet.policy, setting.name)) for fleet in (old, new))
        if setting.name == "fleet_id" and fleet_id(old) == fleet_id(new):  # it was derived, and is written down now
            continue
        if before != after:
            cause: Cause = "policy" if counts(columns.POLICY, setting.name) else "other"
            yield FleetChange(cause, "Policy", setting.name, "value", before, after)


def _of_table(old: pd.DataFrame, new: pd.DataFrame, sheet: Sheet, key: str) -> Iterator[FleetChange]:
    before, after = (table.drop_duplicates(key).set_index(key, drop=False) for table in (old, new))
    gone: Cause = "closed" if key == "site" else _cause(sheet, "hub")
    come: Cause = "opened" if key == "site" else _cause(sheet, "hub")
    yield from (FleetChange(gone, sheet.name, row, key, row, "") for row in before.index.difference(after.index))
    yield from (FleetChange(come, sheet.name, row, key, "", row) for row in after.index.difference(before.index))
    both = before.index.intersection(after.index)
    for column in sheet.columns:
        if column.name == key:
            continue
        values = zip(both, before.loc[both, column.name], after.loc[both, column.name], strict=True)
        for row, one, other in values:
            if one != other and (texts := (text_of(one), text_of(other)))[0] != texts[1]:
                yield FleetChange(_cause(sheet, column.name), sheet.name, row, column.name, *texts)


def _cause(sheet: Sheet, column: str) -> Cause:
    """Return what a change of ``column`` may be the cause of."""
    if sheet is columns.PRICES:
        return "prices"
    if column in RELEASES:
        return "release"
    if not counts(sheet, column):
        return "other"
    return "site" if sheet is columns.SITES else "hub"


def _of_pairs(old: Fleet, new: Fleet) -> Iterator[FleetChange]:
    before, after = (_pairs(fleet.replace(policy=new.policy)) for fleet in (old, new))
    sites, hubs = set(old.site_ids) & set(new.site_ids), set(old.hub_ids) & set(new.hub_ids)
    both = before.merge(after, on=["site", "hub"], how="outer", suffixes=("_old", "_new"))
    both = both[both["site"].isin(sites) & both["hub"].isin(hubs)]
    for column in ("rtt_ms", "loss_percent", "pair_cost"):
        one, other = both[f"{column}_old"], both[f"{column}_new"]
        for row in both[(one != other) & ~(one.isna() & other.isna())].itertuples(index=False):
            before_text, after_text = (text_of(getattr(row, f"{column}_{side}")) for side in ("old", "new"))
            yield FleetChange("latency", "Latency", str(row.site), column, before_text, after_text, str(row.hub))


def _pairs(fleet: Fleet) -> pd.DataFrame:
    """Return what is known of each pair of site and hub."""
    known = resolve(fleet)
    return pd.DataFrame(
        {
            "site": np.array(fleet.site_ids, dtype=object)[known.site],
            "hub": np.array(fleet.hub_ids, dtype=object)[known.hub],
            "rtt_ms": known.rtt_ms,
            "loss_percent": known.loss_percent,
            "pair_cost": known.pair_cost,
        }
    )
