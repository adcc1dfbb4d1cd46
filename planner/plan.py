"""The noun of the output: Plan, and which sites and hosts it leaves as they are. Frozen, comparable, plain data."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from planner.counted_words import counted
from planner.fleet import Finding, Fleet, Source
from planner.frame_of import TableOf
from planner.plan_parts import (
    Action,
    Aim,
    Assignment,
    Cover,
    CoverPrice,
    Evidence,
    Host,
    Known,
    MeasureFirst,
    NoHostNeeded,
    Objective,
    Outcome,
    Proof,
    Reason,
    Spared,
    Status,
    Uncovered,
    Unserved,
)
from planner.plots import draw_bars, draw_map, draw_shares, titled
from planner.shown import Shown, told

__all__ = [
    "Action",
    "Aim",
    "Assignment",
    "Cover",
    "CoverPrice",
    "Evidence",
    "Host",
    "Known",
    "MeasureFirst",
    "NoHostNeeded",
    "Objective",
    "Outcome",
    "Plan",
    "Proof",
    "Reason",
    "Spared",
    "Status",
    "Uncovered",
    "Unserved",
    "left_in_place",
    "moved_sites",
    "overfull_with_left",
    "running_on",
]


@dataclass(frozen=True, repr=False)
class Plan(Shown):
    """Hosts, assignments and what is left out, with the bound that says how good it is.

    ``objective_value``, ``lower_bound`` and the gap are in the unit of the objective: hosts, new hosts
    or money. The bound holds for all plans that are best on the aims ``before`` the objective; ``then`` are those
    after it. ``status`` says how good the plan is, ``complete`` whether every site that needs a shared host has one.
    ``fleet_id``, ``number`` and ``follows`` (the hash of the plan before) are those of `planner.identity`. ``emptied``
    are the hosts and hubs that it was asked to empty: it is a plan of the fleet without them. ``extra_hosts`` are those
    that it uses beyond as many as are enough, since it was asked to move few sites.
    Each list is a DataFrame too: ``hosts_frame``, ``assignments_frame`` and so on; ``frames`` has them all by name.
    """

    status: Status
    objective: Objective
    objective_value: float
    lower_bound: float
    host_list: tuple[Host, ...]
    assignments: tuple[Assignment, ...]
    unserved: tuple[Unserved, ...] = ()
    no_host_needed: tuple[NoHostNeeded, ...] = ()
    uncovered: tuple[Uncovered, ...] = ()
    cover_prices: tuple[CoverPrice, ...] = ()
    proof: Proof = field(default_factory=Proof)
    before: tuple[Aim, ...] = ()
    then: tuple[Aim, ...] = ()
    measure_first: tuple[MeasureFirst, ...] = ()
    findings: tuple[Finding, ...] = ()
    policy: Mapping[str, Any] = field(default_factory=dict)
    seconds: Mapping[str, float] = field(default_factory=dict)
    sources: tuple[Source, ...] = ()
    version: str = ""
    fleet_id: str = ""
    number: int = 1
    follows: str = ""
    emptied: tuple[str, ...] = ()
    extra_hosts: int = 0

    hosts_frame = TableOf("host_list")
    assignments_frame = TableOf("assignments", "margin_ms")
    unserved_frame = TableOf("unserved")
    uncovered_frame = TableOf("uncovered")
    no_host_needed_frame = TableOf("no_host_needed")
    aims_frame = TableOf("aims")
    cover_prices_frame = TableOf("cover_prices")
    measure_first_frame = TableOf("measure_first")
    findings_frame = TableOf("findings")

    @property
    def glance(self) -> str:
        """Sites unserved or without a standby, then hosts with their proof, in one line."""
        served = len({row.site for row in self.assignments})
        proven = self.proves(self.objective)
        bound = "no plan for them has less" if proven else f"not proven, bound {self.lower_bound:,.10g}"
        cost = "" if self.objective == "hosts" else f"{self.objective} {self.objective_value:,.10g}, "
        return told(
            f"{counted(len(self.unserved), 'site')} unserved" if self.unserved else "",
            f"{counted(len(self.uncovered), 'site')} without a standby" if self.uncovered else "",
            f"{counted(self.hosts, 'host')} for {counted(served, 'site')}",
            f"{cost}{bound}" if cost or not proven else "no plan for them has fewer",
        )

    @property
    def hosts(self) -> int:
        """Hosts that run."""
        return len(self.host_list)

    @property
    def complete(self) -> bool:
        """Whether nobody is left out."""
        return not self.unserved

    @property
    def aims(self) -> tuple[Aim, ...]:
        """Every aim in the order of the policy; none is proven unless all before it are."""
        objective = Aim(self.objective, self.objective_value, self.lower_bound, self.gap == 0)
        found: list[Aim] = []
        for aim in (*self.before, objective, *self.then):
            so_far = not found or found[-1].proven
            found.append(dataclasses.replace(aim, proven=aim.proven and so_far))
        return tuple(found)

    def proves(self, aim: str) -> bool:
        """Say whether ``aim`` and all aims before it are proven; False for an aim that the plan does not have."""
        return any(one.aim == aim and one.proven for one in self.aims)

    @property
    def gap(self) -> float:
        """Relative distance of the objective from its bound, 0 when proven."""
        if self.objective_value <= self.lower_bound:
            return 0.0
        return (self.objective_value - self.lower_bound) / self.objective_value

    def rated(self) -> Plan:
        """Return the plan with the status that its aims bear out: optimal where all up to the objective are proven."""
        return self.replace(status="optimal" if self.proves(self.objective) else "feasible")

    def plot_map(self, fleet: Fleet, ax: Any = None) -> Any:
        """Draw the sites of ``fleet`` in the colour of their hub, and return the Axes; see `planner.plots`."""
        sites, left_out = fleet.sites[["site", "latitude", "longitude"]], {entry.site for entry in self.unserved}
        hubs = fleet.pools[["hub", "latitude", "longitude"]].drop_duplicates("hub")
        number = Counter(host.hub for host in self.host_list)
        return draw_map(
            sites.assign(unserved=[site in left_out for site in sites["site"]]),
            hubs.assign(hosts=[number[hub] for hub in hubs["hub"]]),
            self.assignments_frame,
            ax,
        )

    def plot_loads(self, ax: Any = None) -> Any:
        """Draw the clusters on each host against what it may carry, and return the Axes."""
        hosts = self.hosts_frame
        return titled(draw_bars(hosts["host"], hosts["clusters"], hosts["usable"], ax), "Clusters on each host", "", "")

    def plot_latency(self, ax: Any = None) -> Any:
        """Draw how much of their latency budget the assignments use, and return the Axes."""
        rows = self.assignments_frame
        drawn = draw_shares(rows["rtt_ms"] / rows["budget_ms"], ax)
        return titled(drawn, "Round-trip times", "share of the latency budget", "assignments")

    def replace(self, **changes: Any) -> Plan:
        """Return a copy with ``changes`` made to the fields."""
        return dataclasses.replace(self, **changes)


def moved_sites(fleet: Fleet, plan: Plan) -> frozenset[str]:
    """Return the sites that ``plan`` moves: those of Current whose host it changes, also within a pool or a hub.

    One whose host Current does not name moves where it leaves its hub, or the pools there that it may be on, or comes
    to a host that is new. One that needs no shared host any more moves too. Sites that the plan leaves out are none:
    they are counted as unserved.
    """
    today = set(fleet.current["site"])
    elsewhere = {row.site for row in plan.assignments if row.action == "move"}
    return frozenset(elsewhere | {entry.site for entry in plan.no_host_needed if entry.site in today})


def left_in_place(fleet: Fleet, plan: Plan) -> dict[str, str]:
    """Return the sites that ``plan`` leaves out and that are served today, with the host (or hub) of the sheet Current.

    The plan counts neither them nor their room; a rollout leaves them where they are, with all that they stand on.
    """
    left_out = {entry.site for entry in plan.unserved}
    rows = zip(fleet.current["site"], fleet.current["hub"], fleet.current["host"], strict=True)
    return {site: host or hub for site, hub, host in rows if site in left_out}


def overfull_with_left(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """Return the hosts of ``plan`` that are above their caps with the sites of `left_in_place` that stay on them."""
    stay = left_in_place(fleet, plan)
    load = Counter({host.host: host.clusters for host in plan.host_list})
    for entry in plan.unserved:
        load[stay.get(entry.site, "")] += entry.clusters
    return tuple(host.host for host in plan.host_list if load[host.host] > host.cap)


def running_on(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """Return the hosts that run on beside those of ``plan``, since sites of `left_in_place` are on them."""
    named = set(fleet.current["host"]) - {""}
    return tuple(sorted(set(left_in_place(fleet, plan).values()) & named - {host.host for host in plan.host_list}))
