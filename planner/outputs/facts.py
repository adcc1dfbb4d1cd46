"""What the sheets say about a plan beyond the plan itself, looked up or added up once."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from planner import columns
from planner.fleet import Fleet
from planner.plan import Assignment, Plan, moved_sites

if TYPE_CHECKING:
    from planner.readiness import Readiness
    from planner.resilience import DrillReport


@dataclass(frozen=True)
class Facts:
    """A fleet and its plan, with the sums and look-ups that several sheets need."""

    fleet: Fleet
    plan: Plan
    readiness: Readiness | None = None
    drills: DrillReport | None = None

    @cached_property
    def names(self) -> dict[str, str]:
        """Name of each site for people."""
        return dict(zip(self.fleet.sites["site"], self.fleet.sites["name"], strict=True))

    @cached_property
    def regions(self) -> dict[str, str]:
        """Region of each site."""
        return dict(zip(self.fleet.sites["site"], self.fleet.sites["region"], strict=True))

    @cached_property
    def loss_budgets_ms(self) -> dict[str, float]:
        """Largest round-trip time of each site to its standby."""
        return dict(zip(self.fleet.site_ids, self.fleet.loss_budgets_ms.tolist(), strict=True))

    @cached_property
    def extra_columns(self) -> tuple[str, ...]:
        """The user's own columns of the Sites sheet."""
        known = set(columns.SITES.names)
        return tuple(str(name) for name in self.fleet.sites.columns if name not in known)

    @cached_property
    def extras(self) -> dict[str, tuple[Any, ...]]:
        """Values of `extra_columns` for each site."""
        if not self.extra_columns:
            return {}
        own = self.fleet.sites[list(self.extra_columns)]
        return dict(zip(self.fleet.sites["site"], own.itertuples(index=False, name=None), strict=True))

    @cached_property
    def current(self) -> dict[str, str]:
        """Host of each site before the plan; its hub where the host is not named, ``"; "`` between several."""
        hosts: dict[str, list[str]] = defaultdict(list)
        table = self.fleet.current
        for site, hub, host in zip(table["site"], table["hub"], table["host"], strict=True):
            hosts[site].append(host or hub)
        return {site: "; ".join(dict.fromkeys(names)) for site, names in hosts.items()}

    @cached_property
    def by_host(self) -> dict[str, list[Assignment]]:
        """Assignments of each host."""
        groups: dict[str, list[Assignment]] = defaultdict(list)
        for assignment in self.plan.assignments:
            groups[assignment.host].append(assignment)
        return dict(groups)

    @cached_property
    def actions(self) -> Counter[str]:
        """Number of served sites that keep their host, get their first (attach) and move to another.

        A site that is split over hosts moves where any part of it does.
        """
        order = ("keep", "attach", "move")
        of_site: dict[str, str] = {}
        for row in self.plan.assignments:
            of_site[row.site] = max(of_site.get(row.site, "keep"), row.action, key=order.index)
        return Counter(of_site.values())

    @cached_property
    def moves(self) -> int:
        """Number of sites whose host is another than today."""
        return len(moved_sites(self.fleet, self.plan))

    @cached_property
    def severities(self) -> Counter[str]:
        """Number of findings of each severity."""
        return Counter(finding.severity for finding in self.plan.findings)


def current_host(facts: Facts, assignment: Assignment) -> str:
    """Return who served the site before the plan, ``""`` when nobody did."""
    return assignment.moved_from or facts.current.get(assignment.site, "")


def how_served(facts: Facts, assignment: Assignment) -> dict[str, Any]:
    """Return what other programs are told of an assignment besides its site and host, by the names they know."""
    return {
        "rtt_ms": assignment.rtt_ms,
        "budget_ms": assignment.budget_ms,
        "margin_ms": margin_ms(assignment),
        "evidence": assignment.evidence,
        "standby": assignment.standby,
        "standby_rtt_ms": assignment.standby_rtt_ms,
        "current": current_host(facts, assignment),
        "action": assignment.action,
    }


def margin_ms(assignment: Assignment) -> float:
    """Return the latency margin without the dust of binary subtraction (0.9, not 0.8999999999999986)."""
    return round(assignment.margin_ms, 9)
