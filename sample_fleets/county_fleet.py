"""The county chain, clean: 180 garden centres, nine hubs, ten pools; make_county_chain.py writes it untidily."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sample_fleets.county_equipment import MANAGEMENT_FLOOR, TIE_BREAKER_KBPS, UPLINK_SHARE_PERCENT, with_equipment
from sample_fleets.names import town_names

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

SITES = 180
UNSERVABLE = {
    "too_far": "0.3 ms beyond the budget at its fastest hub",
    "too_old": "runs 7.9, older than the floor",
    "too_new": "runs 9.0 beta 2, newer than any host",
    "pinned_at_home": "pinned to the hub whose power feed it shares",
    "unmeasured": "no round-trip time known to any hub",
    "lossy": "2 of 20 probes lost to both hubs that were probed",
}
BUDGET_MS = 15.0
PROBES = 20  # to each pair of the Samples sheet

_OTHER_ROLES = ("linked_east", "linked_west", "sampled", "sampled_too")
_TOWNS = 45
_SOUTH, _NORTH, _WEST, _EAST = 52.5, 53.6, -2.7, -0.7  # degrees; about 120 by 130 km
_KM_PER_DEGREE = 111.2
_RING_MS_PER_KM = 0.2  # the county's old access ring: many hops, so far slower than fibre alone
_BUDGET_STEP_MS = 2.5
_WELL_WITHIN_MS = 12.5
_RELEASES = ("8.2", "8.4", "8.4 SP1", "8.6", "8.6-p2", "8.10", "8.10 SP1")  # oldest first
_MANAGERS = ("A. Moss", "B. Fern", "C. Reed", "D. Thorn", "E. Vale", "F. Heath")
_STREETS = ("Mill Lane", "Station Road", "the old nursery", "Ring Road", "Market Place", "Canal Wharf", "Hill Top")
_FIRST_PROBE = dt.datetime(2030, 3, 4, 9, 0)
_LOADED_TODAY = 12  # clusters on a host before the next one was bought: today's hosts are half empty

_POOL_COLUMNS = (
    *("hub", "pool", "name", "region", "latitude", "longitude", "zone"),
    *("max_hosts", "existing_hosts", "host_release", "cluster_cap", "host_cost"),
)
_POOLS: tuple[tuple[Any, ...], ...] = (
    ("DUN", "DUN", "Dunmere data room", "North", 53.41, -2.31, "feed-dun", 3, 0, "8.10", None, 1150),
    ("ELM", "ELM", "Elmholt depot", "North", 53.48, -1.62, "feed-elm", 2, 0, "8.10", None, 980),
    ("FEN", "FEN", "Fennel Cross depot", "East", 53.22, -0.92, "feed-fen;ring-east", 3, 0, "8.6", 12, 980),
    ("GOR", "GOR", "Gorseby offices", "East", 52.86, -0.88, "feed-gor;ring-east", 2, 0, "8.10", None, 1010),
    ("HOL", "HOL-A", "Hollin Park, old room", "Middle", 53.02, -1.61, "feed-hol", 1, 0, "8.4", 12, 700),
    ("HOL", "HOL-B", "Hollin Park, new room", "Middle", 53.02, -1.61, "feed-hol", 2, 0, "8.10 SP1", 24, 1400),
    ("KER", "KER", "Kerrow depot", "West", 53.05, -2.44, "feed-ker", 2, 0, "8.10", 16, 980),
    ("LOX", "LOX", "Loxhay depot", "West", 52.66, -2.28, "feed-lox", 1, 0, "8.6", None, 980),
    ("MIR", "MIR", "Mirefield depot", "Middle", 52.63, -1.55, "feed-mir", 2, 0, "8.10", 16, 900),
    ("TAR", "TAR", "Tarnshaw, rented rack", "Middle", 53.19, -1.98, "feed-tar", 1, 0, "8.10", None, 1600),
)
_POLICY: dict[str, Any] = {
    "cluster_cap": 20,
    "reserve_percent": 10,
    "latency_budget_ms": BUDGET_MS,
    "release_floor": "8.2",
    "percentile": 95,
    "max_loss_percent": 1,
    "management_floor": MANAGEMENT_FLOOR,
    "tie_breaker_kbps": TIE_BREAKER_KBPS,
    "uplink_share_percent": UPLINK_SHARE_PERCENT,
    "currency": "GBP",
    "timezone": "Europe/London",
    "window": "Sun 20:00-23:30",
}


def county_tables(seed: int = 22) -> dict[str, pd.DataFrame]:
    """Return Sites, Hubs, Latency (long form), Samples, Links, Current and Policy with canonical columns, ids as text.

    The column ``role`` of Sites, which is not written, says what a site was made for: a key of `UNSERVABLE`, or the
    way in which its round-trip time is known, or nothing; ``preparation``, not written either, what a survey found.
    Sites without a key of `UNSERVABLE` have an eligible pool; that all pools together have room for them is so for
    the default seed and most others, not for every one.
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    pools = pd.DataFrame(_POOLS, columns=_POOL_COLUMNS)
    hubs = pools.drop_duplicates("hub").reset_index(drop=True)
    sites, km = _sites(rng, hubs)
    rtt_ms = _rtt_ms(rng, km)
    _give_roles(rng, sites, hubs, rtt_ms)
    _widen_budgets(sites, np.where(_allowed(sites, pools, hubs), rtt_ms, np.inf))
    current = _current(rng, sites, pools, hubs, rtt_ms)
    return {
        "Sites": with_equipment(sites, seed),
        "Hubs": pools,
        "Latency": _latency(rng, sites, hubs, rtt_ms),
        "Samples": _samples(rng, sites, hubs, rtt_ms),
        "Links": _links(sites),
        "Current": current,
        "Policy": pd.DataFrame({"setting": list(_POLICY), "value": list(_POLICY.values())}, dtype=object),
    }


