"""Full hosts that wait for each other: found as components of the moves, broken with the fewest detours.

A circle is a component of moves of one cluster each in which every host is full before and after (see
`planner.rollout.handover`). Its first step must take a site to a host outside it, which is a detour, so each circle
needs at least one; one is enough where that host has a hole at some time, because the hole it leaves walks along all
moves of the circle. A host outside may be full for good: then one of its own sites has to make a detour first. So the
fewest detours are the fewest vertices of a tree that leads from every circle to hosts with holes (a Steiner
arborescence; an arc where a site of one end may use the other). For sites of several clusters this becomes a packing
problem: there the number of detours is the best found, of small parts by `planner.rollout.ways`.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from planner.rollout.detours import Breaker, MayUse, Order
from planner.rollout.handover import Change, Handover, closed, components, greedy, settle
from planner.rollout.redo import SEARCHED, search

_STATES_AGAIN = 3_000  # states that may be looked at for another order
_ATTEMPTS = 10  # random orders of a component whose sites have several clusters


@dataclass
class _Crowded:
    """A component of changes of which some are ``left``: as it was before any (``start``), and after (``settled``)."""

    part: Sequence[int]
    left: list[int]
    start: Handover
    settled: Handover


def order_changes(
    changes: Sequence[Change],
    room: Mapping[str, int],
    stayers: Mapping[str, Sequence[tuple[str, int, int]]],
    may_use: MayUse,
    uplink: Mapping[str, str] | None = None,
) -> Order:
    """Return an order of ``changes`` in which no place is ever overfull, with as few detours as it can find.

    ``room`` is what is free today on each host and uplink that has a limit; ``stayers`` are the sites that stay on a
    host, with their clusters and traffic; ``uplink`` names the limiting uplink of a host; ``may_use`` says whether a
    site may make a detour to a host.
    """
    order = Order(Handover.of(changes, room, uplink or {}))
    breaker = Breaker(order, stayers, may_use)
    waiting: list[list[int]] = []
    crowded: list[_Crowded] = []
    for part in components(order.handover, range(len(changes))):
        if all(order.handover.simple(at) for at in part):
            pieces = components(order.handover, settle(order.handover, part))
            order.least_detours += sum(closed(order.handover, piece) for piece in pieces)
            waiting.extend(pieces)
        elif (found := _settle_crowded(order.handover, part)) is not None:
            crowded.append(found)
    for found in crowded:
        waiting.extend(components(order.handover, _search_crowded(breaker, found)))
    circles = [part for part in waiting if closed(order.handover, part)]
    breaker.break_circles(circles)
    breaker.make_room([part for part in waiting if part not in circles])
    fewer = len(order.legs) > order.least_detours
    return _together(order, breaker, changes, room) if order.stuck or fewer else order


def another_order(
    changes: Sequence[Change],
    room: Mapping[str, int],
    stayers: Mapping[str, Sequence[tuple[str, int, int]]],
    may_use: MayUse,
    uplink: Mapping[str, str],
    chance: random.Random,
) -> Order | None:
    """Return an order of all of a few ``changes`` that ``chance`` draws, with the fewest detours; None without any."""
    order = Order(Handover.of(changes, room, uplink))
    breaker = Breaker(order, stayers, may_use, _STATES_AGAIN)
    way = search(breaker, range(len(changes)), everywhere=True, chance=chance)
    return None if way.steps is None else order


def _settle_crowded(handover: Handover, part: Sequence[int]) -> _Crowded | None:
    """Do what of a component goes without a detour, by the best of several orders; None where all goes."""
    start = handover.copy(_places(handover, part))
    start.after = {}
    best, left = start.copy(), list(part)
    for rank in _ranks(handover.changes, part):
        trial = start.copy()
        rest = greedy(trial, part, rank)
        if len(rest) < len(left):
            best, left = trial, rest
        if not rest:
            break
    handover.after.update(best.after)
    handover.holes.update(best.holes)
    return _Crowded(part, left, start, best.copy()) if left else None


def _search_crowded(breaker: Breaker, found: _Crowded) -> list[int]:
    """Do a small component anew by a search of all ways; return what is left."""
    order, part = breaker.order, found.part
    same = all(order.handover.holes[place] == holes for place, holes in found.settled.holes.items())
    if len(part) > SEARCHED or not same:
        return found.left
    _undo(order.handover, found, found.start)
    way = search(breaker, part)
    # What goes without detours takes places of this component alone.
    order.least_detours += int(way.at_least > 0 and _could_end(found.start, part))
    if way.steps is not None:
        return []
    _undo(order.handover, found, found.settled)
    return found.left


def _undo(handover: Handover, found: _Crowded, to: Handover) -> None:
    for at in found.part:
        handover.after.pop(at, None)
    handover.after.update(to.after)
    copied = to.copy()
    handover.holes.update(copied.holes)


def _together(order: Order, breaker: Breaker, changes: Sequence[Change], room: Mapping[str, int]) -> Order:
    """Search the ways of all changes together, where they are few: a host may have room only while others wait.

    Return ``order`` where this finds no way, or none with fewer detours although nobody is stuck.
    """
    if len(changes) > SEARCHED:
        return order
    anew = Order(Handover.of(changes, room, order.handover.uplink), least_detours=order.least_detours)
    again = Breaker(anew, breaker.stayers, breaker.may_use, breaker.states)
    way = search(again, range(len(changes)), everywhere=True)
    if way.steps is None:
        order.hopeless = bool(order.stuck) and way.complete
        return order
    return anew if order.stuck or len(anew.legs) < len(order.legs) else order


def _places(handover: Handover, part: Sequence[int]) -> set[str]:
    return {p for at in part for p, _ in (*handover.takes(at), *handover.gives(at))}


def _ranks(changes: Sequence[Change], part: Sequence[int]) -> Iterator[Mapping[int, float] | None]:
    """Yield ranks for greedy orders: none, large sites first, small ones first, then random ones."""
    yield None
    yield {at: -changes[at].size for at in part}
    yield {at: changes[at].size for at in part}
    chance = random.Random(len(part))
    for _ in range(_ATTEMPTS):
        yield {at: chance.random() for at in part}


def _could_end(start: Handover, part: Sequence[int]) -> bool:
    """Say whether the end of all changes of ``part`` respects every limit; where it does not, no detour helps."""
    end = {place: start.free(place) for place in start.holes}
    for at in part:
        for sign, places in ((-1, start.takes(at)), (1, start.gives(at))):
            for place, amount in places:
                end[place] = end.get(place, float("inf")) + sign * amount
    return all(free >= 0 for free in end.values())
