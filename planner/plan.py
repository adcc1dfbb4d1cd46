"""The nouns of the output: Plan and what it is made of. Frozen, comparable, and plain data throughout."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from planner.counted_words import counted
from planner.fleet import Finding, Fleet, Source
from planner.frame_of import TableOf
from planner.plots import draw_bars, draw_map, draw_shares, titled
from planner.shown import Shown, told

Evidence = Literal["measured", "modelled", "estimated"]
Status = Literal["optimal", "feasible"]
Action = Literal["keep", "attach", "move"]
Objective = Literal["hosts", "new_hosts", "cost"]
Known = Literal["measured", "modelled", "estimated", "unknown"]
Outcome = Literal["within", "beyond"]
Cover = Literal["none", "host", "hub", "zone"]
Spared = Literal["own_tie_breaker", "no_clusters"]


@dataclass(frozen=True, slots=True)
class Host:
    """A tie-breaker host that runs in the plan.

    ``cap`` is the cluster cap of its pool, ``usable`` what reserve and blast radius leave of it.
    """

    host: str
    hub: str
    pool: str
    release: str
    clusters: int
    cap: int
    usable: int
    existing: bool


@dataclass(frozen=True, slots=True)
class Assignment:
    """A site (or, where sites may be split, some of its clusters) and the host that serves it.

    ``standby`` names the host that takes over when a loss that the plan covers takes the other away.
    ``measured_at`` is when a measured RTT was measured, in ISO 8601; None where that is not known. An estimated RTT
    has the range within which a measurement is to be expected.
    """

    site: str
    host: str
    hub: str
    clusters: int
    rtt_ms: float
    budget_ms: float
    evidence: Evidence
    standby: str | None = None
    moved_from: str | None = None  # its host (or hub, if the host is not named) before the plan, when that changes
    action: Action = "attach"
    standby_rtt_ms: float | None = None
    measured_at: str | None = None
    rtt_low_ms: float | None = None
    rtt_high_ms: float | None = None

    @property
    def margin_ms(self) -> float:
        """Latency budget minus RTT, in ms; never negative in a sound plan."""
        return self.budget_ms - self.rtt_ms


@dataclass(frozen=True, slots=True)
class Reason:
    """One broken rule, with figures: ``code`` names the rule, ``detail`` is for people."""

    code: str
    detail: str

    def __str__(self) -> str:
        return f"{self.code}: {self.detail}"


@dataclass(frozen=True, slots=True)
class Unserved:
    """A site without a tie-breaker, why, and (``remedy``) what would change that.

    ``current`` is its host today (or hub, if the host is not named), None where nobody serves it.
    """

    site: str
    clusters: int
    reasons: tuple[Reason, ...]
    remedy: str = ""
    current: str | None = None


@dataclass(frozen=True, slots=True)
class Uncovered:
    """A served site without a standby, although the policy asks for cover, and why."""

    site: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class CoverPrice:
    """What a kind of cover takes: hosts, the objective with its bound, sites served, and those with a standby.

    ``alike`` counts the sites that every kind covers, and ``alike_value`` with its bound is the objective of a plan of
    these alone: the figures to compare.
    """

    cover: Cover
    hosts: int
    objective_value: float
    lower_bound: float
    served: int
    covered: int
    alike: int
    alike_value: float
    alike_bound: float


@dataclass(frozen=True, slots=True)
class NoHostNeeded:
    """A site that needs no shared host: ``why`` is ``own_tie_breaker`` or ``no_clusters``."""

    site: str
    why: Spared


@dataclass(frozen=True, slots=True)
class Proof:
    """Why no plan that serves the same sites can have a smaller objective.

    ``kind`` says how far the claim reaches; ``words`` is for people; ``details`` is plain JSON data.
    """

    kind: str = "none"
    words: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Aim:
    """What became of an aim: its ``value``, and a ``bound`` that no plan which is as good on the aims before beats.

    ``proven``: the value is the best there is, and so are those of all aims before it. Aims in order: ``served`` is the
    weight of the sites with a third vote (their own tie-breaker included), ``covered`` that of those which keep it
    after a loss that the plan covers; then the objective. Then ``moves``, sites whose host is another than today (see
    `moved_sites`); ``latency``, total RTT in ms; ``margin``, the smallest latency margin in ms; ``spread``, the
    clusters on the fullest host. Of ``served``, ``covered`` and ``margin`` the bound is an upper one, else a lower one.
    """

    aim: str
    value: float
    bound: float
    proven: bool


@dataclass(frozen=True, slots=True)
class MeasureFirst:
    """A pair whose measurement would change the plan, if it turned out ``within`` its budget, or ``beyond`` it.

    Pairs of one ``rank`` change it only ``together``, that is as many as this says. ``rtt_ms`` and ``evidence`` are
    what is known of the pair now; ``hosts`` and ``unserved`` are those of the plan that results.
    """

    rank: int
    site: str
    hub: str
    evidence: Known
    rtt_ms: float | None
    budget_ms: float
    outcome: Outcome
    together: int
    hosts: int
    unserved: int
    words: str


@dataclass(frozen=True, repr=False)
class Plan(Shown):
    """Hosts, assignments and what is left out, with the bound that says how good it is.

    ``objective_value``, ``lower_bound`` and the gap are in the unit of the objective: hosts, new hosts
    or money. The bound holds for all plans that are best on the aims ``before`` the objective; ``then`` are those
    after it. ``status`` says how good the plan is, ``complete`` whether every site that needs a shared host has one.
    ``fleet_id``, ``number`` and ``follows`` (the hash of the plan before) are those of `planner.identity`.
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

    One whose host Current does not name moves where it leaves its hub, or the pools there that it may be on. One that
    needs no shared host any more moves too. Sites that the plan leaves out are none: they are counted as unserved.
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
