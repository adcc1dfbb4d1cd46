"""What the rules of one fleet share, computed once: release ranks, zone and region tables, distances."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cached_property

import numpy as np

from planner.fleet import Bools, Fleet, Floats, Ints, positions
from planner.latency import distance_km, farther_than, resolve
from planner.releases import Release, parse_release
from planner.rules.pairs import Pairs


class Facts:
    """Tables of one fleet that several rules read. Positions are those of the fleet's tables."""

    def __init__(self, fleet: Fleet) -> None:
        self.fleet = fleet
        self.policy = fleet.policy
        self.latency = resolve(fleet)

    @cached_property
    def over_alone(self) -> dict[str, Bools]:
        """Setting -> sites that exceed it wherever they are, shape (sites,): as a whole, or by each of their parts."""
        fleet, policy = self.fleet, self.policy
        found: dict[str, Bools] = {}
        for setting in ("max_blast_radius_hub", "max_blast_radius_zone"):
            most = getattr(policy, setting)
            if most is not None:
                found[setting] = fleet.clusters // fleet.parts > most
        parts, kind = np.unique(fleet.parts, return_inverse=True)
        for setting in ("max_share_percent", "max_share_percent_hub", "max_share_percent_zone"):
            share = fleet.most_weight(getattr(policy, setting))
            if share is not None:
                most_of_site = np.array([math.floor(share * int(count)) for count in parts], dtype=np.int64)
                found[setting] = fleet.whole_weights > most_of_site[kind]
        return found

    @cached_property
    def part_kbps(self) -> Floats:
        """Traffic in kb/s that a hub carries at the least if it carries a site at all, shape (sites,)."""
        return np.asarray(self.fleet.cluster_kbps * (self.fleet.clusters // self.fleet.parts))

    @cached_property
    def releases(self) -> tuple[list[Release | None], list[Release | None]]:
        """Release of each site and of each pool that the plan is made for; None where unknown."""
        known = {text: parse_release(text) for text in {*self.fleet.site_releases, *self.fleet.host_releases} if text}
        return (
            [known.get(text) for text in self.fleet.site_releases],
            [known.get(text) for text in self.fleet.host_releases],
        )

    @cached_property
    def ranks(self) -> tuple[Ints, Ints]:
        """Order of each site's and each pool's release; -1 where unknown. Under same_major, the first number."""
        sites, pools = self.releases
        if self.policy.host_release_rule == "same_major":
            rank = {release: release.major for release in {*sites, *pools} if release is not None}
        else:
            ordered = sorted({release for release in {*sites, *pools} if release is not None})
            rank = {release: position for position, release in enumerate(ordered)}
        return (
            np.array([-1 if r is None else rank[r] for r in sites], dtype=np.int64),
            np.array([-1 if r is None else rank[r] for r in pools], dtype=np.int64),
        )

    @cached_property
    def below_floor(self) -> Bools:
        """Sites older than the floor, or of unknown release while there is a floor, shape (sites,)."""
        floor = parse_release(self.policy.release_floor) if self.policy.release_floor else None
        return np.array([floor is not None and (r is None or r < floor) for r in self.releases[0]], dtype=np.bool_)

    @cached_property
    def wrong_nodes(self) -> Bools:
        """Sites whose clusters have not two data nodes, shape (sites,)."""
        wrong: Bools = self.fleet.sites["nodes"].fillna(2).to_numpy(dtype=np.float64) != 2.0
        return wrong

    @cached_property
    def pinned(self) -> Ints:
        """Hub that each site is pinned to; -1 for none."""
        return positions(self.fleet.sites["pinned_hub"], self.fleet.hub_ids)

    @cached_property
    def barred(self) -> Ints:
        """Keys, see `site_hub_keys`, of the pairs that a site bars."""
        hub = {name: position for position, name in enumerate(self.fleet.hub_ids)}
        barred = enumerate(self.fleet.sites["barred_hubs"])
        return self.site_hub_keys(
            *_columns((site, hub[name]) for site, names in barred for name in names if name in hub)
        )

    @cached_property
    def shared_zones(self) -> Ints:
        """Keys, see `site_hub_keys`, of the sites and hubs that lie in one failure zone."""
        hubs_in = self.fleet.hubs_in_zones
        sites = enumerate(self.fleet.sites["zone"])
        pairs = ((site, int(hub)) for site, zones in sites for zone in zones for hub in hubs_in.get(zone, ()))
        return self.site_hub_keys(*_columns(pairs))

    def site_hub_keys(self, site: Ints, hub: Ints) -> Ints:
        """Return one number for each pair of site and hub."""
        return site * len(self.fleet.hub_ids) + hub

    @cached_property
    def same_place(self) -> Ints:
        """Hub whose id is the site's own id; -1 for none."""
        return positions(self.fleet.sites["site"], self.fleet.hub_ids)

    @cached_property
    def regions(self) -> tuple[Ints, Bools]:
        """Region code of each site, and which pool serves which code, shape (codes, pools)."""
        folded = [_fold(region) for region in self.fleet.sites["region"]]
        codes = {region: code for code, region in enumerate(dict.fromkeys(folded))}
        serves = [{_fold(region) for region in regions} for regions in self.fleet.pools["serves_regions"]]
        table = np.array([[not wanted or region in wanted for wanted in serves] for region in codes], dtype=np.bool_)
        return np.array([codes[region] for region in folded], dtype=np.int64), table.reshape(len(codes), len(serves))

    def hub(self, pairs: Pairs) -> Ints:
        """Position of each pair's hub in ``fleet.hub_ids``."""
        return self.fleet.hub_of_pool[pairs.pool]

    def distance_km(self, pairs: Pairs) -> Floats:
        """Distance between site and hub of each pair in km; NaN where a coordinate is missing."""
        return distance_km(*self._places(pairs))

    def farther_than(self, km: float, pairs: Pairs) -> Bools:
        """Whether site and hub of each pair are more than ``km`` apart; False where a coordinate is missing."""
        return farther_than(km, *self._places(pairs))

    def _places(self, pairs: Pairs) -> tuple[Floats, Floats, Floats, Floats]:
        """Latitude and longitude of each pair's site, then of its hub."""
        latitude_1, longitude_1, latitude_2, longitude_2 = self._coordinates
        return latitude_1[pairs.site], longitude_1[pairs.site], latitude_2[pairs.pool], longitude_2[pairs.pool]

    @cached_property
    def _coordinates(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Latitude and longitude of sites, then of pools."""
        latitude_1, longitude_1, latitude_2, longitude_2 = (
            table[name].to_numpy(dtype=np.float64)
            for table in (self.fleet.sites, self.fleet.pools)
            for name in ("latitude", "longitude")
        )
        return latitude_1, longitude_1, latitude_2, longitude_2


def _columns(pairs: Iterable[tuple[int, int]]) -> tuple[Ints, Ints]:
    """Return pairs as two arrays."""
    both = np.array(list(pairs), dtype=np.int64).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def _fold(text: str) -> str:
    return text.strip().casefold()
