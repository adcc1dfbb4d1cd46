"""A rollout replayed: after every start and every end of a step, who holds a place where, and which releases run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from planner.releases import parse_release
from planner.schedule import Rollout, Step
from planner.verify.case import Case
from planner.verify.inventory import Pool
from planner.verify.rules import broken_rules
from planner.verify.violation import Violation

_OF_RELEASES = {"host_release", "release_floor"}


@dataclass
class Replay:
    """The state while the steps run. ``held`` are the hosts on which a site has a place: two while it moves."""

    case: Case
    rollout: Rollout
    releases: dict[str, str]  # of sites, and of hosts under "host NAME"
    pools: dict[str, Pool]  # of every host that is known
    held: dict[str, list[str]] = field(default_factory=dict)
    running: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.first_load = {host: self.load(host) for host in self.pools}
        self.first_traffic = {pool.hub: self.traffic(pool.hub) for pool in self.pools.values()}
        self.first_states = {(site, *self._releases(site, h)) for site, hosts in self.held.items() for h in hosts}

    def load(self, host: str) -> int:
        """Return the clusters that hold a place on ``host``."""
        return sum(self.case.inventory.sites[site].clusters for site, hosts in self.held.items() if host in hosts)

    def traffic(self, hub: str) -> float:
        """Return the tie-breaker traffic of the sites with a place at ``hub`` in kb/s."""
        sites = self.case.inventory.sites
        at_hub = [
            s for s, hosts in self.held.items() if any(h in self.pools and self.pools[h].hub == hub for h in hosts)
        ]
        return sum(sites[site].clusters * sites[site].cluster_kbps for site in at_hub)

    def run(self) -> Iterator[Violation]:
        """Yield what is wrong, moment by moment; at one moment ends come before starts."""
        events = [(step.starts, 1, step.id, step) for step in self.rollout.steps]
        events += [(step.ends, 0, step.id, step) for step in self.rollout.steps]
        for _, starting, _, step in sorted(events, key=lambda event: event[:3]):
            yield from self._start(step) if starting else self._end(step)

    def _start(self, step: Step) -> Iterator[Violation]:
        where = f"step {step.id}"
        for host in step.hosts:
            if host not in self.running and step.kind != "host_install":
                yield Violation(
                    "host_running",
                    where,
                    f"host {host} does not run when the step begins, at {step.starts:%Y-%m-%d %H:%M} UTC",
                )
        if step.kind in ("attach", "move", "detour"):
            yield from self._join(step, where)
        elif step.kind == "host_retire" and (load := self.load(str(step.host))):
            yield Violation(
                "host_running", where, f"it switches off host {step.host}, which still carries {load} clusters"
            )

    def _join(self, step: Step, where: str) -> Iterator[Violation]:
        site = str(step.site)
        before = [] if step.from_host is None else [step.from_host]
        if self.held.get(site, []) != before:
            found = ", ".join(self.held.get(site, [])) or "no host"
            yield Violation(
                "step_form",
                where,
                f"the step starts from {step.from_host or 'no host'}, but the site is on {found} at that time",
            )
        if step.to_host is None:
            return
        self.held[site] = [*before, step.to_host]
        pool = self.pools.get(step.to_host)
        if pool is None:
            return
        for code, message in broken_rules(self.case.inventory, self.case.inventory.sites[site], pool):
            if code not in _OF_RELEASES:
                yield Violation(code, where, f"site {site} may not join {step.to_host}: {message}")
        floor = self.case.inventory.policy.release_floor
        if floor and not (self.releases[site] and parse_release(self.releases[site]) >= parse_release(floor)):
            yield Violation(
                "release_floor",
                where,
                f"its site joins a shared host at release {self.releases[site] or 'unknown'}; the release "
                f"floor is {floor}",
            )
        load, most = self.load(step.to_host), max(pool.cap, self.first_load[step.to_host])
        if load > most:
            yield Violation(
                "capacity", where, f"after it, host {step.to_host} carries {load} clusters; its cap is {pool.cap}"
            )
        traffic, uplink = self.traffic(pool.hub), max(pool.uplink_mbps * 1000, self.first_traffic[pool.hub])
        if traffic > uplink * (1 + 1e-9):
            yield Violation(
                "uplink",
                where,
                f"after it, hub {pool.hub} has {traffic:g} kb/s of traffic; its uplink carries {uplink:g} kb/s",
            )

    def _end(self, step: Step) -> Iterator[Violation]:
        where = f"step {step.id}"
        if step.kind in ("attach", "move", "detour"):
            self.held[str(step.site)] = [] if step.to_host is None else [step.to_host]
            yield from self._suits(str(step.site), where)
        elif step.kind == "site_release":
            self.releases[str(step.site)] = str(step.release)
            yield from self._suits(str(step.site), where)
        elif step.kind == "host_release":
            self.releases[f"host {step.host}"] = str(step.release)
            for site in [site for site, hosts in self.held.items() if step.host in hosts]:
                yield from self._suits(site, where)
        elif step.kind == "host_install":
            self.running.add(str(step.host))
        else:
            self.running.discard(str(step.host))

    def _releases(self, site: str, host: str) -> tuple[str, str, str]:
        return host, self.releases.get(site, ""), self.releases.get(f"host {host}", "")

    def _suits(self, site: str, where: str) -> Iterator[Violation]:
        """Check the host release rule; what is as it was at the start may be broken as it was."""
        rule = self.case.inventory.policy.host_release_rule
        for host in self.held.get(site, []):
            _, own, other = state = self._releases(site, host)
            if rule == "any" or not own or not other or (site, *state) in self.first_states:
                continue
            site_release, host_release = parse_release(own), parse_release(other)
            same = site_release.major == host_release.major
            if not (same if rule == "same_major" else host_release >= site_release):
                yield Violation(
                    "host_release",
                    where,
                    f"after it, site {site} with release {own} is on host {host} with release {other}, "
                    "which does not suit",
                )
