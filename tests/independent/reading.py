"""Tables -> who may use whom, as the manual tells it: blanks filled from the policy, rules applied pair by pair.

All figures are exact fractions of the decimals that the user typed, but for estimates from the distance.
"""

from __future__ import annotations

import datetime as dt
import heapq
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from geographiclib.geodesic import Geodesic

from tests.independent.tables import Row, Tables

EVIDENCE = ("measured", "modelled", "estimated")
FIBRE_MS_PER_KM = Fraction(5, 1000)  # manual, round-trip-times: 5 µs/km of route, one way


@dataclass(frozen=True)
class Today:
    """Where a site is: at a hub, in a pool if only one can be meant, on a host if it is named."""

    hub: str
    pool: str
    host: str


@dataclass(frozen=True)
class Site:
    """A site that needs a third vote.

    ``own_cost`` is None where its own tie-breaker is not possible, and 1 where it is and has no price.
    """

    name: str
    clusters: int
    weight: Fraction
    own_cost: Fraction | None
    kbps: Fraction  # of one cluster
    today: Today | None


@dataclass(frozen=True)
class Pool:
    """Identical hosts. ``usable`` is the cap less reserve, ``in_loss`` what a host may carry while another is lost;
    ``hosts`` and ``existing`` leave out those that retire.

    ``named`` are the hosts that Current names and that stay.
    """

    name: str
    hub: str
    usable: int
    in_loss: int
    hosts: int
    existing: int
    named: tuple[str, ...]
    price: Fraction
    rack_units: int  # of a host


@dataclass(frozen=True)
class Pair:
    """A site and a pool that keep every rule; ``every_day`` is false where the site may only stand by there."""

    rtt_ms: Fraction
    margin_ms: Fraction
    cost: Fraction
    every_day: bool


@dataclass(frozen=True)
class Question:
    """What is asked of a planner. ``zones`` are sets of hubs, by name, of which each hub is one of its own."""

    sites: tuple[Site, ...]
    pools: tuple[Pool, ...]
    pairs: Mapping[tuple[str, str], Pair]
    uplink_kbps: Mapping[str, Fraction]
    rack_units: Mapping[str, int]  # that hosts may take, of hubs that state it
    zones: Mapping[str, frozenset[str]]
    spared: frozenset[str]  # sites of Current that need no shared host
    tables: Tables

    def most(self, setting: str) -> Fraction | None:
        """Return a limit of the policy, None for none."""
        value = self.tables.setting(setting)
        return None if value is None else exact(value)

    @property
    def split(self) -> bool:
        """Whether the clusters of a site may use several hosts."""
        return self.tables.setting("split_sites") in ("yes", True)

    @property
    def keep_served(self) -> bool:
        """Whether sites that are served today come first."""
        return self.tables.setting("keep_served") in ("yes", True)

    @property
    def cover(self) -> str:
        """What loss the plan survives."""
        return self.tables.setting("cover") or "none"

    @property
    def whole_weight(self) -> Fraction:
        """Weight of all sites that need a shared host, served or not."""
        return sum((site.weight for site in self.sites), Fraction(0))


@dataclass(frozen=True)
class _Figures:
    rtt_ms: Fraction | float
    evidence: str
    loss: Fraction = Fraction(0)
    cost: Fraction = Fraction(0)
    day: dt.date | None = None


def exact(value: Any) -> Fraction:
    """Return the decimal that was typed."""
    return Fraction(str(value))


