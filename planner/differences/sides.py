"""What is known of both sides, and what a changed row does to the rules between a site and a host."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from planner.differences.difference import Cause, FleetChange
from planner.differences.served import hosts_of
from planner.fleet import Fleet
from planner.plan import Host, Plan, Unserved
from planner.rules import Checker

# The columns that each rule reads: of the site, of the pool, of the policy; and whether it reads the pair.
_CLUSTERS = ("clusters",)
_READS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], bool]] = {
    "nodes": (("nodes",), (), (), False),
    "release_floor": (("release", "target_release"), (), ("release_floor",), False),
    "unknown_latency": ((), (), ("unknown_latency", "percentile"), True),
    "latency": (("latency_budget_ms",), (), ("latency_budget_ms", "percentile"), True),
    "loss": ((), (), ("max_loss_percent", "percentile"), True),
    "evidence": ((), (), ("accepted_evidence",), True),
    "old_latency": ((), (), ("max_age_days", "old_latency", "as_of"), True),
    "pinned_hub": (("pinned_hub",), (), (), False),
    "barred_hub": (("barred_hubs",), (), (), False),
    "region": (("region",), ("serves_regions",), (), False),
    "host_release": (("release", "target_release"), ("host_release",), ("host_release", "host_release_rule"), False),
    "capacity": (
        _CLUSTERS,
        ("max_hosts", "existing_hosts", "retiring_hosts", "cluster_cap", "rack_units", "host_rack_units"),
        ("cluster_cap", "reserve_percent", "max_hosts_per_hub", "host_rack_units", "max_blast_radius"),
        False,
    ),
    "uplink": (
        (*_CLUSTERS, "tie_breaker_kbps"),
        ("uplink_mbps",),
        ("tie_breaker_kbps", "uplink_share_percent"),
        False,
    ),
    "blast_radius": (
        _CLUSTERS,
        (),
        tuple(f"max_{kind}{of}" for kind in ("blast_radius", "share_percent") for of in ("", "_hub", "_zone")),
        False,
    ),
    "third_location": (
        ("zone", "latitude", "longitude"),
        ("zone", "latitude", "longitude"),
        ("third_location_km",),
        True,
    ),
}


@dataclass(frozen=True, slots=True)
class Read:
    """A cause that the fleets show by themselves."""

    cause: Cause
    why: str
    behind: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sides:
    """Both plans with their fleets, as far as those are known, and the changes between these."""

    old: Plan
    new: Plan
    old_fleet: Fleet | None
    new_fleet: Fleet | None
    changes: Sequence[FleetChange]

    @cached_property
    def old_hosts(self) -> dict[str, tuple[str, ...]]:
        """Hosts of each site in the old plan."""
        return hosts_of(self.old)

    @cached_property
    def new_hosts(self) -> dict[str, tuple[str, ...]]:
        """Hosts of each site in the new plan."""
        return hosts_of(self.new)

    @cached_property
    def old_unserved(self) -> dict[str, Unserved]:
        """What the old plan leaves out."""
        return {entry.site: entry for entry in self.old.unserved}

    @cached_property
    def new_unserved(self) -> dict[str, Unserved]:
        """What the new plan leaves out."""
        return {entry.site: entry for entry in self.new.unserved}

    def served_by(self, plan: Plan) -> dict[str, tuple[str, ...]]:
        """Return the hosts of each site in ``plan``, looked up once."""
        if id(plan) not in self._looked_up:
            self._looked_up[id(plan)] = hosts_of(plan)
        return self._looked_up[id(plan)]

    @cached_property
    def _looked_up(self) -> dict[int, dict[str, tuple[str, ...]]]:
        return {}

    @cached_property
    def standing(self) -> dict[str, set[str]]:
        """Hosts that serve each site today, by the new fleet."""
        found: dict[str, set[str]] = defaultdict(set)
        if self.new_fleet is not None:
            table = self.new_fleet.current
            for site, host in zip(table["site"], table["host"], strict=True):
                found[site].add(host)
        return found

    @cached_property
    def _changes_of(self) -> dict[tuple[str, str], list[FleetChange]]:
        found: dict[tuple[str, str], list[FleetChange]] = defaultdict(list)
        for change in self.changes:
            found[change.sheet, change.id].append(change)
        return found

    def changes_of(self, sheet: str, row: str) -> list[FleetChange]:
        """Return the changes of one row."""
        return self._changes_of.get((sheet, row), [])

    def behind_rule(self, code: str, site: str, host: Host) -> list[FleetChange]:
        """Return the changes that the rule ``code`` reads for ``site`` and ``host``; those of the pair come first."""
        of_site, of_pool, of_policy, of_pair = _READS[code]
        pair = [row for row in self.changes_of("Latency", site) if of_pair and row.hub == host.hub]
        site_rows = [row for row in self.changes_of("Sites", site) if row.column in of_site]
        pool_rows = [row for row in self.changes_of("Hubs", host.pool) if row.column in of_pool]
        policy_rows = [row for name in of_policy for row in self.changes_of("Policy", name)]
        return [*pair, *site_rows, *pool_rows, *policy_rows]

    def lost(self, site: str, host: Host) -> Read | None:
        """Return why ``site`` may not use ``host`` of the old plan any more; None where the rules still let it."""
        fleet = self.new_fleet
        if fleet is None:
            return self._told_by_plans(site, host)
        if host.pool not in fleet.pool_ids:
            return Read("hub", f"Pool {host.pool} is gone.", (host.pool,))
        if host.host in fleet.retiring_hosts:
            return Read("hub", f"Host {host.host} is to be emptied.", (host.pool,))
        return self._by_rules(fleet, site, host, "")

    def gained(self, site: str, host: Host) -> Read | None:
        """Return why ``site`` could not use ``host`` of the new plan before; None where the rules let it."""
        fleet = self.old_fleet
        if fleet is None or site not in fleet.site_ids:
            return None
        if host.pool not in fleet.pool_ids:
            return Read("hub", f"Pool {host.pool} is new.", (host.pool,))
        return self._by_rules(fleet, site, host, "before, ")

    def _by_rules(self, fleet: Fleet, site: str, host: Host, when: str) -> Read | None:
        for code, detail in broken_rules(fleet, site, host.pool):
            rows = self.behind_rule(code, site, host)
            if rows:
                ids = dict.fromkeys(row.id for row in rows)
                return Read(rows[0].cause, f"{host.hub}: {when}{detail} ({_told(rows)}).", tuple(ids))
        return None

    def _told_by_plans(self, site: str, host: Host) -> Read | None:
        """Return what the plans alone show: a changed budget, or a policy that cannot be the old one's."""
        rows = [row for row in self.changes_of("Sites", site) if row.column == "latency_budget_ms"]
        used = [row.rtt_ms for row in self.old.assignments if row.site == site and row.host == host.host]
        if rows and used and max(used) > float(rows[0].new):
            return Read("site", f"Its RTT to {host.hub} was {max(used):g} ms ({_told(rows)}).", (site,))
        return None


def _told(rows: Sequence[FleetChange]) -> str:
    return ", ".join(f"{row.column} {row.old or 'blank'} -> {row.new or 'blank'}" for row in rows[:2])


def broken_rules(fleet: Fleet, site: str, pool: str) -> Iterator[tuple[str, str]]:
    """Yield code and words of each rule of ``fleet`` that keeps ``site`` from ``pool``."""
    if site not in fleet.site_ids or pool not in fleet.pool_ids:
        return
    checker, at = Checker.of(fleet), fleet.pool_ids.index(pool)
    for rule, pairs in checker.broken(fleet.site_ids.index(site)):
        of_pool = pairs.take(pairs.pool == at)
        if len(of_pool):
            yield rule.code, rule.why(checker.facts, of_pool)