def _sites(rng: np.random.Generator, hubs: pd.DataFrame) -> tuple[pd.DataFrame, Floats]:
    """Return the Sites table, and the distance in km from each site to each hub."""
    share = 1.0 / np.arange(1, _TOWNS + 1) ** 0.5
    town = np.sort(rng.choice(_TOWNS, SITES, p=share / share.sum()))
    latitude = np.round(rng.uniform(_SOUTH, _NORTH, _TOWNS)[town] + 0.03 * rng.standard_normal(SITES), 4)
    longitude = np.round(rng.uniform(_WEST, _EAST, _TOWNS)[town] + 0.05 * rng.standard_normal(SITES), 4)
    north_km = (latitude[:, None] - hubs["latitude"].to_numpy()) * _KM_PER_DEGREE
    east_km = (longitude[:, None] - hubs["longitude"].to_numpy()) * _KM_PER_DEGREE * np.cos(np.radians(53.0))
    km = np.hypot(north_km, east_km)
    near = hubs.iloc[km.argmin(axis=1)]
    whole_zone = near["zone"].to_numpy(dtype=object)
    feed = near["zone"].str.split(";").str[0].to_numpy(dtype=object)
    lot = rng.random(SITES)
    in_zone = (km.min(axis=1) < 14) & (lot < 0.4)
    own = rng.choice(["yes", "possible", "no"], SITES, p=[0.03, 0.015, 0.955])
    names = town_names(_TOWNS)
    sites = pd.DataFrame(
        {
            "site": [f"{number:04d}" for number in sorted(rng.permutation(np.arange(3, 990))[:SITES].tolist())],
            "name": [f"{names[one]}, {rng.choice(_STREETS)}" for one in town.tolist()],
            "region": near["region"].to_numpy(),
            "latitude": latitude,
            "longitude": longitude,
            "clusters": rng.choice([1, 2, 3], SITES, p=[0.88, 0.09, 0.03]),
            "release": rng.choice(_RELEASES[:6], SITES, p=[0.1, 0.35, 0.12, 0.25, 0.08, 0.1]).tolist(),
            "latency_budget_ms": rng.choice([np.nan, 10.0, 12.0, 17.5, 25.0], SITES, p=[0.7, 0.1, 0.08, 0.07, 0.05]),
            "weight": rng.choice([np.nan, 2.0, 5.0], SITES, p=[0.9, 0.07, 0.03]),
            "zone": np.where(in_zone, np.where(lot < 0.2, whole_zone, feed), ""),
            "pinned_hub": np.where((lot > 0.98) & ~in_zone, near["hub"].to_numpy(dtype=object), ""),
            "barred_hubs": np.where((lot > 0.95) & (lot <= 0.98) & ~in_zone, near["hub"].to_numpy(dtype=object), ""),
            "own_tie_breaker": own.tolist(),
            "own_tie_breaker_cost": np.where(own == "possible", 350.0, np.nan),
            "manager": rng.choice(_MANAGERS, SITES).tolist(),
            "floor_area": rng.integers(8, 60, SITES) * 50,
            "role": [""] * SITES,
        }
    )
    sites.loc[sites["pinned_hub"] != "", "release"] = "8.4"  # which any hub's hosts can carry
    return sites, km


