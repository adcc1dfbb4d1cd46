"""Checks that need more than one cell: settings, prices, coordinates, releases, hosts and dates against each other."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from planner.fleet import Bools, Fleet
from planner.intake import evidence, running
from planner.intake.draft import Draft
from planner.intake.findings import Place, guess, show
from planner.intake.tables import TypedSheet

Check = Callable[[Draft, Fleet], None]


def _blank(sheet: TypedSheet, column: str) -> Bools:
    blank: Bools = (sheet.frame[column] == "").to_numpy(dtype=np.bool_)
    return blank


def _rows(mask: Bools) -> list[int]:
    rows: list[int] = np.flatnonzero(mask).tolist()
    return rows


def reserve_in_loss(draft: Draft, fleet: Fleet) -> None:
    """Note a setting on the reserve during a loss where there is no reserve, or no loss that counts."""
    policy = fleet.policy
    if policy.loss_uses_reserve and (policy.cover == "none" or not policy.reserve_percent):
        place = draft.policy.places["loss_uses_reserve"]
        draft.findings.add("loss_uses_reserve_idle", place, "loss_uses_reserve")


def latency_in_loss(draft: Draft, fleet: Fleet) -> None:
    """Note a latency budget for losses where no loss counts, and where it is below that of every day."""
    name, own = "loss_latency_budget_ms", fleet.sites["loss_latency_budget_ms"].to_numpy(dtype=np.float64)
    if fleet.policy.cover == "none":
        if name in draft.policy.places:
            draft.findings.note("loss_latency_idle", draft.policy.places[name], name)
        draft.note("loss_latency_idle", draft.sites, name, _rows(~np.isnan(own)))
        return
    draft.note("loss_latency_lower", draft.sites, name, _rows(own < fleet.budgets_ms))
    of_all = fleet.policy.loss_latency_budget_ms
    if of_all is not None and (of_all < fleet.budgets_ms[np.isnan(own) & fleet.needs_host]).any():
        draft.findings.note("loss_latency_lower", draft.policy.places[name], name)


def budgets(draft: Draft, fleet: Fleet) -> None:
    """Every site that needs a host must have a latency budget."""
    if not draft.is_wrong("latency_budget_ms"):
        draft.note(
            "budget_missing", draft.sites, "latency_budget_ms", _rows(np.isnan(fleet.budgets_ms) & fleet.needs_host)
        )


def prices(draft: Draft, fleet: Fleet) -> None:
    """Under the objective cost every host, and every own tie-breaker that may be chosen, must have a price."""
    if fleet.policy.objective != "cost":
        return
    if not draft.is_wrong("host_cost"):
        draft.note("host_cost_missing", draft.pools, "host_cost", _rows(np.isnan(fleet.host_costs)))
    if not draft.is_wrong("own_tie_breaker_cost"):
        missing = np.isnan(fleet.own_tie_breaker_costs) & (fleet.own_tie_breaker == "possible") & (fleet.clusters > 0)
        draft.note("own_cost_missing", draft.sites, "own_tie_breaker_cost", _rows(missing))


def sizes(draft: Draft, fleet: Fleet) -> None:
    """Clusters and weights are within what a plan can count exactly."""
    if fleet.too_large is None or draft.is_wrong("weight") or draft.is_wrong("clusters"):
        return
    finding, position = fleet.too_large
    column = "weight" if finding.code == "weights_apart" else "clusters"
    draft.findings.add(finding.code, draft.sites.place(position, column), column, message=finding.message)


def nodes(draft: Draft, fleet: Fleet) -> None:
    """A cluster has two data nodes."""
    given = fleet.sites["nodes"].to_numpy(dtype=np.float64)
    for position in _rows(~np.isnan(given) & (given != 2)):
        place = draft.sites.place(position, "nodes")
        draft.findings.add("nodes_not_two", place, "nodes", value=show(float(given[position])))


def host_counts(draft: Draft, fleet: Fleet) -> None:
    """No pool should have more hosts than fit."""
    for limit in fleet.host_limits:
        taken = limit.taken(fleet.existing_hosts)
        if taken > limit.most:
            place = draft.pools.place(int(limit.pools[0]), "existing_hosts")
            existing = f"{taken} hosts exist" if limit.column == "max_hosts" else f"Existing hosts need {taken}"
            draft.findings.add(
                "hosts_over", place, "existing_hosts", existing=existing, limit=limit.column, most=limit.most
            )


def current_hosts(draft: Draft, fleet: Fleet) -> None:
    """The hosts that Current names at a hub should exist there."""
    if draft.current is None:
        return
    existing = pd.Series(fleet.existing_hosts + fleet.retiring_of_pool).groupby(fleet.hub_of_pool).sum()
    named = draft.current.frame[~_blank(draft.current, "host")]
    for hub, rows in named.groupby("hub", sort=False):
        hosts = rows["host"].nunique()
        at_hub = int(existing[fleet.hub_ids.index(str(hub))])
        if hosts > at_hub:
            place = draft.current.place(int(rows.index[0]), "hub")
            draft.findings.add("current_hosts", place, "hub", value=f'"{hub}"', named=hosts, existing=at_hub)


def coordinates(draft: Draft, fleet: Fleet) -> None:
    """Rules and estimates by distance need coordinates; 0, 0 is hardly one."""
    codes = []
    if fleet.policy.third_location_km > 0:
        codes.append("coordinates_distance")
    if fleet.policy.unknown_latency == "estimate":
        codes.append("coordinates_estimate")
    for sheet, counts in ((draft.sites, fleet.needs_host), (draft.pools, True)):
        latitude, longitude = (sheet.frame[name].to_numpy(dtype=np.float64) for name in ("latitude", "longitude"))
        for code in codes:
            draft.note(code, sheet, "latitude", _rows((np.isnan(latitude) | np.isnan(longitude)) & counts))
        draft.note("coordinates_zero", sheet, "latitude", _rows((latitude == 0) & (longitude == 0)))


def releases(draft: Draft, fleet: Fleet) -> None:
    """A rule about releases cannot be checked where one is blank; a floor leaves such sites unserved."""
    needs, blank = fleet.needs_host, _blank(draft.sites, "release") & _blank(draft.sites, "target_release")
    if fleet.policy.release_floor:
        draft.note("release_floor_blank", draft.sites, "release", _rows(blank & needs))
    rule = fleet.policy.host_release_rule
    if rule != "any":
        host_blank = np.array([not text for text in fleet.host_releases], dtype=np.bool_)
        if not fleet.policy.release_floor:
            draft.note("release_unchecked", draft.sites, "release", _rows(blank & needs), rule=rule)
        draft.note("release_unchecked", draft.pools, "host_release", _rows(host_blank), rule=rule)


def dates(draft: Draft, fleet: Fleet) -> None:
    """A site does not close before it opens."""
    opens, closes = fleet.sites["opens"], fleet.sites["closes"]
    for position in _rows((opens > closes).to_numpy(dtype=np.bool_)):
        first, last = (column.iloc[position].date() for column in (opens, closes))
        draft.findings.add("dates_order", draft.sites.place(position, "closes"), "closes", opens=first, closes=last)


def freezes(draft: Draft, fleet: Fleet) -> None:
    """A freeze does not end before it begins, and has both days."""
    if draft.freezes is None:
        return
    for position, (first, last) in enumerate(zip(fleet.freezes["first"], fleet.freezes["last"], strict=True)):
        places = {name: draft.freezes.place(position, name) for name in ("first", "last")}
        blank = [name for name, day in (("first", first), ("last", last)) if pd.isna(day)]
        for name in blank:
            if not draft.findings.is_wrong(places[name]):
                draft.findings.add("required_blank", places[name], name)
        if not blank and first > last:
            draft.findings.add("freeze_order", places["last"], "last", first=first.date(), last=last.date())


def item_prices(draft: Draft, fleet: Fleet) -> None:
    """Every item has one price."""
    if draft.prices is None:
        return
    seen: dict[str, int] = {}
    for position, item in enumerate(draft.prices.frame["item"]):
        if item in seen:
            other = draft.prices.place(seen[item], "item").cell
            draft.findings.add(
                "price_repeated", draft.prices.place(position, "item"), "item", value=f'"{item}"', other=other
            )
        seen.setdefault(item, position)


def regions(draft: Draft, fleet: Fleet) -> None:
    """A region that a pool serves should have a site."""
    known = sorted({region for region in fleet.sites["region"] if region})
    for position, served in enumerate(fleet.pools["serves_regions"]):
        for region in set(served).difference(known):
            place = draft.pools.place(position, "serves_regions")
            draft.findings.add(
                "region_unknown", place, "serves_regions", value=f'"{region}"', guess=guess(region, known)
            )


def samples(draft: Draft, fleet: Fleet) -> None:
    """A pair with a measured round-trip time needs no samples."""
    if draft.latency is None or draft.samples is None:
        return
    stated = ~np.isnan(draft.latency.frame["rtt_ms"].to_numpy(dtype=np.float64))
    hubs = max(len(draft.hub_ids.ids), 1)
    measured = (draft.latency.site * hubs + draft.latency.hub)[stated]
    both = np.intersect1d(measured, draft.samples.site * hubs + draft.samples.hub)
    if len(both):
        draft.findings.add("samples_unused", draft.samples.raw.place(), pairs=len(both))


def latency(draft: Draft, fleet: Fleet) -> None:
    """Without any round-trip time, and without estimates, no site can be served."""
    if fleet.policy.unknown_latency == "ineligible" and not (
        len(fleet.latency) or len(fleet.samples) or len(fleet.links)
    ):
        draft.findings.add("latency_none", Place(draft.sites.raw.file))


def links(draft: Draft, fleet: Fleet) -> None:
    """A link has a delay or a length, along its route or through the air, and two ends."""
    if draft.links is None:
        return
    frame = draft.links.frame
    for position in _rows(frame[["latency_ms", "km", "air_km"]].isna().all(axis=1).to_numpy(dtype=np.bool_)):
        places = [draft.links.place(position, column) for column in ("latency_ms", "km", "air_km")]
        if not any(map(draft.findings.is_wrong, places)):
            draft.findings.add("link_length", places[0], "latency_ms")
    for position in _rows((frame["from"] == frame["to"]).to_numpy(dtype=np.bool_)):
        value = f'"{frame["to"].iloc[position]}"'
        draft.findings.add("link_loop", draft.links.place(position, "to"), "to", value=value)


def shares(draft: Draft, fleet: Fleet) -> None:
    """An availability below 1 % was most likely meant as a fraction of one."""
    for sheet in (draft.sites, draft.pools):
        # A column of the user's own may end so too, and hold anything.
        figures = sheet.frame.select_dtypes("number")
        for column in (name for name in figures.columns if str(name).endswith("_availability_percent")):
            given = figures[column].to_numpy(dtype=np.float64)
            draft.note("availability_fraction", sheet, str(column), _rows((given > 0) & (given <= 1)))
    for name, place in draft.policy.places.items():
        if name.endswith("_availability_percent") and 0 < (getattr(fleet.policy, name) or 0) <= 1:
            draft.findings.note("availability_fraction", place, name)


CHECKS: tuple[Check, ...] = (
    reserve_in_loss,
    latency_in_loss,
    budgets,
    prices,
    sizes,
    nodes,
    host_counts,
    current_hosts,
    *running.CHECKS,
    coordinates,
    releases,
    dates,
    freezes,
    item_prices,
    regions,
    samples,
    latency,
    links,
    *evidence.CHECKS,
    shares,
)
