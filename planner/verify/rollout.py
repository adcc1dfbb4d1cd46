"""Checks a rollout against fleet and plan: replays it, and counts what every wave may hold. Shares no code with it."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain, combinations

from planner.fleet import Fleet
from planner.plan import Plan
from planner.schedule import Rollout, Step, Wave
from planner.verify.case import Case
from planner.verify.clock import WallClock, wall_clock
from planner.verify.inventory import Pool, read_inventory
from planner.verify.replay import Replay
from planner.verify.running import Running
from planner.verify.step_form import step_form
from planner.verify.violation import Violation


def verify_rollout(fleet: Fleet, plan: Plan, rollout: Rollout) -> tuple[Violation, ...]:
    """Return everything in ``rollout`` that ``fleet``, its policy or ``plan`` contradict; it holds when that is empty.

    Caps, rules, releases and hosts are checked after every start and end of a step, windows and freezes minute by
    minute, and the limits of the policy wave by wave. Codes are those of `planner.verify.CODES`.
    """
    case = Case(read_inventory(fleet), plan)
    check = _Check(fleet, case, _in_utc(rollout))
    form = list(step_form(fleet, check.rollout))
    if any(violation.code == "step_form" for violation in form):
        return tuple(form)  # what follows looks up what these steps name
    replay = check.replay()
    found = chain(
        replay.run(), check.arrived(replay), check.times(), check.waves(), check.spacing(), check.host_releases()
    )
    return (*form, *found)


def _ends(replay: Replay, planned: dict[str, list[str]], site: str) -> str:
    found, wanted = (", ".join(hosts.get(site, [])) or "no host" for hosts in (replay.held, planned))
    return f"after the rollout it is on {found}; the plan says {wanted}"


def _in_utc(rollout: Rollout) -> Rollout:
    """Return the same moments in UTC.

    Python compares and subtracts two moments of one time zone by the clock on the wall, which is wrong by an hour
    where that clock repeats or leaves out one (Python library reference, datetime).
    """

    def moved(step: Step) -> Step:
        return replace(step, starts=step.starts.astimezone(dt.UTC), ends=step.ends.astimezone(dt.UTC))

    waves = []
    for wave in rollout.waves:
        steps = tuple(map(moved, wave.steps))
        starts, ends = wave.starts.astimezone(dt.UTC), wave.ends.astimezone(dt.UTC)
        waves.append(replace(wave, starts=starts, ends=ends, steps=steps))
    return replace(rollout, waves=tuple(waves))


@dataclass
class _Check:
    fleet: Fleet
    case: Case
    rollout: Rollout

    def __post_init__(self) -> None:
        fleet, policy = self.fleet, self.fleet.policy
        names = ("timezone", "window", "region", "crew", "release", "target_release", "neighbours")
        self.sites = {
            row[0]: dict(zip(names, row[1:], strict=True))
            for row in zip(fleet.sites["site"], *(fleet.sites[name] for name in names), strict=True)
        }
        self.pools = {row["pool"]: row for row in fleet.pools.to_dict("records")}
        frozen = list(zip(fleet.freezes["first"], fleet.freezes["last"], fleet.freezes["regions"], strict=True))

        def clock(timezone: str, window: str, region: str) -> WallClock:
            own = region.strip().casefold()
            days = [(a.date(), b.date()) for a, b, r in frozen if not r or own in {x.strip().casefold() for x in r}]
            return wall_clock(timezone or policy.timezone, window or policy.window, days)

        self.site_clocks = {s: clock(r["timezone"], r["window"], r["region"]) for s, r in self.sites.items()}
        self.pool_clocks = {p: clock(r["timezone"], r["window"], r["region"]) for p, r in self.pools.items()}
        self.pool_of = self._pools_of_hosts()

    def _pools_of_hosts(self) -> dict[str, Pool]:
        """Return the pool of each host; of several that may be the largest, where the plan does not name the host."""
        pools = self.case.inventory.pools
        found = {host.host: pools[host.pool] for host in self.case.plan.host_list}
        running = Running(self.case)
        for hub, host in running.rows:
            may_be = running.pools_of_host(hub, host)
            if host not in found and may_be:
                found[host] = max(may_be, key=lambda pool: pool.cap)
        for step in self.rollout.steps:
            for host in step.hosts:
                at_hub = [pool for pool in pools.values() if host.startswith(f"{pool.hub}-") or host == pool.hub]
                if host not in found and at_hub:
                    found[host] = max(at_hub, key=lambda pool: pool.cap)
        return found

    def replay(self) -> Replay:
        """Return the state before the first step."""
        plan, policy = self.case.plan, self.fleet.policy
        releases = {site: row["release"] for site, row in self.sites.items()}
        running = {row.host for rows in self.case.inventory.current.values() for row in rows if row.host}
        running |= {name for row in self.pools.values() for name in row["host_names"]}
        for host in plan.host_list:
            if host.existing:
                running.add(host.host)
        for step in self.rollout.steps:
            if step.kind == "host_retire":
                running.add(str(step.host))
        held: dict[str, list[str]] = {}
        for site, rows in self.case.inventory.current.items():
            held[site] = [row.host or self._unnamed(site, row.hub, running) for row in rows]
        running |= {host for hosts in held.values() for host in hosts}
        for name, pool in self.pool_of.items():
            row = self.pools[pool.pool]
            after = row["host_release"] or policy.host_release
            old = name in running and name not in row["upgraded_hosts"]
            releases[f"host {name}"] = (row["host_release_today"] or after) if old else after
        return Replay(self.case, self.rollout, releases, self.pool_of, held, running)

    def _unnamed(self, site: str, hub: str, running: set[str]) -> str:
        """Return a host for a site whose host Current does not name: the one that the rollout or the plan says."""
        steps = [step for step in self.rollout.steps if step.site == site and step.from_host is not None]
        if steps:
            return str(min(steps, key=lambda step: step.starts).from_host)
        rows = [row.host for row in self.case.rows.get(site, ()) if row.hub == hub and row.action == "keep"]
        return next((host for host in rows if host in running), hub)

    def arrived(self, replay: Replay) -> Iterator[Violation]:
        """Whether the end is the plan, unless the rollout says what it leaves out."""
        if self.rollout.conflicts:
            return
        planned = {row.site: [row.host] for row in self.case.plan.assignments}
        for site in sorted({*planned, *replay.held}):
            if replay.held.get(site, []) != planned.get(site, []):
                yield Violation("incomplete", f"site {site}", _ends(replay, planned, site))
        for host in self.case.plan.host_list:
            if host.host not in replay.running:
                yield Violation("incomplete", f"host {host.host}", "the plan needs it, but no step installs it")
            elif host.release != replay.releases[f"host {host.host}"]:
                text = f"after the rollout it does not have release {host.release}, as the plan says"
                yield Violation("incomplete", f"host {host.host}", text)

    def _clock(self, step: Step) -> WallClock:
        return (
            self.site_clocks[step.site]
            if step.site is not None
            else self.pool_clocks[self.pool_of[str(step.host)].pool]
        )

    def times(self) -> Iterator[Violation]:
        """Windows and freezes."""
        for step in self.rollout.steps:
            clock = self._clock(step)
            trouble = clock.trouble(step.starts, step.ends)
            if trouble:
                local = (moment.astimezone(clock.zone).isoformat() for moment in (step.starts, step.ends))
                yield Violation(trouble, f"step {step.id}", f"no change is allowed there from {' to '.join(local)}")

    def waves(self) -> Iterator[Violation]:
        """The most sites of a wave, in all, of a region, of a host and of a crew; one night for all steps."""
        policy, grown, total = self.fleet.policy, 0, len({s.site for s in self.rollout.steps if s.site is not None})
        size = float(policy.pilot_sites or math.inf)
        for wave in self.rollout.waves:
            where = f"wave {wave.wave}"
            if not set.intersection(*(self._clock(step).nights(step.starts) for step in wave.steps)):
                yield Violation("wave_limit", where, "its steps are not all in the same night")
            if wave.sites:
                most = min(size, policy.sites_per_wave or math.inf, max(total, 1))
                if len(wave.sites) > most + 1e-9:
                    text = f"it changes {len(wave.sites)} sites; at most {most:g} are allowed"
                    yield Violation("wave_limit", where, text)
                size, grown = size * policy.wave_growth, grown + 1
                if wave.pilot != (grown == 1 and policy.pilot_sites > 0):
                    text = "only the first wave that changes sites is the pilot, and must be marked so"
                    yield Violation("step_form", where, text)
            yield from self._counts(wave, where)

    def _counts(self, wave: Wave, where: str) -> Iterator[Violation]:
        policy = self.fleet.policy
        regions, hosts, crews = Counter[str](), Counter[str](), Counter[str]()
        for site in wave.sites:
            regions[self.sites[site]["region"].strip().casefold()] += 1
            crews[self.sites[site]["crew"]] += 1
            steps = [step for step in wave.steps if step.site == site]
            hosts.update({h for step in steps for h in (step.from_host, step.to_host) if h is not None})
        for name, counts, most in (
            ("region", regions, policy.sites_per_region),
            ("host", hosts, policy.sites_per_host),
        ):
            for key, count in counts.items():
                if most is not None and count > most:
                    text = f"it changes {count} sites of {name} {key or '(blank)'}; at most {most} are allowed"
                    yield Violation("wave_limit", where, text)
        for crew, count in crews.items():
            lanes = 1 if crew else policy.crews
            if policy.sites_per_crew is not None and count > policy.sites_per_crew * lanes:
                most = policy.sites_per_crew * lanes
                text = f"crew {crew or '(no name)'} changes {count} sites; sites_per_crew allows {most}"
                yield Violation("wave_limit", where, text)
            steps = [s for s in wave.steps if s.site is not None and self.sites[s.site]["crew"] == crew]
            if any(sum(o.starts <= s.starts < o.ends for o in steps) > lanes for s in steps):
                yield Violation(
                    "wave_limit", where, f"crew {crew or '(no name)'} is at more than {lanes} sites at the same time"
                )
        for one, other in combinations(wave.steps, 2):
            both = {one.site or one.host} & {other.site or other.host}
            if both and one.starts < other.ends and other.starts < one.ends:
                text = f"steps {one.id} and {other.id} change the same site or host at the same time"
                yield Violation("step_order", where, text)

    def spacing(self) -> Iterator[Violation]:
        """Nights between neighbours, and after the pilot."""
        policy = self.fleet.policy
        nights: dict[str, set[int]] = {}
        for step in self.rollout.steps:
            if step.site is not None:
                nights.setdefault(step.site, set()).update(self._nights(step))
        for site, when in nights.items():
            for other in set(self.sites[site]["neighbours"]) - {site}:
                near = [abs(a - b) for a in when for b in nights.get(other, ())]
                if near and min(near) < policy.neighbour_days:
                    text = f"its neighbour {other} changes {min(near)} nights from it"
                    text += f"; neighbour_days is {policy.neighbour_days}"
                    yield Violation("spacing", f"site {site}", text)
        changing = [
            min(set.union(*(self._nights(step) for step in wave.steps if step.site is not None)))
            for wave in self.rollout.waves
            if wave.sites
        ]
        if policy.pilot_sites and len(changing) > 1 and changing[1] - changing[0] < policy.pilot_days:
            text = f"it begins {changing[1] - changing[0]} nights after the pilot; pilot_days is {policy.pilot_days}"
            yield Violation("spacing", "wave 2", text)

    def _nights(self, step: Step) -> set[int]:
        return {night.toordinal() for night in self._clock(step).nights(step.starts)}

    def host_releases(self) -> Iterator[Violation]:
        """A host's release changes in a wave of its own, as far as the host and its sites go; hosts retire later."""
        last: dict[str, int] = {}
        where_now = {site: [row.host for row in rows] for site, rows in self.case.inventory.current.items()}
        for wave in self.rollout.waves:
            for step in wave.steps:
                if step.kind == "host_release":
                    others = [o.id for o in wave.steps if o is not step and (step.host in o.hosts)]
                    others += [
                        o.id
                        for o in wave.steps
                        if o.kind == "site_release" and step.host in where_now.get(str(o.site), [])
                    ]
                    if others:
                        text = f"it must not be in the same wave as step {', '.join(others)}"
                        yield Violation("wave_limit", f"step {step.id}", text)
                if step.kind == "host_retire" and last.get(str(step.host), 0) == wave.wave:
                    text = "it retires a host in the same wave in which sites leave it; it must come later"
                    yield Violation("step_order", f"step {step.id}", text)
                for host in step.hosts:
                    if step.site is not None:
                        last[host] = wave.wave
            for step in wave.steps:
                if step.kind in ("attach", "move", "detour"):
                    where_now[str(step.site)] = [step.to_host or ""]