def _rtt_ms(rng: np.random.Generator, km: Floats) -> Floats:
    """Return round-trip times, shape (sites, hubs): the site's line, the ring, and a detour on some pairs."""
    line_ms = 3.0 + 4.0 * rng.random((len(km), 1))
    detour_ms = np.where(rng.random(km.shape) < 0.15, rng.uniform(4, 15, km.shape), 0.0)
    return np.round(line_ms + _RING_MS_PER_KM * km * rng.uniform(0.9, 1.3, km.shape) + detour_ms, 1)


def _give_roles(rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, rtt_ms: Floats) -> None:
    """Choose a plain site for each role and make it what the role says."""
    unmarked = (sites[["zone", "pinned_hub", "barred_hubs"]] == "").all(axis=1) & (sites["own_tie_breaker"] == "no")
    near_two = np.sort(rtt_ms, axis=1)[:, 1] < _WELL_WITHIN_MS  # so that probes do not straddle the budget
    plain = np.flatnonzero(unmarked & (sites["clusters"] == 1) & near_two)
    roles = (*UNSERVABLE, *_OTHER_ROLES)
    at = dict(zip(roles, rng.permutation(plain)[: len(roles)].tolist(), strict=True))
    linked = ("linked_west", "linked_east")
    at.update(zip(linked, sorted((at[role] for role in linked), key=sites["longitude"].get), strict=True))
    for role, site in at.items():
        sites.loc[site, ["role", "latency_budget_ms", "release"]] = [role, np.nan, "8.4"]
    rtt_ms[at["too_far"]] = np.round(rtt_ms[at["too_far"]] + BUDGET_MS + 0.3 - rtt_ms[at["too_far"]].min(), 1)
    sites.loc[at["too_old"], "release"] = "7.9"
    sites.loc[at["too_new"], "release"] = "9.0 beta 2"
    home = hubs.iloc[rtt_ms[at["pinned_at_home"]].argmin()]
    sites.loc[at["pinned_at_home"], ["pinned_hub", "zone"]] = [home["hub"], home["zone"].split(";")[0]]


def _allowed(sites: pd.DataFrame, pools: pd.DataFrame, hubs: pd.DataFrame) -> Bools:
    """Return what zones, pins, bars and releases leave of the pairs, shape (sites, hubs)."""
    newest = pools.assign(rank=pools["host_release"].map(_RELEASES.index)).groupby("hub")["rank"].max()
    rank = sites["release"].map({release: position for position, release in enumerate(_RELEASES)}).fillna(-1)
    hub = hubs["hub"].to_numpy(dtype=object)
    pinned, barred = (sites[name].to_numpy(dtype=object)[:, None] for name in ("pinned_hub", "barred_hubs"))
    at_hub = [set(text.split(";")) for text in hubs["zone"]]
    apart = np.array(
        [[zones.isdisjoint(text.split(";")) for zones in at_hub] for text in sites["zone"]], dtype=np.bool_
    )
    allowed: Bools = newest[hub].to_numpy() >= rank.to_numpy()[:, None]
    return allowed & ((pinned == "") | (pinned == hub)) & (barred != hub) & apart


def _widen_budgets(sites: pd.DataFrame, rtt_ms: Floats) -> None:
    """Give sites that would reach no hub by chance the next rounder budget; those with a role keep theirs."""
    fastest = rtt_ms.min(axis=1)
    short = (fastest > sites["latency_budget_ms"].fillna(BUDGET_MS)) & (sites["role"] == "")
    sites.loc[short, "latency_budget_ms"] = np.ceil(fastest[short] / _BUDGET_STEP_MS) * _BUDGET_STEP_MS


