"""Where every site is today and where the plan wants it, and every host that runs before, after or meanwhile."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from planner.counted_words import first_few
from planner.errors import InputError
from planner.fleet import Finding, Fleet, positions
from planner.plan import Plan
from planner.releases import parse_release
from planner.rules import Checker
from planner.running import Running, running_hosts
from planner.sizing import Problem, build_problem
from planner.today import read_today


@dataclass(frozen=True, slots=True)
class HostState:
    """A host: ``pool`` is its position in the fleet's Hubs, -1 for one that neither Current names nor Hubs counts.

    ``limit`` is its cluster cap, None where not known: on the way the reserve may be used. ``releases`` are
    (today, after).
    """

    name: str
    hub: str
    pool: int
    limit: int | None
    existing: bool
    planned: bool
    releases: tuple[str, str]

    @property
    def changes_release(self) -> bool:
        """Whether the rollout changes its release."""
        return self.existing and self.planned and not same_release(*self.releases)


@dataclass(frozen=True)
class State:
    """Hosts by name; ``now`` and ``then`` map a site to its host, and lack sites without one.

    ``sizes`` are clusters by site. ``unnamed`` are sites whose host Current does not name.
    """

    fleet: Fleet
    plan: Plan
    hosts: Mapping[str, HostState]
    now: Mapping[str, str]
    then: Mapping[str, str]
    sizes: Mapping[str, int]
    unnamed: tuple[str, ...]
    problem: Problem

    @cached_property
    def site_at(self) -> Mapping[str, int]:
        """Position of each site in the fleet's table."""
        return {site: at for at, site in enumerate(self.fleet.site_ids)}

    @cached_property
    def crews(self) -> Mapping[str, str]:
        """Name of the crew that changes each site; "" for those without a name."""
        return dict(zip(self.fleet.site_ids, self.fleet.sites["crew"].astype(str), strict=True))

    @cached_property
    def regions(self) -> Mapping[str, str]:
        """Region of each site."""
        return dict(zip(self.fleet.site_ids, self.fleet.sites["region"].astype(str), strict=True))

    @cached_property
    def releases(self) -> Mapping[str, tuple[str, str]]:
        """Release of each site: (today, after); equal where the rollout does not change it."""
        pairs = zip(self.fleet.site_ids, self.fleet.sites["release"], self.fleet.site_releases, strict=True)
        return {site: (today, today if same_release(today, after) else after) for site, today, after in pairs}

    @cached_property
    def _eligible(self) -> frozenset[tuple[int, int]]:
        problem = self.problem
        site, pool = problem.site_at[problem.site], problem.pool_at[problem.pool]
        pairs = zip(site[problem.homes].tolist(), pool[problem.homes].tolist(), strict=True)
        return frozenset(pairs)

    def eligible(self, site: str, host: str) -> bool:
        """Say whether the site may use the host, with the releases that the plan is made for."""
        return (self.site_at[site], self.hosts[host].pool) in self._eligible

    @cached_property
    def load(self) -> Mapping[str, int]:
        """Clusters on each host today."""
        load = dict.fromkeys(self.hosts, 0)
        for site, host in self.now.items():
            load[host] += self.sizes[site]
        return load


def same_release(one: str, other: str) -> bool:
    """Say whether two texts name one release; a blank one differs from every other."""
    if not one or not other:
        return one == other
    return parse_release(one) == parse_release(other)


def read_state(fleet: Fleet, plan: Plan) -> State:
    """Return the state before and after; raises InputError where sites are split, since Current has no counts."""
    _refuse_split(fleet, plan)
    problem = build_problem(fleet, Checker.of(fleet))
    running = running_hosts(fleet)
    hosts = _hosts(fleet, plan, problem, running)
    then = {row.site: row.host for row in plan.assignments}
    sizes = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    now, unnamed = _now(fleet, hosts, then, sizes, running)
    return State(fleet, plan, hosts, now, then, sizes, unnamed, problem)


