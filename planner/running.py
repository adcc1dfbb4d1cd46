"""Which pool each host of today belongs to: the one reading of the sheet Current that every room shares.

Where Current states the pool, it counts; so does a pool that names the host as running, or among those to be emptied.
At a hub of one pool there is no question. Else a pool fits a host whose sites it can carry: their clusters within its
cap, their releases suited by its host release, today and as planned, and their regions served. A host that bears the id
of a pool in its name is of that pool. Of what then fits, no pool takes more hosts than it has. Where several pools are
left that differ in anything but their names, or none, that is a question, never a guess in silence.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from planner import columns
from planner.fleet import Fleet, positions
from planner.releases import suits

# Columns of Hubs in which alike pools may differ.
_NAMES = frozenset({"pool", "name", "host_names", "retiring_hosts", "upgraded_hosts"})
_NO_LIMIT = 10**9


@dataclass(frozen=True, slots=True)
class Question:
    """Hosts at a hub whose pool is not certain: ``pools`` are those that fit them, none if it is empty.

    ``taken`` are the pools that the planner goes by. ``sites`` are those on the hosts; where Current names no host,
    ``hosts`` and ``taken`` are empty, and whichever of the pools a plan uses counts as staying.
    """

    hub: str
    hosts: tuple[str, ...]
    sites: tuple[str, ...]
    pools: tuple[str, ...]
    taken: tuple[str, ...] = ()


@dataclass(frozen=True)
class Running:
    """The hosts of today. ``pool`` is the pool of each (hub, host) that Current names.

    ``may_be`` are the pools that a row of Current (site, hub) without the name of a host may mean.
    """

    pool: Mapping[tuple[str, str], str]
    may_be: Mapping[tuple[str, str], tuple[str, ...]]
    questions: tuple[Question, ...]

    @cached_property
    def hosts(self) -> dict[str, list[str]]:
        """Names of the hosts of each pool, sorted."""
        found: dict[str, list[str]] = defaultdict(list)
        for (_, host), pool in sorted(self.pool.items()):
            found[pool].append(host)
        return dict(found)


@dataclass
class _Host:
    """A host of Current: the positions of its sites, and the pool that is stated for it, ``""`` for none."""

    sites: list[int] = field(default_factory=list)
    stated: str = ""


def running_hosts(fleet: Fleet) -> Running:
    """Return the pool of every host that Current or Hubs names as running, and the questions that are left.

    Rows whose hub or stated pool the fleet does not have are left out; hosts of sites that it does not have are not.
    """
    named, unnamed = _rows(fleet)
    sites = _Sites(fleet)
    at_hub: dict[str, list[int]] = defaultdict(list)
    for p in sorted(range(len(fleet.pool_ids)), key=lambda p: fleet.pool_ids[p]):
        at_hub[fleet.pools["hub"].iloc[p]].append(p)
    pool: dict[tuple[str, str], str] = {}
    may_be: dict[tuple[str, str], tuple[str, ...]] = {}
    questions: list[Question] = []
    for hub, pools in sorted(at_hub.items()):
        ids = [fleet.pool_ids[p] for p in pools]
        stated = {"", *ids, *(fleet.true_pools.get(name, name) for name in ids)}
        hosts = {name: host for name, host in named.get(hub, {}).items() if host.stated in stated}
        rows = [row for row in unnamed.get(hub, []) if row[1] in stated]
        if len(pools) == 1:
            pool |= {(hub, host): ids[0] for host in hosts}
            may_be |= {(fleet.site_ids[s], hub): (ids[0],) for s, _ in rows}
            continue
        reading = _Hub(fleet, sites, hub, pools)
        pool |= {(hub, host): fleet.pool_ids[p] for host, p in reading.match(hosts).items()}
        may_be |= reading.match_unnamed(rows)
        questions += reading.questions
    named_by_pool = zip(fleet.pools["hub"], fleet.pool_ids, fleet.pools["host_names"], strict=True)
    idle = {(hub, name): of for hub, of, names in named_by_pool for name in names}
    return Running({**idle, **pool}, may_be, tuple(questions))


def _rows(fleet: Fleet) -> tuple[dict[str, dict[str, _Host]], dict[str, list[tuple[int, str]]]]:
    """Return the hosts of each hub by name, and of each hub the rows without a host: site and stated pool."""
    current = fleet.current
    site = positions(current["site"], fleet.site_ids)
    table = zip(site.tolist(), current["hub"], current["host"], current["pool"], strict=True)
    named: dict[str, dict[str, _Host]] = defaultdict(lambda: defaultdict(_Host))
    unnamed: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for s, hub, host, stated in sorted(table, key=lambda row: fleet.site_ids[row[0]] if row[0] >= 0 else ""):
        if host:
            known = named[hub][host]
            known.stated = known.stated or stated
            known.sites += [s] if s >= 0 else []
        elif s >= 0:
            unnamed[hub].append((s, stated))
    return named, unnamed


class _Sites:
    """What matters of each site (by position), looked up once for all hubs."""

    def __init__(self, fleet: Fleet) -> None:
        self._fleet = fleet

    @cached_property
    def releases(self) -> list[tuple[str, str]]:
        """Release today and as planned."""
        return list(zip(self._fleet.sites["release"], self._fleet.site_releases, strict=True))

    @cached_property
    def regions(self) -> list[str]:
        """Region, letter case aside."""
        return [region.strip().casefold() for region in self._fleet.sites["region"]]

    @cached_property
    def clusters(self) -> list[int]:
        """Clusters that are surely on a host of the site: of a site on several hosts one."""
        rows = Counter(self._fleet.current["site"])
        counts = zip(self._fleet.site_ids, self._fleet.clusters.tolist(), strict=True)
        return [min(clusters, 1) if rows[site] > 1 else clusters for site, clusters in counts]


class _Hub:
    """The pools (positions, in order of id) at one hub of several."""

    def __init__(self, fleet: Fleet, sites: _Sites, hub: str, pools: Sequence[int]) -> None:
        self.fleet, self.sites, self.hub, self.pools = fleet, sites, hub, pools
        self.questions: list[Question] = []
        after = [fleet.host_releases[p] for p in pools]
        today = [fleet.pools["host_release_today"].iloc[p] or a for p, a in zip(pools, after, strict=True)]
        self._releases = dict(zip(pools, zip(today, after, strict=True), strict=True))
        self._regions = {p: {r.strip().casefold() for r in fleet.pools["serves_regions"].iloc[p]} for p in pools}

    def match(self, hosts: Mapping[str, _Host]) -> dict[str, int]:
        """Return the pool of each host, and ask where it is not certain."""
        fits = {name: self._fits(name, host) for name, host in sorted(hosts.items())}
        largest = sorted(self.pools, key=lambda p: -int(self.fleet.cluster_caps[p]))
        may = {name: pools or self._named(name) or largest for name, pools in fits.items()}
        room = self._room(may)
        taken = _matched(may, room)
        left = _alternatives(may, taken, room)
        asked: dict[tuple[int, ...], list[str]] = defaultdict(list)
        for name, pools in left.items():
            if not fits[name]:
                asked[()].append(name)
            elif self._differ(pools):
                asked[tuple(pools)].append(name)
        for key, names in sorted(asked.items()):
            sites = [s for name in names for s in hosts[name].sites]
            self._ask(names, sites, key, dict.fromkeys(taken[name] for name in names))
        return taken

    def match_unnamed(self, rows: Sequence[tuple[int, str]]) -> dict[tuple[str, str], tuple[str, ...]]:
        """Return the pools that each row without a host may mean, and ask where these are several."""
        found: dict[tuple[str, str], tuple[str, ...]] = {}
        asked: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for s, stated in rows:
            pools = self._fits("", _Host([s], stated)) or list(self.pools)
            found[self.fleet.site_ids[s], self.hub] = tuple(self.fleet.pool_ids[p] for p in pools)
            if self._differ(pools):
                asked[tuple(pools)].append(s)
        for key, sites in sorted(asked.items()):
            self._ask([], sites, key, ())
        return found

    def _ask(self, hosts: Sequence[str], sites: Sequence[int], pools: Sequence[int], taken: Iterable[int]) -> None:
        ids = self.fleet.pool_ids
        names = tuple(sorted(self.fleet.site_ids[s] for s in sites))
        chosen = tuple(sorted(ids[p] for p in taken))
        self.questions.append(Question(self.hub, tuple(hosts), names, tuple(ids[p] for p in pools), chosen))

    def _fits(self, name: str, host: _Host) -> list[int]:
        """Return the pools that the host may be of; empty where none fits."""
        fleet = self.fleet
        ids = {p: fleet.pool_ids[p] for p in self.pools}
        stated = [p for p in self.pools if host.stated and host.stated in (ids[p], fleet.true_pools.get(ids[p]))]
        stated = stated or [p for p in self.pools if name and name in self._said[p]]
        if stated:
            return stated
        among = self._named(name) or self.pools
        clusters = sum(self.sites.clusters[s] for s in host.sites)
        holds = [p for p in among if clusters <= fleet.cluster_caps[p]]
        now, later = ({self.sites.releases[s][when] for s in host.sites} for when in (0, 1))
        regions = {self.sites.regions[s] for s in host.sites}
        today = [p for p in holds if self._suits(now, self._releases[p][0])]
        planned = [p for p in today if self._suits(later, self._releases[p][1])]
        planned = [p for p in planned if not self._regions[p] or regions <= self._regions[p]]
        return planned or today

    @cached_property
    def _said(self) -> dict[int, frozenset[str]]:
        """Names of hosts that each pool says are its own."""
        columns_of_names = ("host_names", "retiring_hosts")
        return {p: frozenset(n for c in columns_of_names for n in self.fleet.pools[c].iloc[p]) for p in self.pools}

    def _suits(self, of_sites: set[str], of_host: str) -> bool:
        return all(suits(self.fleet.policy.host_release_rule, release, of_host) for release in of_sites)

    def _named(self, name: str) -> list[int]:
        """Return the pool whose id begins the name of a host; a pool called as its hub is named by all hosts there."""
        found = []
        for p in self.pools:
            head = self.fleet.pool_ids[p].casefold()
            rest = name.casefold().removeprefix(head)
            if head != self.hub.casefold() and name.casefold().startswith(head) and not rest[:1].isalnum():
                found.append(p)
        return [max(found, key=lambda p: len(self.fleet.pool_ids[p]))] if found else []

    def _room(self, may: Mapping[str, Sequence[int]]) -> dict[int, int]:
        """Return how many hosts each pool can have: those that exist, else those that fit, else any number."""
        fleet = self.fleet
        for counts in (fleet.existing_hosts, fleet.max_hosts):
            room = {p: int(counts[p] + fleet.retiring_of_pool[p]) for p in self.pools}
            if len(_matched(may, room)) == len(may):
                return room
        return dict.fromkeys(self.pools, _NO_LIMIT)

    def _differ(self, pools: Sequence[int]) -> bool:
        """Say whether it matters which of ``pools`` is meant: whether anything but their names differs."""
        return len({self._looks[p] for p in pools}) > 1

    @cached_property
    def _looks(self) -> dict[int, tuple[str, ...]]:
        names = [name for name in columns.HUBS.names if name not in _NAMES]
        rows = self.fleet.pools[names].iloc[list(self.pools)].itertuples(index=False)
        return {p: tuple(map(str, row)) for p, row in zip(self.pools, rows, strict=True)}


def _matched(may: Mapping[str, Sequence[int]], room: Mapping[int, int]) -> dict[str, int]:
    """Return a pool for as many hosts as ``room`` allows, by augmenting paths.

    Source: H. W. Kuhn, The Hungarian method for the assignment problem, Naval Research Logistics Quarterly 2 (1955).
    """
    taken: dict[str, int] = {}
    on: dict[int, list[str]] = {p: [] for p in room}

    def seat(name: str, seen: set[int]) -> bool:
        for p in may[name]:
            if p in seen:
                continue
            seen.add(p)
            guest = next((other for other in on[p] if seat(other, seen)), None) if len(on[p]) >= room[p] else ""
            if guest is None:
                continue
            on[p] = [*(other for other in on[p] if other != guest), name]
            taken[name] = p
            return True
        return False

    for name in may:
        seat(name, set())
    return taken


def _alternatives(
    may: Mapping[str, Sequence[int]], taken: Mapping[str, int], room: Mapping[int, int]
) -> dict[str, list[int]]:
    """Return for each host the pools that it has in some matching of all hosts: by alternating paths from ``taken``."""
    at = {p: i for i, p in enumerate(room)}
    reach = np.eye(len(at), dtype=np.bool_)
    used = np.zeros(len(at), dtype=np.int64)
    for name, p in taken.items():
        used[at[p]] += 1
        reach[at[p], [at[q] for q in may[name]]] = True
    for _ in at:
        reach |= (reach.astype(np.int64) @ reach.astype(np.int64)) > 0
    free = used < np.array(list(room.values()), dtype=np.int64)

    def ends(p: int, q: int) -> bool:
        # A host goes from p to q if one goes on from q to free room, or in a circle back to p.
        return p == q or bool((reach[at[q]] & free).any() or reach[at[q], at[p]])

    return {name: [q for q in may[name] if ends(taken[name], q)] for name in taken}