def _current(
    rng: np.random.Generator, sites: pd.DataFrame, pools: pd.DataFrame, hubs: pd.DataFrame, rtt_ms: Floats
) -> pd.DataFrame:
    """Return today's assignments, each to the fastest hub while it has room, and count the existing hosts of pools."""
    attached = (rng.random(SITES) < 0.93) & ~sites["role"].isin(["unmeasured", "linked_east", "linked_west"])
    attached &= sites["own_tie_breaker"] != "yes"
    fastest = hubs["hub"].to_numpy(dtype=object)[rtt_ms.argmin(axis=1)]
    pool_of_host = {
        hub: [pool for pool in group.index for _ in range(pools["max_hosts"][pool])]
        for hub, group in pools.groupby("hub")
    }
    load = dict.fromkeys(pool_of_host, 0)
    rows = []
    for site in np.flatnonzero(attached).tolist():
        hub = fastest[site]
        nth = load[hub] // _LOADED_TODAY
        if nth < len(pool_of_host[hub]):
            rows.append((sites["site"][site], hub, f"{hub}-{nth + 1:02d}"))
            load[hub] += int(sites["clusters"][site])
    current = pd.DataFrame(rows, columns=["site", "hub", "host"])
    for hub, hosts in current.groupby("hub")["host"].nunique().items():
        for pool in pool_of_host[hub][:hosts]:
            pools.loc[pool, "existing_hosts"] += 1
    return current


def _latency(rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, rtt_ms: Floats) -> pd.DataFrame:
    """Return measured pairs: none of sites known in another way, and a few missing among the slower ones."""
    place = rtt_ms.argsort(axis=1).argsort(axis=1)
    known = (rng.random(rtt_ms.shape) >= 0.02) | (place < 3)
    known &= ~sites["role"].isin([*_OTHER_ROLES, "unmeasured", "lossy"]).to_numpy()[:, None]
    site, hub = np.nonzero(known)
    return pd.DataFrame(
        {
            "site": pd.Categorical.from_codes(site, categories=sites["site"]),
            "hub": pd.Categorical.from_codes(hub, categories=hubs["hub"]),
            "rtt_ms": rtt_ms[site, hub],
        }
    )


def _samples(rng: np.random.Generator, sites: pd.DataFrame, hubs: pd.DataFrame, rtt_ms: Floats) -> pd.DataFrame:
    """Return `PROBES` probes for each of two hubs of the sampled sites; NaN where lost."""
    rows = []
    for site in np.flatnonzero(sites["role"].isin(["sampled", "sampled_too", "lossy"])).tolist():
        for hub in rtt_ms[site].argsort()[:2].tolist():
            probes = np.round(rtt_ms[site, hub] + 1.5 * rng.random(PROBES), 1)
            if sites["role"][site] == "lossy":
                probes[[4, 13]] = np.nan
            for nth, one in enumerate(probes.tolist()):
                at = _FIRST_PROBE + dt.timedelta(minutes=15 * nth)
                rows.append((sites["site"][site], hubs["hub"][hub], at, one))
    return pd.DataFrame(rows, columns=["site", "hub", "at", "rtt_ms"])


def _links(sites: pd.DataFrame) -> pd.DataFrame:
    """Return the WAN links of two new sites: one-way ms where measured, route length where not."""
    east, west = (sites.loc[sites["role"] == role, "site"].item() for role in ("linked_east", "linked_west"))
    rows = [
        (east, "exchange east", 3.0, np.nan),
        (west, "exchange west", 2.4, np.nan),
        ("exchange east", "FEN", 2.1, np.nan),
        ("exchange east", "HOL", np.nan, 60.0),
        ("exchange west", "KER", 1.9, np.nan),
        ("exchange west", "TAR", np.nan, 48.0),
        ("exchange east", "exchange west", 6.5, np.nan),
    ]
    return pd.DataFrame(rows, columns=["from", "to", "latency_ms", "km"])