def _refuse_split(fleet: Fleet, plan: Plan) -> None:
    today = [*zip(fleet.current["site"], fleet.current["host"], strict=True)]
    planned = [(row.site, row.host) for row in plan.assignments]
    for rows, where, who in ((today, "Current", "Current has"), (planned, "Assignments", "the plan has")):
        count = Counter(site for site, _ in rows)
        split = [
            f"{site} on {' and '.join(sorted(host for of, host in rows if of == site))}"
            for site, times in sorted(count.items())
            if times > 1
        ]
        if split:
            message = f"{who} sites that are split over several hosts: {first_few(split)}. A rollout moves whole sites."
            hint = "Plan with split_sites no, or roll these sites out by hand."
            hint = "Move each of them to one host by hand, and correct Current." if rows is today else hint
            raise InputError((Finding("error", "rollout_split", where, message, hint),))


def _hosts(fleet: Fleet, plan: Plan, problem: Problem, running: Running) -> dict[str, HostState]:
    today = read_today(fleet, problem.pool_at, fit=problem.max_hosts, most=problem.existing)
    pool_at = {pool: at for at, pool in enumerate(fleet.pool_ids)}
    # Hosts that Current or Hubs names run, also where the plan was made before they did.
    named = ({*fleet.current["host"]} - {""}) | {name for names in fleet.pools["host_names"] for name in names}
    hosts: dict[str, HostState] = {}

    def add(name: str, pool: int, *, existing: bool, planned: bool) -> None:
        after = fleet.host_releases[pool]
        raised = name in fleet.pools["upgraded_hosts"].iloc[pool]
        before = after if raised else fleet.pools["host_release_today"].iloc[pool] or after
        releases = (before if existing else after, after if planned or not existing else before)
        hub, limit = fleet.hub_ids[fleet.hub_of_pool[pool]], int(fleet.cluster_caps[pool])
        hosts[name] = HostState(name, hub, pool, limit, existing, planned, releases)

    for host in plan.host_list:
        add(host.host, pool_at[host.pool], existing=host.existing or host.host in named, planned=True)
    for p, names in enumerate(today.names):
        pool = int(problem.pool_at[p])
        counted = sum(h.pool == pool and h.existing for h in hosts.values())
        left = [name for name in names if name not in hosts]
        spare = max(0, int(problem.existing[p]) - counted)
        # Named hosts first; of the others as many as exist and do not run in the plan.
        gone = [n for n in left if n in named] + [n for n in left if n not in named]
        for name in gone[: max(spare, sum(n in named for n in left))]:
            add(name, pool, existing=True, planned=False)
    for pool, retiring in enumerate(fleet.pools["retiring_hosts"]):
        for name in retiring:
            if name not in hosts:
                add(name, pool, existing=True, planned=False)
    for (_, name), of in running.pool.items():
        if name not in hosts:
            add(name, pool_at[of], existing=True, planned=False)
    return hosts


def _now(
    fleet: Fleet, hosts: dict[str, HostState], then: Mapping[str, str], sizes: Mapping[str, int], running: Running
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return the host of each site today, chosen with room in mind where Current does not name it, and those sites."""
    now: dict[str, str] = {}
    free = {name: float("inf") if host.limit is None else float(host.limit) for name, host in hosts.items()}
    rows = sorted(zip(fleet.current["site"], fleet.current["hub"], fleet.current["host"], strict=True))
    for site, hub, host in rows:
        if host:
            hosts.setdefault(host, HostState(host, hub, -1, None, True, False, ("", "")))
            now[site] = host
            free[host] = free.get(host, float("inf")) - sizes[site]
    unnamed = tuple(site for site, _, host in rows if not host)
    for site, hub, _ in (row for row in rows if not row[2]):
        pools = {fleet.pool_ids.index(pool) for pool in running.may_be.get((site, hub), ())}
        here = [name for name, host in hosts.items() if host.existing and host.hub == hub and host.pool in pools]
        target = then.get(site)
        if target in here:
            # The plan calls this "keep": whichever host it is, it does not move the site.
            chosen = str(target)
        elif here:
            chosen = max(here, key=lambda name: (free[name] >= sizes[site], hosts[name].planned, free[name]))
        else:
            chosen = hub
            hosts.setdefault(hub, HostState(hub, hub, -1, None, True, False, ("", "")))
            free.setdefault(hub, float("inf"))
        now[site] = chosen
        free[chosen] -= sizes[site]
    return now, unnamed


def hub_position(fleet: Fleet, hub: str) -> int:
    """Return the position of the first pool at ``hub`` in Hubs."""
    return int(positions([hub], list(fleet.pools["hub"]))[0])