def read(tables: Tables) -> Question:
    """Return the question that ``tables`` ask."""
    hubs = _hub_rows(tables)
    zones = {hub: frozenset({hub}) for hub in hubs}
    for zone in sorted({zone for rows in hubs.values() for row in rows for zone in _ids(row, "zone")}):
        zones[f"zone {zone}"] = frozenset(hub for hub, rows in hubs.items() if zone in _zones_of(rows))
    site_rows = {row["site"]: row for row in tables.rows("Sites")}
    pool_rows = {_pool_name(row): row for row in tables.rows("Hubs")}
    sites = [_site(tables, row) for row in site_rows.values() if _needs_host(row)]
    pools = [_pool(tables, row) for row in pool_rows.values()]
    figures = _all_figures(tables, hubs)
    pairs = {}
    for site in sites:
        for pool in pools:
            row, offer, known = site_rows[site.name], pool_rows[pool.name], figures.get((site.name, pool.hub))
            budget = exact(row.get("latency_budget_ms", tables.setting("latency_budget_ms")))
            in_loss = _budget_in_loss(tables, row, budget)
            least = 1 if tables.setting("split_sites") in ("yes", True) else site.clusters
            if known is None or known.rtt_ms > in_loss or pool.hosts < 1 or pool.usable < least:
                continue
            if _good_figures(tables, known) and _allowed(tables, row, offer, hubs[pool.hub]):
                rtt = Fraction(known.rtt_ms)
                pairs[site.name, pool.name] = Pair(rtt, budget - rtt, known.cost, rtt <= budget)
    uplinks = {
        hub: min(exact(row["uplink_mbps"]) * 1000 for row in rows if "uplink_mbps" in row)
        for hub, rows in hubs.items()
        if any("uplink_mbps" in row for row in rows)
    }
    racks = {hub: _rack_units(tables, rows) for hub, rows in hubs.items() if any("rack_units" in row for row in rows)}
    spared = {row["site"] for row in tables.rows("Current")} - {site.name for site in sites}
    return Question(tuple(sites), tuple(pools), pairs, uplinks, racks, zones, frozenset(spared), tables)


def _budget_in_loss(tables: Tables, row: Row, budget: Fraction) -> Fraction:
    """Return the budget of a standby, which cover none has none of."""
    given = row.get("loss_latency_budget_ms", tables.setting("loss_latency_budget_ms"))
    return budget if given is None or tables.setting("cover") in (None, "none") else max(budget, exact(given))


def _hub_rows(tables: Tables) -> dict[str, list[Row]]:
    hubs: dict[str, list[Row]] = {}
    for row in tables.rows("Hubs"):
        hubs.setdefault(row["hub"], []).append(row)
    return hubs


def _pool_name(row: Row) -> str:
    return str(row.get("pool", row["hub"]))


def _ids(row: Row, column: str) -> set[str]:
    return {part.strip() for part in str(row.get(column, "")).split(";") if part.strip()}


def _zones_of(rows: list[Row]) -> set[str]:
    return {zone for row in rows for zone in _ids(row, "zone")}


def _needs_host(row: Row) -> bool:
    return row.get("clusters", 1) > 0 and row.get("own_tie_breaker", "no") != "yes"


def _site(tables: Tables, row: Row) -> Site:
    return Site(
        name=row["site"],
        clusters=row.get("clusters", 1),
        weight=exact(row.get("weight", 1)),
        own_cost=_own_cost(tables, row) if row.get("own_tie_breaker") == "possible" else None,
        kbps=exact(row.get("tie_breaker_kbps", tables.setting("tie_breaker_kbps") or 0)),
        today=_today(tables, row["site"]),
    )


def _today(tables: Tables, site: str) -> Today | None:
    row = next((row for row in tables.rows("Current") if row["site"] == site), None)
    if row is None:
        return None
    pools = [_pool_name(pool) for pool in tables.rows("Hubs") if pool["hub"] == row["hub"]]
    return Today(row["hub"], row.get("pool") or (pools[0] if len(pools) == 1 else ""), row.get("host", ""))


def _host_units(tables: Tables, row: Row) -> int:
    return int(row.get("host_rack_units", tables.setting("host_rack_units") or 1))


