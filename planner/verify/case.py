"""One plan against one inventory, with the look-ups that several checks need."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from planner.plan import Assignment, Host, Plan
from planner.verify.inventory import Inventory, Pool
from planner.verify.violation import whole


@dataclass(frozen=True)
class Case:
    """What every check is given."""

    inventory: Inventory
    plan: Plan

    @cached_property
    def hosts(self) -> dict[str, Host]:
        """Hosts by name; of several with one name the first."""
        return {host.host: host for host in reversed(self.plan.host_list)}

    @cached_property
    def rows(self) -> dict[str, list[Assignment]]:
        """Assignments by site."""
        rows: dict[str, list[Assignment]] = {}
        for row in self.plan.assignments:
            rows.setdefault(row.site, []).append(row)
        return rows

    @cached_property
    def loads(self) -> dict[str, int]:
        """Clusters on each host name, added up from the assignments."""
        loads: dict[str, int] = {}
        for row in self.plan.assignments:
            loads[row.host] = loads.get(row.host, 0) + (whole(row.clusters) or 0)
        return loads

    @cached_property
    def other_input(self) -> bool:
        """Whether the plan was made from other files than this fleet, such as the fleet before a rollout began."""
        planned = {source.sha256 for source in self.plan.sources}
        given = {source.sha256 for source in self.inventory.sources}
        return bool(planned and given and planned != given)

    def pool_of(self, host: str | None) -> Pool | None:
        """Return the pool that the host called ``host`` belongs to; None where either is unknown."""
        named = self.hosts.get(host) if host is not None else None
        return None if named is None else self.inventory.pools.get(named.pool)
