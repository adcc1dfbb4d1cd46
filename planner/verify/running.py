"""Which pools a host of today may be of, by a reading of Current that shares no code with the planner's."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from planner.verify.case import Case
from planner.verify.inventory import InForce, Pool, Site
from planner.verify.rules import suits
from planner.verify.violation import Violation


class Running:
    """The hosts that Current names, each with the rows that name it."""

    def __init__(self, case: Case) -> None:
        self._case = case

    @cached_property
    def rows(self) -> dict[tuple[str, str], list[tuple[str, InForce]]]:
        """Site and row of all that each (hub, host) carries."""
        found: dict[tuple[str, str], list[tuple[str, InForce]]] = {}
        for site, rows in self._case.inventory.current.items():
            for row in rows:
                if row.host:
                    found.setdefault((row.hub, row.host), []).append((site, row))
        return found

    def pools_of_host(self, hub: str, host: str) -> list[Pool]:
        """Return the pools that a named host may be of; all at its hub where nothing fits."""
        rows = self.rows[hub, host]
        return self._pools(hub, host, next((row.pool for _, row in rows if row.pool), ""), [site for site, _ in rows])

    def pools_of_site(self, site: str, row: InForce) -> list[Pool]:
        """Return the pools that a row without a host may mean."""
        return self._pools(row.hub, "", row.pool, [site])

    def _pools(self, hub: str, host: str, stated: str, sites: list[str]) -> list[Pool]:
        inventory = self._case.inventory
        here = [pool for pool in inventory.pools.values() if pool.hub == hub]
        told = [pool for pool in here if pool.pool == stated or (host and host in pool.retiring | pool.named)]
        if told or len(here) < 2:
            return [pool for pool in told if pool.pool == stated] or told or here
        on_it = [inventory.sites[site] for site in sites if site in inventory.sites]
        clusters = sum(1 if len(inventory.current[s.site]) > 1 else s.clusters for s in on_it if s.clusters)
        called = [pool for pool in here if _called(host, pool)]
        longest = max((len(pool.pool) for pool in called), default=0)
        among = [pool for pool in called if len(pool.pool) == longest] or here
        today = [p for p in among if clusters <= p.cap and all(self._carries(s, p) for s in on_it)]
        later = [p for p in today if all(self._may_go_on(s, p) for s in on_it)]
        return later or today or among

    def _carries(self, site: Site, pool: Pool) -> bool:
        return suits(self._case.inventory, site.release_today, pool.release_today)

    def _may_go_on(self, site: Site, pool: Pool) -> bool:
        served = not pool.serves_regions or site.region in pool.serves_regions
        return served and suits(self._case.inventory, site.release, pool.release)


def _called(host: str, pool: Pool) -> bool:
    """Say whether a host is called after its pool, which has a name of its own."""
    name, head = host.casefold(), pool.pool.casefold()
    return head != pool.hub.casefold() and (name == head or (name.startswith(head) and not name[len(head)].isalnum()))


def check_running(case: Case) -> Iterator[Violation]:
    """Check that hosts of today stay in their pools, and that what else is called existing can be there."""
    running = Running(case)
    sure: dict[str, int] = {}
    for hub, host in running.rows:
        pools = running.pools_of_host(hub, host)
        if len(pools) == 1 and host not in pools[0].retiring:
            sure[pools[0].pool] = sure.get(pools[0].pool, 0) + 1
        planned = case.hosts.get(host)
        if planned is not None and planned.hub == hub and pools and planned.pool not in {p.pool for p in pools}:
            names = " or ".join(pool.pool for pool in pools)
            yield Violation(
                "current", f"host {host}", f"the plan puts it in pool {planned.pool}; today it is in pool {names}"
            )
    beside: dict[str, int] = {}
    for planned in case.plan.host_list:
        if planned.existing and (planned.hub, planned.host) not in running.rows:
            beside[planned.pool] = beside.get(planned.pool, 0) + 1
    for pool in case.inventory.pools.values():
        more = beside.get(pool.pool, 0)
        if more and sure.get(pool.pool) and more + sure[pool.pool] > pool.existing_hosts:
            text = (
                f"the plan calls {more} hosts existing besides the {sure[pool.pool]} that Current names; the pool has "
                f"{pool.existing_hosts}"
            )
            yield Violation("existing_hosts", f"pool {pool.pool}", text)