def _rack_units(tables: Tables, rows: list[Row]) -> int:
    """Return the rack units of a hub less those of hosts that are to be emptied, which stand there still."""
    stated = min(row["rack_units"] for row in rows if "rack_units" in row)
    return max(0, stated - sum(_host_units(tables, row) * len(_ids(row, "retiring_hosts")) for row in rows))


def _pool(tables: Tables, row: Row) -> Pool:
    cap = row.get("cluster_cap", tables.setting("cluster_cap") or 64)
    kept_free = exact(tables.setting("reserve_percent") or 0)
    usable = math.floor(cap * (100 - kept_free) / 100)
    existing, retiring = row.get("existing_hosts"), len(_ids(row, "retiring_hosts"))
    existing = _standing(tables, row, cap) if existing is None else existing
    per_hub = tables.setting("max_hosts_per_hub")
    most = row.get("max_hosts", max(10 if per_hub is None else per_hub, existing))
    return Pool(
        name=_pool_name(row),
        hub=row["hub"],
        usable=usable,
        in_loss=cap if tables.setting("loss_uses_reserve") in ("yes", True) else usable,
        hosts=max(0, most - retiring),
        existing=max(0, existing - retiring),
        named=tuple(sorted(_named(tables, row) - _ids(row, "retiring_hosts"))),
        price=_a_year(tables, "host", row.get("host_cost", tables.setting("host_cost")), 1) or Fraction(0),
        rack_units=_host_units(tables, row),
    )


def _standing(tables: Tables, pool: Row, cap: int) -> int:
    """Return the hosts that run where existing_hosts is blank: those that Current names, and as many more as the sites
    without a named host fill, the largest first; such a site counts in the first pool of its hub that can carry it."""
    sites = {row["site"]: row for row in tables.rows("Sites")}
    size = {site: row.get("clusters", 1) for site, row in sites.items()}
    loads = dict.fromkeys(sorted(_named(tables, pool)), 0)
    rest = []
    for row in tables.rows("Current"):
        if row["hub"] == pool["hub"] and row.get("host") in loads:
            loads[row["host"]] += size.get(row["site"], 0)
        elif row["hub"] == pool["hub"] and not row.get("host") and _first_pool(tables, sites, row) == _pool_name(pool):
            rest.append(size.get(row["site"], 0))
    filled = list(loads.values())
    for clusters in sorted(rest, reverse=True):
        at = next((n for n, load in enumerate(filled) if load + clusters <= cap), None)
        if at is None:
            filled.append(clusters)
        else:
            filled[at] += clusters
    return len(filled)


def _first_pool(tables: Tables, sites: dict[str, Row], today: Row) -> str:
    """Return the pool of a row of Current without a host: the stated one, else the first that can carry the site."""
    here = sorted((row for row in tables.rows("Hubs") if row["hub"] == today["hub"]), key=_pool_name)
    site = sites.get(today["site"])
    if "pool" in today or len(here) == 1 or site is None:
        return str(today.get("pool", _pool_name(here[0])))
    cap = tables.setting("cluster_cap") or 64
    held = [row for row in here if site.get("clusters", 1) <= row.get("cluster_cap", cap)]
    held = [row for row in held if _host_suits(tables, site.get("release"), row)]
    own = site.get("target_release") or site.get("release")
    served = [row for row in held if site.get("region") in (_ids(row, "serves_regions") or {site.get("region")})]
    best = [row for row in served if _host_suits(tables, own, row)] or held or here
    return _pool_name(best[0])


def _named(tables: Tables, pool: Row) -> set[str]:
    """Return the hosts of a pool that Current names; where a hub has several pools, Current says which it means."""
    at_hub = [row for row in tables.rows("Current") if row["hub"] == pool["hub"] and row.get("host")]
    return {row["host"] for row in at_hub if row.get("pool", _pool_name(pool)) == _pool_name(pool)}


# Money a year.


