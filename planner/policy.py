"""The policy of a plan, checked against the table of settings, and findings: what is wrong with an input."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from planner import columns
from planner.columns import Column
from planner.errors import InputError
from planner.values import Unfit, fitting

Severity = Literal["error", "warning", "info"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One problem in an input.

    ``where`` is the sheet and cell as the user sees them (``"Sites!F17"``, rows counted with hidden
    and blank ones), a sheet, or empty when the finding concerns the whole ``file``.
    """

    severity: Severity
    code: str
    where: str
    message: str
    hint: str = ""
    file: str = ""

    def __str__(self) -> str:
        place = " ".join(part for part in (self.file, self.where) if part)
        hint = f" {self.hint}" if self.hint else ""
        return f"{place}: {self.message}{hint}" if place else f"{self.message}{hint}"


def fitted(where: str, asked: Iterable[tuple[Column, Any, Any]]) -> list[Any]:
    """Return values as their columns take them; ``asked`` are column, value, and default, see `planner.values.fitting`.

    Raises InputError with a finding at ``where`` for each value that its column does not take.
    """
    values, wrong = [], []
    for column, value, default in asked:
        try:
            values.append(fitting(column, value, default))
        except Unfit as unfit:
            wrong.append(Finding("error", unfit.code, where, f"{column.name} {unfit}"))
    if wrong:
        raise InputError(tuple(wrong))
    return values


_SETTINGS: Mapping[str, Column] = {setting.name: setting for setting in columns.SETTINGS}


@dataclass(frozen=True, slots=True)
class Policy:
    """The settings of a plan; names, units, limits and defaults are those of `planner.columns.SETTINGS`.

    Raises InputError, with a finding for each setting that is not what its row of the table takes.
    """

    cluster_cap: int = 64
    release_floor: str = ""
    latency_budget_ms: float | None = None
    reserve_percent: float = 0.0
    cover: Literal["none", "host", "hub", "zone"] = "none"
    loss_uses_reserve: bool = False
    loss_latency_budget_ms: float | None = None
    max_blast_radius: int | None = None
    max_blast_radius_hub: int | None = None
    max_blast_radius_zone: int | None = None
    max_share_percent: float | None = None
    max_share_percent_hub: float | None = None
    max_share_percent_zone: float | None = None
    host_release_rule: Literal["not_older", "any", "same_major"] = "not_older"
    unknown_latency: Literal["ineligible", "estimate"] = "ineligible"
    accepted_evidence: Literal["measured", "modelled", "estimated"] = "estimated"
    max_age_days: int | None = None
    old_latency: Literal["warn", "ineligible"] = "warn"
    as_of: str = ""
    third_location_km: float = 0.0
    objective: Literal["hosts", "new_hosts", "cost"] = "hosts"
    then: str = "moves latency"
    tie_breaker_kbps: float = 0.0
    management_floor: str = ""
    node_link_gbps: float = 10.0
    node_links: int = 2
    service_link_gbps: float = 1.0
    uplink_share_percent: float = 100.0
    split_sites: bool = False
    keep_served: bool = False
    max_hosts_per_hub: int = 10
    host_rack_units: int = 1
    percentile: float = 95.0
    max_loss_percent: float = 1.0
    fleet_id: str = ""
    last_plan: int | None = None
    last_plan_hash: str = ""
    last_plan_follows: str = ""
    currency: str = ""
    host_cost: float | None = None
    own_tie_breaker_cost: float | None = None
    host_release: str = ""
    timezone: str = ""
    window: str = ""
    rollout_start: str = ""  # ISO date
    sites_per_wave: int | None = None
    sites_per_region: int | None = None
    sites_per_host: int | None = None
    sites_per_crew: int | None = None
    crews: int = 1
    pilot_sites: int = 3
    wave_growth: float = 3.0
    pilot_days: int = 1
    neighbour_days: int = 1
    site_minutes: int = 30
    host_minutes: int = 120
    node_availability_percent: float | None = None
    node_mtbf_hours: float | None = None
    node_mttr_hours: float | None = None
    site_uplink_availability_percent: float | None = None
    site_uplink_mtbf_hours: float | None = None
    site_uplink_mttr_hours: float | None = None
    host_availability_percent: float | None = None
    host_mtbf_hours: float | None = None
    host_mttr_hours: float | None = None
    hub_availability_percent: float | None = None
    hub_mtbf_hours: float | None = None
    hub_mttr_hours: float | None = None
    hub_uplink_availability_percent: float | None = None
    hub_uplink_mtbf_hours: float | None = None
    hub_uplink_mttr_hours: float | None = None
    rehoming_minutes: float | None = None
    period: Literal["year", "quarter", "month"] = "year"
    periods: int = 5
    discount_percent: float = 0.0
    years: float = 5.0
    kwh_cost: float = 0.0
    visit_cost: float = 0.0
    lead_time_days: int | None = None
    spare_percent: float = 0.0

    def __post_init__(self) -> None:
        given = dataclasses.fields(self)
        asked = [(_SETTINGS[one.name], getattr(self, one.name), one.default) for one in given]
        for one, value in zip(given, fitted("Policy", asked), strict=True):
            object.__setattr__(self, one.name, value)

    def replace(self, **changes: Any) -> Policy:
        """Return a copy with ``changes`` made.

        Raises TypeError for a name that is no setting, and InputError for values as `Policy` does.
        """
        return dataclasses.replace(self, **changes)
