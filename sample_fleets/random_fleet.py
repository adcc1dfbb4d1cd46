"""Random fleets of any size, as tables, in which all but a few chosen sites can be served.

The generator draws a plan of its own, sizes the pools to hold it, and forgets it. So every rule-abiding site
can be served, the limits on hosts bind, and the fewest hosts are not known beforehand.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from sample_fleets.names import town_names
from sample_fleets.random_places import (
    REGIONS,
    Bools,
    Floats,
    Ints,
    Pairs,
    Places,
    draw_pairs,
    draw_places,
    region_positions,
)

RELEASES = ("7.8", "8.0", "8.2", "8.4", "8.6", "8.10")  # oldest first
RELEASE_FLOOR = "8.0"

_BUDGETS_MS = np.array([12.0, 15, 18, 20, 22, 25, 28, 30, 35, 40, 45, 50, 60])
_HOPELESS_BUDGET_MS = 1.0  # below any round-trip time of random_places
_WINDOWS = ("Sun 21:00-05:00", "Tue 20:30-06:00", "Wed 20:30-06:00")
_MOST_CLUSTERS = 4  # at one site


def generate(
    sites: int = 1200,
    hubs: int = 24,
    seed: int = 2,
    *,
    tightness: float = 0.5,
    kept_together: float = 0.08,
    regional: float = 0.15,
    mixed_caps: bool = True,
    cluster_cap: int = 64,
    current: float = 0.9,
    nearest_hubs: int | None = None,
    unservable: int = 3,
) -> dict[str, pd.DataFrame]:
    """Return the tables Sites, Hubs, Latency (long form), Current and Policy of a random fleet.

    ``tightness`` from 0 (most sites reach many hubs within their budget) to 1 (most reach one or two);
    ``kept_together`` is the share of sites with 2 to 4 clusters, ``regional`` that of hubs that serve their own and
    at most one more region, ``current`` that of sites that have a host today;
    ``mixed_caps`` gives pools half, three quarters, all or one and a half times ``cluster_cap``. Only the
    ``nearest_hubs`` of each site are measured: by default all, or 40 in fleets of more than 60 hubs. The first
    ``unservable`` sites of a random order break one rule everywhere: too old a release, a budget below any
    round-trip time, a pin to a hub in their own zone, in turn. Ids in Latency are categorical. The same
    arguments give the same tables. ValueError for sizes or shares that make no fleet.
    """
    _check(sites, hubs, unservable, cluster_cap, tightness, kept_together, regional, current)
    rng = np.random.Generator(np.random.PCG64(seed))
    towns, site_places, hub_places = draw_places(rng, sites, hubs)
    known = min(hubs, nearest_hubs or (40 if hubs > 60 else hubs))
    pairs = draw_pairs(rng, site_places, hub_places, known)
    names = town_names(towns)
    hub_table = _hub_table(rng, hub_places, names, regional, cluster_cap, mixed_caps)
    site_table = _site_table(rng, site_places, names, kept_together)
    pairs = _limit_regions(hub_table, region_positions(site_places), pairs)
    pairs = _limit_zones(rng, site_table, hub_table, pairs)
    pairs = _limit_releases_and_pins(rng, site_table, hub_table, pairs)
    budgets_ms = _budgets_ms(rng, pairs, tightness)
    site_table["latency_budget_ms"] = budgets_ms
    chosen = _some_plan(rng, pairs, budgets_ms)
    hub_table["max_hosts"] = _hosts_needed(site_table, hub_table, pairs.hub[np.arange(sites), chosen])
    current_table = _current(rng, site_table, hub_table, pairs, current)
    hosts = current_table.drop_duplicates("host")["hub"].value_counts()
    hub_table["existing_hosts"] = hosts.reindex(hub_table["hub"], fill_value=0).to_numpy()
    _spoil(rng, site_table, hub_table, pairs, unservable)
    latency = _latency(rng, site_table, hub_table, pairs, chosen)
    policy = _policy(cluster_cap)
    return {"Sites": site_table, "Hubs": hub_table, "Latency": latency, "Current": current_table, "Policy": policy}


def _check(sites: int, hubs: int, unservable: int, cluster_cap: int, *shares: float) -> None:
    if sites < 1 or hubs < 1 or not 0 <= unservable <= sites:
        raise ValueError(f"{sites} sites, {hubs} hubs and {unservable} unservable sites make no fleet")
    if cluster_cap < 2 * _MOST_CLUSTERS:
        raise ValueError(f"a cluster cap of {cluster_cap} is too small for sites of up to {_MOST_CLUSTERS} clusters")
    if not all(0 <= share <= 1 for share in shares):
        raise ValueError(f"tightness, kept_together, regional and current lie between 0 and 1, not {shares}")


def _hub_table(
    rng: np.random.Generator, places: Places, names: list[str], regional: float, cluster_cap: int, mixed_caps: bool
) -> pd.DataFrame:
    count = len(places.town)
    hub = [f"H{number:0{max(2, len(str(count)))}d}" for number in range(1, count + 1)]
    region = region_positions(places)
    share = rng.choice([0.5, 0.75, 1.0, 1.5], count, p=[0.2, 0.2, 0.45, 0.15]) if mixed_caps else np.ones(count)
    also = rng.integers(0, len(REGIONS), count)
    limited = rng.random(count) < regional
    return pd.DataFrame(
        {
            "hub": hub,
            "name": [f"{names[town]} exchange" for town in places.town.tolist()],
            "region": [REGIONS[position] for position in region.tolist()],
            "latitude": places.latitude,
            "longitude": places.longitude,
            "zone": [f"power-{one}" for one in hub],
            "max_hosts": 0,
            "existing_hosts": 0,
            "host_release": rng.choice(RELEASES[3:], count, p=[0.2, 0.3, 0.5]).tolist(),
            "cluster_cap": np.floor(cluster_cap * share).astype(np.int64),
            "host_cost": np.round(rng.uniform(900, 2400, count), -1),
            "serves_regions": [
                ";".join(dict.fromkeys((REGIONS[own], REGIONS[other]))) if only else ""
                for own, other, only in zip(region.tolist(), also.tolist(), limited.tolist(), strict=True)
            ],
        }
    )


def _site_table(rng: np.random.Generator, places: Places, names: list[str], kept_together: float) -> pd.DataFrame:
    count = len(places.town)
    several = rng.random(count) < kept_together
    nth = pd.Series(places.town).groupby(places.town).cumcount() + 1
    return pd.DataFrame(
        {
            "site": [f"{number:0{max(4, len(str(count)))}d}" for number in range(1, count + 1)],
            "name": [f"{names[town]} {number}" for town, number in zip(places.town.tolist(), nth, strict=True)],
            "region": [REGIONS[position] for position in region_positions(places).tolist()],
            "latitude": places.latitude,
            "longitude": places.longitude,
            "clusters": np.where(several, rng.integers(2, _MOST_CLUSTERS + 1, count), 1),
            "release": rng.choice(RELEASES[1:], count, p=[0.1, 0.25, 0.4, 0.2, 0.05]).tolist(),
            "latency_budget_ms": np.nan,
            "weight": np.where(rng.random(count) < 0.04, rng.integers(2, 6, count), 1),
            "zone": "",
            "pinned_hub": "",
            "barred_hubs": "",
            "own_tie_breaker": np.where(rng.random(count) < 0.02, "yes", "no").tolist(),
            "window": rng.choice(_WINDOWS, count).tolist(),
        }
    )


def _limit_regions(hubs: pd.DataFrame, site_region: Ints, pairs: Pairs) -> Pairs:
    """Return ``pairs`` with only hubs that serve the site's region.

    Where none does, the nearest hub of the site is made to serve all regions.
    """

    def served() -> Bools:
        listed = [text.split(";") if text else REGIONS for text in hubs["serves_regions"]]
        serves = np.array([[region in regions for regions in listed] for region in REGIONS], dtype=np.bool_)
        return serves[site_region[:, None], pairs.hub]

    stranded = ~served().any(axis=1)
    hubs.loc[np.unique(pairs.hub[stranded, 0]), "serves_regions"] = ""
    return pairs._replace(allowed=served())


def _limit_zones(rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, pairs: Pairs) -> Pairs:
    """Put sites into the zone of a near hub and bar hubs for others, wherever the site keeps some other hub."""
    spare = pairs.allowed.sum(axis=1) > 1
    in_zone = (pairs.km[:, 0] < 25) & (rng.random(len(sites)) < 0.3) & spare
    barred = (rng.random(len(sites)) < 0.03) & spare & ~in_zone
    nearest = pairs.hub[:, 0]
    sites["zone"] = np.where(in_zone, hubs["zone"].to_numpy(dtype=object)[nearest], "")
    sites["barred_hubs"] = np.where(barred, hubs["hub"].to_numpy(dtype=object)[nearest], "")
    allowed = pairs.allowed.copy()
    allowed[in_zone | barred, 0] = False
    return pairs._replace(allowed=allowed)


def _limit_releases_and_pins(rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, pairs: Pairs) -> Pairs:
    """Age the releases that no allowed host could carry, pin a few sites, and return what is then allowed."""
    host_release = _release_positions(hubs["host_release"])[pairs.hub]
    newest = np.where(pairs.allowed, host_release, -1).max(axis=1)
    release = np.minimum(_release_positions(sites["release"]), newest)
    sites["release"] = [RELEASES[position] for position in release.tolist()]
    allowed = pairs.allowed & (host_release >= release[:, None])
    pinned = np.flatnonzero(rng.random(len(sites)) < 0.01)
    place = allowed[pinned].argmax(axis=1)
    sites.loc[pinned, "pinned_hub"] = hubs["hub"].to_numpy(dtype=object)[pairs.hub[pinned, place]]
    allowed[pinned] = np.arange(allowed.shape[1]) == place[:, None]
    return pairs._replace(allowed=allowed)


def _release_positions(releases: pd.Series) -> Ints:
    return pd.Index(RELEASES).get_indexer(releases).astype(np.int64)


def _budgets_ms(rng: np.random.Generator, pairs: Pairs, tightness: float) -> Floats:
    """Return a usual budget for each site, wide enough for as many hubs as it happens to reach.

    That number is ``known ** (u ** (0.5 + 2 tightness))`` with u uniform: a few sites reach all, most reach few.
    """
    rtt_ms = np.sort(np.where(pairs.allowed, pairs.rtt_ms, np.inf), axis=1)
    known = rtt_ms.shape[1]
    wanted = np.ceil(known ** (rng.random(len(rtt_ms)) ** (0.5 + 2 * tightness))).astype(np.int64)
    reached = np.minimum(wanted, np.isfinite(rtt_ms).sum(axis=1))
    needed_ms = rtt_ms[np.arange(len(rtt_ms)), reached - 1]
    usual = _BUDGETS_MS[np.minimum(np.searchsorted(_BUDGETS_MS, needed_ms), len(_BUDGETS_MS) - 1)]
    return np.maximum(usual, np.ceil(rtt_ms[:, 0]))  # nobody is out of reach by chance


def _some_plan(rng: np.random.Generator, pairs: Pairs, budgets_ms: Floats) -> Ints:
    """Return for each site the place in ``pairs`` of one eligible hub: any of its three fastest."""
    rtt_ms = np.where(pairs.allowed & (pairs.rtt_ms <= budgets_ms[:, None]), pairs.rtt_ms, np.inf)
    fastest = np.argsort(rtt_ms, axis=1, kind="stable")[:, :3]
    choices = np.isfinite(np.take_along_axis(rtt_ms, fastest, axis=1)).sum(axis=1)
    return fastest[np.arange(len(rtt_ms)), (rng.random(len(rtt_ms)) * choices).astype(np.int64)]


def _hosts_needed(sites: pd.DataFrame, hubs: pd.DataFrame, hub_of_site: Ints) -> Ints:
    """Return hosts enough for each hub's load, however it packs.

    First fit leaves fewer than ``_MOST_CLUSTERS`` places free on every host but the last.
    """
    load = np.bincount(hub_of_site, weights=sites["clusters"], minlength=len(hubs))
    return np.ceil(load / (hubs["cluster_cap"].to_numpy() - _MOST_CLUSTERS + 1)).astype(np.int64)


def _current(
    rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, pairs: Pairs, share: float
) -> pd.DataFrame:
    """Return today's assignments: the fastest hub whatever the rules, host after host, until the hub is full."""
    hub = pairs.hub[np.arange(len(sites)), pairs.rtt_ms.argmin(axis=1)]
    listed = pd.DataFrame({"site": sites["site"], "hub": hub, "clusters": sites["clusters"]})
    listed = listed[(rng.random(len(sites)) < share) & (sites["own_tie_breaker"] == "no")]
    before = listed.groupby("hub")["clusters"].cumsum() - listed["clusters"]
    # Steps of cap - most + 1 keep a host within its cap when its last site has several clusters.
    step = hubs["cluster_cap"].to_numpy()[listed["hub"]] - _MOST_CLUSTERS + 1
    number = before // step + 1
    listed = listed[number <= hubs["max_hosts"].to_numpy()[listed["hub"]]]
    ids = hubs["hub"].to_numpy(dtype=object)[listed["hub"]]
    host = [f"{one}-{nth:02d}" for one, nth in zip(ids.tolist(), number[listed.index].tolist(), strict=True)]
    return pd.DataFrame({"site": listed["site"].tolist(), "hub": ids, "host": host})