def _own_cost(tables: Tables, row: Row) -> Fraction:
    """Return what a site's own tie-breaker costs; where nobody says it, 1, so that few are used."""
    running = row.get("own_tie_breaker_cost", tables.setting("own_tie_breaker_cost"))
    price = _a_year(tables, "own_tie_breaker", running, row.get("clusters", 1))
    return Fraction(1) if price is None else price


def _a_year(tables: Tables, item: str, running: Any, number: int) -> Fraction | None:
    """Return what ``number`` of an item cost a year; ``running`` is known from elsewhere. None where nobody says it."""
    row = next((row for row in tables.rows("Prices") if row["item"] == item), None)
    if row is None:
        return None if running is None else exact(running)
    power = exact(row.get("watts", 0)) / 1000 * 24 * 365 * exact(tables.setting("kwh_cost") or 0)
    visits = exact(row.get("visits", 0)) * exact(tables.setting("visit_cost") or 0)
    each = exact(row.get("yearly", 0)) + power + visits
    bought = number * exact(row.get("buy", 0)) / _years_factor(tables)
    return bought + (number * each if running is None else exact(running))


def _years_factor(tables: Tables) -> Fraction:
    """Return what 1 at the start of each year is worth today."""
    later = 1 / (1 + exact(tables.setting("discount_percent") or 0) / 100)
    return sum((later**year for year in range(int(tables.setting("years") or 5))), Fraction(0))


# Round-trip times: of Latency, Samples, Links and the distance the first counts that knows the pair.


def _all_figures(tables: Tables, hubs: Mapping[str, list[Row]]) -> dict[tuple[str, str], _Figures]:
    found: dict[tuple[str, str], _Figures] = {}
    costs = {(row["site"], row["hub"]): exact(row.get("pair_cost", 0)) for row in tables.rows("Latency")}
    by_link = _shortest_paths(tables)
    for site in tables.rows("Sites"):
        for hub, rows in hubs.items():
            key = (site["site"], hub)
            figures = (
                _stated(tables, key) or _sampled(tables, key) or by_link.get(key) or _estimated(tables, site, rows[0])
            )
            if figures is not None:
                cost = costs.get(key, Fraction(0))
                found[key] = _Figures(figures.rtt_ms, figures.evidence, figures.loss, cost, figures.day)
    return found


def _stated(tables: Tables, key: tuple[str, str]) -> _Figures | None:
    for row in tables.rows("Latency"):
        if (row["site"], row["hub"]) == key and "rtt_ms" in row:
            loss = exact(row.get("loss_percent", 0))
            return _Figures(exact(row["rtt_ms"]), "measured", loss, day=_day(row, "measured_at"))
    return None


def _sampled(tables: Tables, key: tuple[str, str]) -> _Figures | None:
    probes = [row for row in tables.rows("Samples") if (row["site"], row["hub"]) == key]
    if not probes:
        return None
    times = sorted(math.inf if row["rtt_ms"] is None else exact(row["rtt_ms"]) for row in probes)
    rank = max(1, math.ceil(exact(tables.setting("percentile") or 95) * len(times) / 100))
    lost = sum(time == math.inf for time in times)
    days = [day for row in probes if (day := _day(row, "at")) is not None]
    return _Figures(times[rank - 1], "measured", Fraction(100 * lost, len(times)), day=max(days, default=None))


def _shortest_paths(tables: Tables) -> dict[tuple[str, str], _Figures]:
    graph: dict[str, list[tuple[str, Fraction]]] = {}
    for row in tables.rows("Links"):
        delay = exact(row["latency_ms"]) if "latency_ms" in row else exact(row["km"]) * FIBRE_MS_PER_KM
        graph.setdefault(row["from"], []).append((row["to"], delay))
        graph.setdefault(row["to"], []).append((row["from"], delay))
    found = {}
    for site in {row["site"] for row in tables.rows("Sites")} & graph.keys():
        reached: dict[str, Fraction] = {}
        queue = [(Fraction(0), site)]
        while queue:
            delay, node = heapq.heappop(queue)
            if node not in reached:
                reached[node] = delay
                for neighbour, more in graph[node]:
                    heapq.heappush(queue, (delay + more, neighbour))
        for hub in {row["hub"] for row in tables.rows("Hubs")} & reached.keys():
            found[site, hub] = _Figures(2 * reached[hub], "modelled")
    return found


