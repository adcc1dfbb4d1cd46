"""Detours: one for each circle where a host with holes can be reached, more where full hosts lie between."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from planner.rollout.handover import Change, Handover, greedy, walk

MayUse = Callable[[str, str], bool]

_STATES = 20_000  # of all searches for one order together: a few seconds


@dataclass
class Order:
    """The order of all changes.

    ``legs`` maps the last leg of a detour, by position, to its first. ``stuck`` are the changes for which there is no
    room, by component; of a site that makes a detour all is in the order, or nothing. ``least_detours`` bounds the
    number of detours; it counts those that stuck circles would need. ``hopeless``: for what is stuck there is no way in
    which each site makes one detour at most.
    """

    handover: Handover
    legs: dict[int, int] = field(default_factory=dict)
    stuck: list[list[int]] = field(default_factory=list)
    least_detours: int = 0
    hopeless: bool = False

    def copy(self) -> Order:
        """Return a copy, to go back to."""
        handover = self.handover.copy()
        handover.changes = list(handover.changes)
        return dataclasses.replace(self, handover=handover, legs=dict(self.legs), stuck=list(self.stuck))

    def go_back(self, to: Order) -> None:
        """Become as ``to`` again."""
        self.handover, self.legs, self.stuck = to.handover, to.legs, to.stuck


@dataclass
class Breaker:
    """Adds detours to an order; searches for ways may look at so many more ``states``."""

    order: Order
    stayers: Mapping[str, Sequence[tuple[str, int, int]]]
    may_use: MayUse
    states: int = _STATES

    @property
    def handover(self) -> Handover:
        """The order of moves that the detours are added to."""
        return self.order.handover

    def break_circles(self, circles: list[list[int]]) -> None:
        """Break each circle with one detour where a host with holes can be reached, with more where it takes more."""
        left = list(circles)
        while left:
            part = next((part for part in left if self._park(self._hosts(part), part)), None)
            if part is None:
                part, added = self._through_full_hosts(left)
                # The first such circle needs so many detours; for later ones the path is the best found.
                self.order.least_detours += added if len(left) == 1 or part is None else 0
            if part is None:
                self.order.stuck.extend(left)
                return
            left.remove(part)

    def _hosts(self, part: Sequence[int]) -> set[str]:
        return {h for at in part if (h := self.handover.changes[at].target) is not None}

    def _reached(self) -> list[str]:
        """Return hosts where a hole is at some time, those with most room at the end first."""
        names = [name for name in self.handover.holes if self.handover.touched(name)]
        return sorted(names, key=lambda name: (-self.handover.free(name), name))

    def _park(self, hosts: set[str], part: Sequence[int]) -> bool:
        """Break the circle ``part``, which spans ``hosts``, with one detour to a reached host; False if none may go."""
        changes = self.handover.changes
        reached = [name for name in self._reached() if name not in hosts]
        for at in part:
            refuge = self._refuge(changes[at].site, reached)
            if refuge is not None:
                source, target = changes[at].source, changes[at].target
                assert source is not None
                rest = [other for other in part if other != at]
                chain = walk(changes, rest, source, target) if rest else []
                first = self._detour(at, source, refuge)
                self.handover.splice(refuge, [first, *chain, at])
                return True
        for host in sorted(hosts):
            found = self._staying(host, reached)
            if found is not None:
                site, refuge = found
                back, first = self._excursion(site, host, refuge)
                self.handover.splice(refuge, [first, *walk(changes, part, host), back])
                return True
        return False

    def _refuge(self, site: str, reached: Sequence[str]) -> str | None:
        return next((name for name in reached if self.may_use(site, name)), None)

    def _staying(self, host: str, reached: Sequence[str]) -> tuple[str, str] | None:
        """Return a site of one cluster that stays on ``host``, and a reached host that it may use for a while."""
        simple = (
            site for site, size, traffic in self.stayers.get(host, ()) if size == 1 and not self._limited(traffic)
        )
        return next(((site, refuge) for site in simple if (refuge := self._refuge(site, reached)) is not None), None)

    def _limited(self, traffic: int) -> bool:
        return bool(traffic) and bool(self.handover.uplink)

    def park(self, at: int | None, change: Change, refuge: str) -> int:
        """Take the site of ``change`` to ``refuge``; return the change that brings it on, or back where it stays.

        ``at`` is the position of ``change``, None for a site that stays on its host.
        """
        assert change.source is not None  # who has no host yet needs no detour
        if at is not None:
            last, first = at, self._detour(at, change.source, refuge)
        else:
            last, first = self._excursion(change.site, change.source, refuge, change.size, change.traffic)
        self.handover.do(first)
        return last

    def _detour(self, at: int, source: str, refuge: str) -> int:
        """Split change ``at``: it becomes the leg from ``refuge`` to its target. Return the new first leg."""
        changes = self.handover.changes
        changes.append(dataclasses.replace(changes[at], source=source, target=refuge))
        changes[at] = dataclasses.replace(changes[at], source=refuge)
        first = len(changes) - 1
        self.order.legs[at] = first
        return first

    def _excursion(self, site: str, host: str, refuge: str, size: int = 1, traffic: int = 0) -> tuple[int, int]:
        """Add a change that brings ``site`` back to ``host`` from ``refuge``, and one that brings it there."""
        self.handover.changes.append(Change(site, host, host, size, traffic))
        back = len(self.handover.changes) - 1
        return back, self._detour(back, host, refuge)

    def _through_full_hosts(self, left: list[list[int]]) -> tuple[list[int] | None, int]:
        """Open the shortest way from a circle over full hosts to a reached one; return the circle and the hosts."""
        reached = set(self._reached())
        in_circles = {host for part in left for host in self._hosts(part)}
        idle = [name for name in self.stayers if name in self.handover.holes and name not in reached | in_circles]
        opened: dict[str, str] = {}  # full host -> the host that takes one of its sites
        layer, found = sorted(reached), len(opened)
        while layer:
            following = []
            for host in (name for name in idle if name not in opened):
                stay = self._staying(host, layer)
                if stay is not None:
                    opened[host] = stay[1]
                    following.append(host)
            layer = following
            part = next((part for part in left if self._could_park(part, layer)), None)
            found += 1
            if part is not None:
                self._open(part, layer, opened)
                return part, found
        return None, 0

    def _could_park(self, part: Sequence[int], layer: Sequence[str]) -> bool:
        sites = [self.handover.changes[at].site for at in part]
        sites += [site for host in self._hosts(part) for site, size, _ in self.stayers.get(host, ()) if size == 1]
        return any(self._refuge(site, layer) is not None for site in sites)

    def _open(self, part: Sequence[int], layer: Sequence[str], opened: Mapping[str, str]) -> None:
        way = [next(host for host in layer if self._could_park(part, [host]))]
        while way[-1] in opened:
            way.append(opened[way[-1]])
        for host, refuge in reversed(list(pairwise(way))):
            stay = self._staying(host, [refuge])
            assert stay is not None
            back, first = self._excursion(stay[0], host, refuge)
            self.handover.splice(refuge, [first, back])
        parked = self._park(self._hosts(part), part)
        assert parked

    def make_room(self, parts: list[list[int]]) -> None:
        """Bring sites of several clusters on by detours, one after the other, while that helps.

        Where it does not, the order is again what it was when nobody was parked.
        """
        for part in parts:
            waiting, parked = list(part), set[str]()
            kept, left = self.order.copy(), waiting
            while waiting:
                at = self._make_way(waiting, parked)
                if at is None:
                    self.order.go_back(kept)
                    self.order.stuck.append(left)
                    break
                waiting = greedy(self.handover, [*waiting, *([at] if at not in waiting else [])])
                if not any(other in self.order.legs for other in waiting):
                    kept, left = self.order.copy(), waiting

    def _make_way(self, waiting: Sequence[int], parked: set[str]) -> int | None:
        """Park a site of a host that is waited for, the smallest that makes a change fit; return its last leg."""
        changes = self.handover.changes
        lacks = sorted((self._lack(at), at) for at in waiting)
        for lack, blocked in lacks:
            host = changes[blocked].target
            if host is None:
                continue
            moving = [(at, c.site, c.size, c.traffic) for at in waiting if (c := changes[at]).source == host]
            staying = [(None, *stayer) for stayer in self.stayers.get(host, ())]
            for at, site, size, traffic in (*_fitting(moving, lack), *_fitting(staying, lack)):
                refuge = None if site in parked else self._room_for(site, host, size, traffic)
                if refuge is None:
                    continue
                parked.add(site)
                change = changes[at] if at is not None else Change(site, host, host, size, traffic)
                return self.park(at, change, refuge)
        return None

    def _room_for(self, site: str, source: str, size: int, traffic: int) -> str | None:
        """Return the roomiest host that can take the site in for a while."""
        hosts = sorted(set(self.handover.holes) - {source, *self.handover.uplink.values()})
        hosts.sort(key=lambda name: -self.handover.free(name))
        fitting = (name for name in hosts if self._takes_in(name, source, size, traffic))
        return next((name for name in fitting if self.may_use(site, name)), None)

    def _takes_in(self, host: str, source: str, size: int, traffic: int) -> bool:
        uplink = self.handover.uplink.get(host)
        shared = uplink is None or uplink == self.handover.uplink.get(source)
        return self.handover.free(host) >= size and (shared or self.handover.free(str(uplink)) >= traffic)

    def _lack(self, at: int) -> float:
        return max((n - self.handover.free(place) for place, n in self.handover.takes(at)), default=0)


def _fitting(
    candidates: Sequence[tuple[int | None, str, int, int]], lack: float
) -> list[tuple[int | None, str, int, int]]:
    """Return candidates in the order to try them: large enough ones by size, then the others, largest first."""
    return sorted(candidates, key=lambda c: (c[2] < lack, c[2] if c[2] >= lack else -c[2], c[1]))
