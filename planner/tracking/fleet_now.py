"""The fleet as it is now: what a rollout has done so far, put into the fleet, with the source of each change."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from planner import columns
from planner.counted_words import first_few
from planner.fleet import Fleet
from planner.intake.host_names import HOST_LISTS
from planner.outputs import headings
from planner.plan import Host, Plan
from planner.progress import Cell, Merged, StateChange
from planner.running import running_hosts
from planner.tracking.after_change import with_measurements
from planner.tracking.last_plan import with_last_plan
from planner.tracking.rows import day_of, site_row, text_in
from planner.tracking.unnamed import unnamed_hosts


@dataclass(frozen=True)
class FleetNow:
    """The ``fleet`` as it is, every change with its source, and ``notes`` on what the copies say and cannot be."""

    fleet: Fleet
    changes: tuple[StateChange, ...]
    notes: tuple[str, ...]


def fleet_now(fleet: Fleet, plan: Plan, merged: Merged) -> FleetNow:
    """Return ``fleet`` with all that the returned workbooks say is done.

    - A site whose row is done is on its host, and one that has made a detour where that led; one that is done and has
      no host any more votes by its own tie-breaker (if it has clusters), and Current names it no longer.
    - Hosts that are installed, or that a site has come to, run: ``host_names`` of their pools, and ``existing_hosts``.
    - Hosts that are upgraded run ``host_release``: ``upgraded_hosts``, until all of the pool do; then it has no
      ``host_release_today`` any more. Hosts that are retired are taken out of all these.
    - A site's release is the one that its step has raised it to.
    - A round trip measured after a change is the one of its pair, with its date.
    - The settings ``last_plan`` and ``last_plan_hash`` say which plan that was, ``last_plan_follows`` which was before
      it, and ``fleet_id`` which fleet.

    Doing so twice changes nothing. Copies are those that `resolved` has been through.
    """
    state = _State(fleet, plan)
    for cells in merged.rows:
        state.site(cells)
    for site in split_sites_done(fleet, merged):
        state.leave_old_hosts(*site)
    for cells in merged.steps:
        if text_in(cells, headings.PROGRESS) == "done":
            state.step(cells)
    now = state.result()
    measured, changes = with_measurements(now.fleet, plan, merged)
    found, settings, notes = with_last_plan(measured, plan, merged)
    return FleetNow(found, (*now.changes, *changes, *settings), (*now.notes, *notes))


@dataclass
class _Pool:
    """A pool on the way: names in lists, and how many hosts exist."""

    existing: int
    lists: dict[str, list[str]] = field(default_factory=dict)


class _State:
    """The tables of a fleet while changes come in."""

    def __init__(self, fleet: Fleet, plan: Plan) -> None:
        self._fleet = fleet
        self._planned: Mapping[str, Host] = {host.host: host for host in plan.host_list}
        running = running_hosts(fleet)
        self._running = {host: (hub, pool) for (hub, host), pool in running.pool.items()}
        self._unnamed = unnamed_hosts(fleet)
        self._current: dict[str, dict[str, tuple[str, str, str, str]]] = {}  # of a site its rows, by host
        for row in zip(*(fleet.current[name] for name in columns.CURRENT.names), strict=True):
            self._current.setdefault(row[0], {})[row[2]] = row
        self._release = dict(zip(fleet.site_ids, fleet.sites["release"], strict=True))
        self._own = dict(zip(fleet.site_ids, fleet.own_tie_breaker, strict=True))
        self._clusters = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
        self._standing = standing = (fleet.existing_hosts + fleet.retiring_of_pool).tolist()
        self._pools = {
            pool: _Pool(existing, {name: list(fleet.pools[name].iloc[at]) for name in HOST_LISTS})
            for at, (pool, existing) in enumerate(zip(fleet.pool_ids, standing, strict=True))
        }
        self._today = dict(zip(fleet.pool_ids, fleet.pools["host_release_today"], strict=True))
        self._changes: list[StateChange] = []
        self._notes: list[str] = []
        self._gone: dict[str, list[str]] = {}  # sites that are done, by a host whose pool the fleet has not

    def site(self, cells: Mapping[str, Cell]) -> None:
        """Take what a row of the team's workbook says of a site."""
        row = site_row(cells)
        if row.site not in self._release:
            return
        source = cells.get(headings.PROGRESS, cells[headings.SITE])
        before = self._current.get(row.site, {})
        was = _hosts(before)
        host = row.host if row.status == "done" else row.stands_on
        if row.status == "done" and not host:
            self._leave(row.site, was, source, cells)
            return
        place = self._place(host)
        if place is None and host in self._planned:  # of other unknown hosts a note says so already
            self._gone.setdefault(host, []).append(row.site)
        if not host or place is None or (host in before and before[host][3] == place[1]):
            return
        self._runs(host, source, cells)
        now = {**(before if self._fleet.policy.split_sites else {}), host: (row.site, place[0], host, place[1])}
        self._current[row.site] = now
        if was != _hosts(now):
            self._told(f"site {row.site}", "host", was, _hosts(now), source, cells)

    def leave_old_hosts(self, site: str, new: Collection[str], cells: Mapping[str, Cell]) -> None:
        """Take a site that is split off the hosts that are none of its ``new`` ones, once all of it has moved."""
        before = self._current.get(site, {})
        now = {host: row for host, row in before.items() if host in new}
        if now and len(now) < len(before):
            self._current[site] = now
            self._told(f"site {site}", "host", _hosts(before), _hosts(now), cells[headings.PROGRESS], cells)

    def _leave(self, site: str, was: str, source: Cell, cells: Mapping[str, Cell]) -> None:
        """Take a site off its host, which votes by its own tie-breaker from now on."""
        if self._current.pop(site, None) is not None:
            self._told(f"site {site}", "host", was, "", source, cells)
        if self._clusters[site] and self._own[site] != "yes":
            self._told(f"site {site}", "own_tie_breaker", self._own[site], "yes", source, cells)
            self._own[site] = "yes"

    def step(self, cells: Mapping[str, Cell]) -> None:
        """Take what a step that is done says of a host, or of a site's release."""
        kind, host, site = (text_in(cells, name) for name in (headings.KIND, headings.HOST, headings.SITE))
        source = cells[headings.PROGRESS]
        if kind == "site_release" and site in self._release:
            release = text_in(cells, headings.RELEASE)
            if release and release != self._release[site]:
                self._told(f"site {site}", "release", self._release[site], release, source, cells)
                self._release[site] = release
        elif kind in ("host_install", "host_release", "host_retire"):
            place = self._place(host)
            if place is None:
                if kind != "host_retire":  # one that is retired already is gone from fleet and plan
                    self._notes.append(f'{source.source}: host "{host}" is not known, so nothing is counted as done.')
            elif kind == "host_retire":
                self._retire(host, place[1], source, cells)
            else:
                self._runs(host, source, cells)
                if kind == "host_release":
                    self._upgrade(host, place[1], source, cells)

    def _place(self, host: str) -> tuple[str, str] | None:
        """Return hub and pool of a host; None for one that neither plan nor fleet knows."""
        if host in self._running:
            return self._running[host]
        planned = self._planned.get(host)
        if planned is None or planned.pool not in self._pools:
            return self._unnamed.get(host)
        return planned.hub, planned.pool

    def _runs(self, host: str, source: Cell, cells: Mapping[str, Cell]) -> None:
        """Let a host run that did not, or of which only the number was known."""
        if host in self._running:
            return
        planned = self._planned.get(host)
        if planned is None:
            self._running[host] = self._unnamed[host]
            self._pools[self._unnamed[host][1]].lists["host_names"].append(host)
            return
        pool = self._pools[planned.pool]
        self._running[host] = (planned.hub, planned.pool)
        pool.lists["host_names"].append(host)
        if planned.existing:
            return
        pool.existing += 1
        self._told(f"host {host}", "host_names", "", planned.pool, source, cells)
        if self._today[planned.pool]:  # a new host has the new release from the start
            pool.lists["upgraded_hosts"].append(host)

    def _upgrade(self, host: str, pool: str, source: Cell, cells: Mapping[str, Cell]) -> None:
        raised = self._pools[pool].lists["upgraded_hosts"]
        if host not in raised and self._today[pool]:
            raised.append(host)
            after = text_in(cells, headings.RELEASE)
            self._told(f"host {host}", "host_release_today", self._today[pool], after, source, cells)

    def _retire(self, host: str, pool: str, source: Cell, cells: Mapping[str, Cell]) -> None:
        nobody_named = host in self._unnamed and self._pools[pool].existing == 1  # it carries all at the hub
        left = sorted(
            site
            for rows in self._current.values()
            for site, hub, name, of in rows.values()
            if name == host or (nobody_named and not name and hub == self._unnamed[host][0] and of in ("", pool))
        )
        if left:
            self._notes.append(f"{source.source}: host {host} is retired, and {', '.join(left[:5])} is still on it.")
            return
        self._running.pop(host, None)
        self._unnamed.pop(host, None)
        self._pools[pool].existing = max(0, self._pools[pool].existing - 1)
        for names in self._pools[pool].lists.values():
            names[:] = [name for name in names if name != host]
        self._told(f"host {host}", "host_names", pool, "", source, cells)

    def _told(self, what: str, column: str, before: str, after: str, source: Cell, cells: Mapping[str, Cell]) -> None:
        self._changes.append(StateChange(what, column, before, after, source.source, day_of(cells)))

    def result(self) -> FleetNow:
        """Return the fleet with all changes."""
        fleet = self._fleet
        self._notes += self._on_gone_pools()
        if not self._changes:
            return FleetNow(fleet, (), tuple(self._notes))
        self._settle_releases()
        names = list(columns.CURRENT.names)
        rows = [row for site in sorted(self._current) for row in self._current[site].values()]
        current = pd.DataFrame(rows, columns=names, dtype=object)
        mine = [self._pools[pool] for pool in fleet.pool_ids]
        lists = {name: _column(fleet.pools, (tuple(dict.fromkeys(p.lists[name])) for p in mine)) for name in HOST_LISTS}
        # What nobody counted stays blank where no host came or went.
        same = np.array([pool.existing == before for pool, before in zip(mine, self._standing, strict=True)])
        existing = fleet.pools["existing_hosts"].where(same, np.array([pool.existing for pool in mine], np.float64))
        today = _column(fleet.pools, (self._today[pool] for pool in fleet.pool_ids))
        pools = fleet.pools.assign(existing_hosts=existing, host_release_today=today, **lists)
        sites = fleet.sites.assign(
            release=_column(fleet.sites, (self._release[site] for site in fleet.site_ids)),
            own_tie_breaker=_column(fleet.sites, self._own_tie_breakers()),
        )
        return FleetNow(
            fleet.replace(sites=sites, pools=pools, current=current), tuple(self._changes), tuple(self._notes)
        )

    def _on_gone_pools(self) -> list[str]:
        rest = "Current has them as before. Add the pool to Hubs, or correct Current."
        return [
            f"Done on {host}, whose pool the fleet has not: {first_few(sites)}. {rest}"
            for host, sites in self._gone.items()
        ]

    def _own_tie_breakers(self) -> Iterable[str]:
        given = zip(self._fleet.site_ids, self._fleet.sites["own_tie_breaker"], strict=True)
        return ("yes" if self._own[site] == "yes" else text for site, text in given)

    def _settle_releases(self) -> None:
        """Forget the release of today in pools all of whose hosts have left it."""
        for name, pool in self._pools.items():
            raised = set(pool.lists["upgraded_hosts"])
            if raised and len(raised) >= pool.existing:
                pool.lists["upgraded_hosts"] = []
                self._today[name] = ""


def _hosts(rows: Mapping[str, tuple[str, str, str, str]]) -> str:
    return " and ".join(host or hub for _, hub, host, _ in rows.values())


def split_sites_done(fleet: Fleet, merged: Merged) -> Iterator[tuple[str, set[str], Mapping[str, Cell]]]:
    """Yield each site that may be split and all of whose rows are done: its hosts, and a row that says so."""
    if not fleet.policy.split_sites:
        return
    of_site: dict[str, list[Mapping[str, Cell]]] = {}
    for cells in merged.rows:
        of_site.setdefault(site_row(cells).site, []).append(cells)
    for site, rows in of_site.items():
        known = [site_row(cells) for cells in rows]
        settled = all(row.status == "done" or (row.status == "not needed" and row.action == "keep") for row in known)
        if settled and any(row.status == "done" for row in known) and headings.PROGRESS in rows[-1]:
            yield site, {row.host for row in known}, rows[-1]


def _column(table: pd.DataFrame, values: Iterable[object]) -> pd.Series[Any]:
    return pd.Series(list(values), index=table.index, dtype=object)