def _estimated(tables: Tables, site: Row, hub: Row) -> _Figures | None:
    km = _km(site, hub)
    if tables.setting("unknown_latency") != "estimate" or km is None:
        return None
    route = max(min(1.5 * km, 1500.0), 1.25 * km)  # of a distance as the crow flies: ITU-T Y.1541, Appendix III
    return _Figures(Fraction(2 * route) * FIBRE_MS_PER_KM, "estimated")


def _km(one: Row, other: Row) -> float | None:
    corners = [row.get(name) for row in (one, other) for name in ("latitude", "longitude")]
    if any(corner is None for corner in corners):
        return None
    return float(Geodesic.WGS84.Inverse(*corners)["s12"]) / 1000


def _day(row: Row, column: str) -> dt.date | None:
    return dt.date.fromisoformat(row[column][:10]) if column in row else None


# The rules; a limit itself is allowed.


def _good_figures(tables: Tables, known: _Figures) -> bool:
    most_loss = tables.setting("max_loss_percent")
    if known.loss > (1 if most_loss is None else exact(most_loss)):
        return False
    if EVIDENCE.index(known.evidence) > EVIDENCE.index(tables.setting("accepted_evidence") or "estimated"):
        return False
    most_days = tables.setting("max_age_days")
    if tables.setting("old_latency") != "ineligible" or most_days is None or known.evidence != "measured":
        return True
    today = dt.date.fromisoformat(tables.setting("as_of"))
    return known.day is not None and (today - known.day).days <= most_days


def _allowed(tables: Tables, site: Row, pool: Row, hub_rows: list[Row]) -> bool:
    if site.get("nodes", 2) != 2:
        return False
    if site.get("pinned_hub", pool["hub"]) != pool["hub"] or pool["hub"] in _ids(site, "barred_hubs"):
        return False
    regions = _ids(pool, "serves_regions")
    if regions and site.get("region") not in regions:
        return False
    return _release_fits(tables, site, pool) and _third_location(tables, site, pool, hub_rows)


def _third_location(tables: Tables, site: Row, pool: Row, hub_rows: list[Row]) -> bool:
    if site["site"] == pool["hub"] or _ids(site, "zone") & _zones_of(hub_rows):
        return False
    least = tables.setting("third_location_km") or 0
    km = _km(site, pool)
    return least == 0 or (km is not None and km >= least)


def _release_fits(tables: Tables, site: Row, pool: Row) -> bool:
    own = site.get("target_release") or site.get("release")
    floor = tables.setting("release_floor")
    if floor and (not own or _release(own) < _release(floor)):
        return False
    return _host_suits(tables, own, pool)


def _host_suits(tables: Tables, own: str | None, pool: Row) -> bool:
    host = pool.get("host_release") or tables.setting("host_release")
    rule = tables.setting("host_release_rule") or "not_older"
    if rule == "any" or not own or not host:
        return True
    if rule == "same_major":
        return _release(own)[0][0] == _release(host)[0][0]
    return _release(host) >= _release(own)


def _release(text: str) -> tuple[tuple[int, ...], float]:
    """Return dotted numbers without trailing zeros, and the candidate's number; a release follows its candidates."""
    found = re.fullmatch(r"([\d.]+)(?:-rc(\d+))?", text)
    assert found, text
    numbers = [int(part) for part in found[1].split(".")]
    while len(numbers) > 1 and numbers[-1] == 0:
        numbers.pop()
    return tuple(numbers), float(found[2] or math.inf)
