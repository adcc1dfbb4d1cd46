"""Random tables of small fleets: every rule, column and setting that a plan depends on, in random company."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tests.independent.tables import Tables

COVERS = ("none", "host", "hub", "zone")
USUAL = ("none", "none", "host", "hub", "zone")
REGIONS = ("North", "South")
ZONES = ("grid-a", "grid-b", "carrier")
RELEASES = ("8.2", "8.10", "9.0-rc1", "9.0", "9.1")
AIMS = ("moves", "latency", "margin", "spread")

# Features that keep sites from pools, and those that do not. Each is on or off for a whole fleet, so that plain fleets
# come up too.
BARRIERS = (
    *("zones", "regions", "releases", "nodes", "pins", "losses", "ages", "third_location", "evidence"),
    *("own_budgets", "site_is_hub"),
)
OTHERS = (
    *("coordinates", "estimates", "samples", "links", "weights", "own", "uplinks", "several_clusters", "limits_host"),
    *("limits_hub", "limits_zone", "shares", "today", "existing", "reserve", "prices", "pair_costs", "two_pools"),
    *("then", "tight", "price_sheet"),
)
RACKS, LOOSER = "racks", "looser"  # drawn after all else, so that the rest of a fleet does not hang on them

# Feature, column, how often it is filled in where the feature is on, and with what.
SITE_CELLS = (
    ("several_clusters", "clusters", 1.0, (0, 1, 1, 1, 2, 2, 3, 4, 5)),
    ("weights", "weight", 1.0, (0.5, 1, 1, 1.5, 2, 3, 7.25)),
    ("own", "own_tie_breaker", 0.6, ("no", "yes", "possible", "possible", "possible")),
    ("own_prices", "own_tie_breaker_cost", 0.6, (0, 2, 4, 6, 9.5, 15)),
    ("own_budgets", "latency_budget_ms", 0.4, (10, 20, 25.5, 40)),
    ("regions", "region", 0.9, REGIONS),
    ("releases", "release", 0.9, RELEASES),
    ("releases", "target_release", 0.2, RELEASES),
    ("nodes", "nodes", 0.15, (1, 3)),
    ("uplinks", "tie_breaker_kbps", 0.4, (0, 50, 100, 250)),
)
RACK_CELLS = (
    ("racks", "rack_units", 0.7, (1, 2, 3, 3, 4, 5)),
    ("racks", "host_rack_units", 0.4, (1, 2, 3)),
)
LOSS_CELLS = (("looser", "loss_latency_budget_ms", 0.3, (20, 30, 40, 60)),)
LOSS_SETTINGS = (
    ("looser", "loss_latency_budget_ms", 0.6, (20, 30, 40)),
    ("looser", "loss_uses_reserve", 0.5, ("yes", "no")),
)
HUB_CELLS = (("uplinks", "uplink_mbps", 0.7, (0.2, 0.25, 0.5, 1, 2)),)
POOL_CELLS = (
    ("releases", "host_release", 0.8, RELEASES[1:]),
    ("prices", "host_cost", 0.8, (3, 5, 8, 12.5)),
)
PAIR_CELLS = (
    ("losses", "loss_percent", 0.6, (0, 0.5, 1, 1.01, 2, 3)),
    ("ages", "measured_at", 0.9, ("2026-11-20", "2026-08-27", "2026-08-26", "2025-01-01")),
    ("pair_costs", "pair_cost", 0.6, (0, 1, 2, 4.5)),
)
PRICE_CELLS = (
    ("price_sheet", "buy", 0.7, (9, 18, 36)),
    ("price_sheet", "watts", 0.4, (50, 100)),
    ("price_sheet", "visits", 0.4, (1, 3)),
)
SETTINGS = (
    ("reserve", "reserve_percent", 1.0, (10, 12.5, 20, 25, 33.3)),
    ("uplinks", "tie_breaker_kbps", 0.8, (50, 100, 200)),
    ("estimates", "unknown_latency", 1.0, ("estimate",)),
    ("evidence", "accepted_evidence", 1.0, ("measured", "measured", "modelled")),
    ("third_location", "third_location_km", 1.0, (30, 100, 150)),
    ("losses", "max_loss_percent", 0.5, (0, 1, 2)),
    ("ages", "max_age_days", 1.0, (90,)),
    ("ages", "old_latency", 0.8, ("warn", "ineligible", "ineligible")),
    ("samples", "percentile", 0.5, (50, 75, 100)),
    ("releases", "host_release_rule", 0.8, ("not_older", "any", "same_major")),
    ("releases", "release_floor", 0.5, RELEASES[:4]),
    ("releases", "host_release", 0.3, RELEASES),
    ("price_settings", "host_cost", 1.0, (6,)),
    ("price_settings", "own_tie_breaker_cost", 1.0, (5,)),
    ("price_sheet", "kwh_cost", 0.5, (0.01,)),
    ("price_sheet", "visit_cost", 0.5, (0.5,)),
    ("price_sheet", "years", 0.7, (2, 4)),
    ("shares", "max_share_percent", 0.5, (20, 25, 33.4, 40, 50, 62.5, 75)),
    ("shares", "max_share_percent_hub", 0.5, (25, 33.4, 40, 50, 62.5, 75)),
    ("shares", "max_share_percent_zone", 0.5, (25, 33.4, 40, 50, 62.5, 75)),
)

Rows = list[dict[str, Any]]
Cells = Sequence[tuple[str, str, float, Sequence[Any]]]


@dataclass(frozen=True)
class Wanted:
    """What fleets are to be like: kinds of cover to draw from, features that each or none has, most sites.

    ``most_sites`` is by default as many as CP-SAT solves in a blink.
    """

    covers: Sequence[str] = USUAL
    always: Sequence[str] = ()
    never: Sequence[str] = ()
    most_sites: int | None = None


def tables_of(seed: int, wanted: Wanted = Wanted()) -> Tables:
    """Return the tables of one fleet; the same arguments give the same."""
    return _Draw(random.Random(seed), wanted).tables()


class _Draw:
    """One fleet."""

    def __init__(self, rng: random.Random, wanted: Wanted) -> None:
        self.rng = rng
        self.cover = rng.choice(list(wanted.covers))
        self.most_sites = wanted.most_sites or (8 if self.cover == "none" else 7)
        self.objective = rng.choice(["hosts", "hosts", "hosts", "new_hosts", "cost", "cost"])
        barriers = 0.3 if self.chance(0.6) else 0.0
        self.has = {name: self.chance(barriers) for name in BARRIERS} | {name: self.chance(0.35) for name in OTHERS}
        self.has["several_clusters"] |= self.chance(0.5)
        self.has["then"] |= self.chance(0.5)
        self.has["split"] = self.chance(0.2)
        self.has |= dict.fromkeys(wanted.always, True) | dict.fromkeys(wanted.never, False)
        # Under cover only where it is asked for, so that the other fleets are what they were.
        self.split = self.has["split"] and (self.cover == "none" or "split" in wanted.always)
        self.has["cost"] = self.objective == "cost"
        self.has["prices"] |= self.has["cost"]
        self.has["price_settings"] = self.has["cost"] and not (self.has["price_sheet"] and self.chance(0.7))
        self.has["own_prices"] = self.has["own"] and (self.has["cost"] or self.chance(0.5))
        self.has["pair_costs"] &= not (self.has["cost"] and self.split)
        self.has["coordinates"] |= self.has["estimates"] or self.has["third_location"]

    def chance(self, share: float) -> bool:
        return self.rng.random() < share

    def fill(self, row: dict[str, Any], cells: Cells) -> dict[str, Any]:
        """Fill in the cells of the features that the fleet has."""
        for feature, column, share, values in cells:
            if (feature in (RACKS, LOOSER) or self.has[feature]) and self.chance(share):
                row[column] = self.rng.choice(values)
        return row

    def some(self, values: Sequence[str], most: int) -> str:
        return ";".join(self.rng.sample(list(values), self.rng.randint(1, min(most, len(values)))))

    def tables(self) -> Tables:
        self.site_ids = [f"S{i}" for i in range(self.rng.randint(2, self.most_sites))]
        self.hub_ids = [f"H{j}" for j in range(self.rng.randint(1 if self.cover == "none" else 2, 4))]
        if self.has["site_is_hub"]:
            self.site_ids[0] = self.hub_ids[0]
        sites = [self._site(name) for name in self.site_ids]
        hubs = [row for name in self.hub_ids for row in self._hub(name)]
        known = sorted({row["region"] for row in sites if "region" in row})
        for row in hubs:  # only regions that have a site
            if known and self.chance(0.4):
                row["serves_regions"] = self.some(known, 2)
        others = {"Current": self._current(hubs), "Prices": self._prices()}
        sheets = {"Sites": sites, "Hubs": hubs, **self._times(), **others}
        policy = self._policy(sites)
        # Drawn after all else, so that fleets without racks are what they were before there were any.
        if self.has.get("racks", self.chance(0.3)):
            for row in hubs:
                self.fill(row, RACK_CELLS)
            policy |= {"host_rack_units": 2} if self.chance(0.3) else {}
        if self.has.get(LOOSER, self.cover != "none" and self.chance(0.4)):
            policy = self.fill(policy, LOSS_SETTINGS)
            for row in sites:
                self.fill(row, LOSS_CELLS)
        return Tables(sheets, policy)

    def _site(self, name: str) -> dict[str, Any]:
        row = self.fill(self._placed({"site": name}), SITE_CELLS)
        if self.has["zones"] and self.chance(0.3):
            row["zone"] = self.some(ZONES, 2)
        if self.has["pins"] and self.chance(0.2):
            row["pinned_hub"] = self.rng.choice(self.hub_ids)
        elif self.has["pins"] and self.chance(0.3):
            row["barred_hubs"] = self.some(self.hub_ids, 4)
        return row

    def _placed(self, row: dict[str, Any]) -> dict[str, Any]:
        if self.has["coordinates"] and self.chance(0.95):
            row["latitude"], row["longitude"] = round(self.rng.uniform(50, 54), 3), round(self.rng.uniform(-4, 1), 3)
        return row

    def _hub(self, name: str) -> Rows:
        """Return the rows of one hub: its pools, in one place; each row may name zones of its own."""
        place = self.fill(self._placed({"hub": name}), HUB_CELLS)
        pools = self.rng.choice([1, 2]) if self.has["two_pools"] else 1
        return [self._pool({**place, **({"pool": f"{name}-{'ab'[n]}"} if pools > 1 else {})}) for n in range(pools)]

    def _pool(self, row: dict[str, Any]) -> dict[str, Any]:
        caps, hosts = ((2, 3, 4, 5), (0, 1, 1, 2)) if self.has["tight"] else ((4, 6, 8, 10), (1, 2, 3))
        row["cluster_cap"] = self.rng.choice(caps)
        if (self.has["zones"] or self.cover == "zone" or self.has["limits_zone"]) and self.chance(0.7):
            row["zone"] = self.some(ZONES, 2)
        if self.chance(0.95):
            row["max_hosts"] = self.rng.choice(hosts)
        if self.has["existing"]:
            row["existing_hosts"] = self.rng.randint(0, row.get("max_hosts", 3))
            if row["existing_hosts"] and self.chance(0.15):
                row["retiring_hosts"] = f"{row.get('pool', row['hub'])}-old"
        return self.fill(row, POOL_CELLS)

    def _times(self) -> dict[str, Rows]:
        """Return Latency, Samples and Links; not every pair has a time."""
        sheets: dict[str, Rows] = {"Latency": [], "Samples": [], "Links": []}
        for site in self.site_ids:
            for hub in self.hub_ids:
                if self.chance(0.12):
                    continue
                if self.has["samples"] and self.chance(0.2):
                    sheets["Samples"] += [self._probe(site, hub) for _ in range(self.rng.randint(1, 5))]
                else:
                    rtt = self.rng.choice([self.rng.randint(2, 30), round(self.rng.uniform(2, 28), 2)])
                    sheets["Latency"].append(self.fill({"site": site, "hub": hub, "rtt_ms": rtt}, PAIR_CELLS))
        if self.has["links"]:
            nodes = [*dict.fromkeys((*self.site_ids, *self.hub_ids)), "R1", "R2"]
            sheets["Links"] = [self._link(*self.rng.sample(nodes, 2)) for _ in range(2 * len(nodes))]
        return sheets

    def _probe(self, site: str, hub: str) -> dict[str, Any]:
        rtt = None if self.chance(0.1) else self.rng.randint(2, 30)  # None: lost
        return {"site": site, "hub": hub, "at": self.rng.choice(["2026-11-19", "2026-08-26"]), "rtt_ms": rtt}

    def _link(self, one: str, other: str) -> dict[str, Any]:
        length = (
            {"latency_ms": self.rng.choice([1, 2.5, 6])} if self.chance(0.6) else {"km": self.rng.randint(50, 1500)}
        )
        return {"from": one, "to": other, **length}

    def _current(self, hubs: Rows) -> Rows:
        """Return who is where today: mostly with a host's name, here and there on a host that is to be emptied."""
        rows: Rows = []
        for site in self.site_ids if self.has["today"] else ():
            if not self.chance(0.8):
                continue
            pool = self.rng.choice(hubs)
            row = {"site": site, "hub": pool["hub"]}
            if pool.get("existing_hosts") and self.chance(0.7):
                leaves = [pool["retiring_hosts"]] if "retiring_hosts" in pool else []
                name = pool.get("pool", pool["hub"])
                stays = [f"{name}-{n:02d}" for n in range(1, pool["existing_hosts"] - len(leaves) + 1)]
                row["host"] = self.rng.choice([*stays, *leaves])
                if "pool" in pool:
                    row["pool"] = pool["pool"]
            rows.append(row)
        return rows

    def _prices(self) -> Rows:
        """Return the sheet Prices, with figures that 2 or 4 years share out without a rest, also at 25 % a year."""
        return [
            self.fill({"item": item, "yearly": self.rng.choice([2, 4, 7.5])}, PRICE_CELLS)
            for item in (("host", "own_tie_breaker") if self.has["price_sheet"] else ())
        ]

    def _policy(self, sites: Rows) -> dict[str, Any]:
        policy: dict[str, Any] = {
            "latency_budget_ms": self.rng.choice([12, 20, 24, 30]),
            "objective": self.objective,
            "max_hosts_per_hub": 2,
            "as_of": "2026-11-25",
            "split_sites": "yes" if self.split else "no",
            "cover": self.cover,
        }
        if self.has["today"] and sum(self.has.values()) % 2:
            policy["keep_served"] = "yes"
        if self.has["then"]:
            policy["then"] = " ".join(self.rng.sample(AIMS, self.rng.randint(1, len(AIMS))))
        if self.has["price_sheet"] and self.chance(0.4):
            policy["discount_percent"] = 25
        clusters = sum(row.get("clusters", 1) for row in sites)
        for kind in ("host", "hub", "zone"):  # near what an even spread would take
            if self.has[f"limits_{kind}"]:
                suffix = "" if kind == "host" else f"_{kind}"
                policy[f"max_blast_radius{suffix}"] = max(1, round(clusters * self.rng.uniform(0.2, 0.8)))
        policy = self.fill(policy, SETTINGS)
        if policy.get("discount_percent") and policy.get("years") != 2:
            del policy["discount_percent"]  # the figures would have no end
        return policy
