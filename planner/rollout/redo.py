"""Changes of one part done anew, by the way with the fewest detours (`planner.rollout.ways`), where they are few."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterator, Sequence

from planner.rollout.detours import Breaker
from planner.rollout.handover import Change, Handover
from planner.rollout.ways import Mover, Places, Way, cheapest_way

SEARCHED = 14  # most changes of a part that is searched
_SITES = 40  # most sites of a part and on its hosts
_REFUGES = 6  # most hosts beside its own that a site is tried on


def search(
    breaker: Breaker, part: Sequence[int], *, everywhere: bool = False, chance: random.Random | None = None
) -> Way:
    """Return the way of the changes ``part``, none of which is done, and put it into the order if there is one.

    Sites that stay on hosts of the part may make way, with ``everywhere`` those of all hosts: only then is a search
    ``complete``, where hosts and states are not too many. Of several ways ``chance`` draws one.
    """
    changes = breaker.handover.changes
    hosts = {host for at in part for host in (changes[at].source, changes[at].target) if host is not None}
    if everywhere:
        hosts |= set(breaker.handover.holes) - {*breaker.handover.uplink.values()}
    sites: list[tuple[int | None, Change]] = [(at, changes[at]) for at in part]
    sites += [(None, change) for change in _staying(breaker, hosts)]
    if len(part) > SEARCHED or len(sites) > _SITES:
        return Way(None, 0, False)
    numbers: dict[str, int] = {}
    refuges = [_refuges(breaker, change, hosts) for _, change in sites]
    movers = [
        _mover(breaker.handover, change, names, numbers, stays=at is None)
        for (at, change), (names, _) in zip(sites, refuges, strict=True)
    ]
    way = cheapest_way(movers, [int(breaker.handover.free(place)) for place in numbers], breaker.states, chance)
    breaker.states -= way.expanded
    if way.steps is not None:
        _follow(breaker, sites, way.steps)
    return dataclasses.replace(way, complete=way.complete and everywhere and all(tried for _, tried in refuges))


def _staying(breaker: Breaker, hosts: set[str]) -> Iterator[Change]:
    """Yield the sites that stay on ``hosts``, as changes to the host that they are on."""
    for host in sorted(hosts & breaker.handover.holes.keys()):
        for site, size, traffic in breaker.stayers.get(host, ()):
            if size:
                yield Change(site, host, host, size, traffic)


def _refuges(breaker: Breaker, change: Change, hosts: set[str]) -> tuple[list[str], bool]:
    """Return hosts for a detour of the site, and whether these are all: those of the part, then the roomiest others."""
    if change.source is None or not change.size:
        return [], True
    handover = breaker.handover
    others = set(handover.holes) - hosts - {*handover.uplink.values()}
    roomy = sorted((h for h in others if handover.free(h) >= change.size), key=lambda h: (-handover.free(h), h))
    inside = [h for h in sorted(hosts & handover.holes.keys()) if h not in (change.source, change.target)]
    inside = [h for h in inside if breaker.may_use(change.site, h)]
    outside = [h for h in roomy if breaker.may_use(change.site, h)] if len(roomy) <= _REFUGES else []
    for host in roomy if len(roomy) > _REFUGES else ():
        outside += [host] if breaker.may_use(change.site, host) else []
        if len(outside) == _REFUGES:
            return [*inside, *outside], False
    return [*inside, *outside], True


def _mover(
    handover: Handover, change: Change, refuges: Sequence[str], numbers: dict[str, int], *, stays: bool
) -> Mover:
    def way(source: str | None, target: str | None) -> tuple[Places, Places]:
        leg = dataclasses.replace(change, source=source, target=target)
        return numbered(handover.taken_by(leg)), numbered(handover.given_by(leg))

    def numbered(places: Sequence[tuple[str, int]]) -> Places:
        limited = ((place, amount) for place, amount in places if place in handover.holes)
        return tuple((numbers.setdefault(place, len(numbers)), amount) for place, amount in limited)

    direct = None if stays else way(change.source, change.target)
    out = {host: way(change.source, host) for host in refuges}
    return Mover(direct, out, {host: way(host, change.target) for host in refuges})


def _follow(breaker: Breaker, sites: Sequence[tuple[int | None, Change]], steps: Sequence[tuple[int, str]]) -> None:
    left: dict[int, int] = {}
    for mover, refuge in steps:
        at, change = sites[mover]
        if refuge:
            left[mover] = breaker.park(at, change, refuge)
        else:
            breaker.handover.do(left.get(mover, at if at is not None else -1))