def _spoil(rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, pairs: Pairs, unservable: int) -> None:
    """Make some sites break a rule everywhere: too old, too far, or pinned to a hub in their own zone."""
    spoiled = rng.permutation(np.flatnonzero(sites["own_tie_breaker"] == "no"))[:unservable]
    too_old, too_far, pinned = spoiled[0::3], spoiled[1::3], spoiled[2::3]
    sites.loc[too_old, "release"] = RELEASES[0]
    sites.loc[too_far, "latency_budget_ms"] = _HOPELESS_BUDGET_MS
    sites.loc[pinned, "pinned_hub"] = hubs["hub"].to_numpy(dtype=object)[pairs.hub[pinned, 0]]
    sites.loc[pinned, "zone"] = hubs["zone"].to_numpy(dtype=object)[pairs.hub[pinned, 0]]
    sites.loc[pinned, "barred_hubs"] = ""


def _latency(
    rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, pairs: Pairs, chosen: Ints
) -> pd.DataFrame:
    """Return measured pairs; one in 200 is missing, but none that the generator's own plan uses."""
    measured = rng.random(pairs.hub.shape) >= 0.005
    measured[np.arange(len(sites)), chosen] = True
    site, place = np.nonzero(measured)
    return pd.DataFrame(
        {
            "site": pd.Categorical.from_codes(site, categories=sites["site"]),
            "hub": pd.Categorical.from_codes(pairs.hub[site, place], categories=hubs["hub"]),
            "rtt_ms": pairs.rtt_ms[site, place],
        }
    )


def _policy(cluster_cap: int) -> pd.DataFrame:
    settings = {
        "cluster_cap": cluster_cap,
        "release_floor": RELEASE_FLOOR,
        "host_release_rule": "not_older",
        "currency": "EUR",
        "timezone": "Europe/Berlin",
    }
    return pd.DataFrame({"setting": list(settings), "value": list(settings.values())}, dtype=object)
