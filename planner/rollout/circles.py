"""Full hosts that wait for each other: found as components of the moves, broken with the fewest detours.

A circle is a component of moves of one cluster each in which every host is full before and after (see
`planner.rollout.handover`). Its first step must take a site to a host outside it, which is a detour, so each circle
needs at least one; one is enough where that host has a hole at some time, because the hole it leaves walks along all
moves of the circle. A host outside may be full for good: then one of its own sites has to make a detour first. So the
fewest detours are the fewest vertices of a tree that leads from every circle to hosts with holes (a Steiner
arborescence; an arc where a site of one end may use the other). For sites of several clusters this becomes a packing
problem: there the number of detours is the best found, and the bound is what an exhaustive search of small cases says.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence

from planner.rollout.detours import Breaker, MayUse, Order
from planner.rollout.handover import Change, Handover, closed, components, greedy, settle

_ATTEMPTS = 10  # random orders of a component whose sites have several clusters
_SEARCHED = 14  # most changes of a component that is searched exhaustively
_STATES = 20_000  # most states of that search


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
    waiting: list[list[int]] = []
    for part in components(order.handover, range(len(changes))):
        left, at_least_one = _settle_part(order.handover, part)
        waiting.extend(components(order.handover, left))
        order.least_detours += at_least_one
    circles = [part for part in waiting if closed(order.handover, part)]
    order.least_detours += len(circles)
    breaker = Breaker(order, stayers, may_use)
    breaker.break_circles(circles)
    breaker.make_room([part for part in waiting if part not in circles])
    return order


def _settle_part(handover: Handover, part: Sequence[int]) -> tuple[list[int], int]:
    """Do what of a component goes without a detour; return the rest, and 1 where a detour is proven necessary."""
    places = {p for at in part for p, _ in (*handover.takes(at), *handover.gives(at))}
    if all(handover.simple(at) for at in part):
        return settle(handover, part), 0
    start = handover.copy(places)
    start.after = {}
    best, left = start.copy(), list(part)
    for rank in _ranks(handover.changes, part):
        trial = start.copy()
        rest = greedy(trial, part, rank)
        if len(rest) < len(left):
            best, left = trial, rest
        if not rest:
            break
    proven = 0
    if left and len(part) <= _SEARCHED:
        sequence, complete = _search(start, part)
        proven = int(complete and sequence is None and _could_end(start, part))
        if sequence is not None:
            best, left = start.copy(), []
            for at in sequence:
                best.do(at)
    handover.after.update(best.after)
    handover.holes.update(best.holes)
    return left, proven


def _ranks(changes: Sequence[Change], part: Sequence[int]) -> Iterator[Mapping[int, float] | None]:
    """Yield ranks for greedy orders: none, large sites first, small ones first, then random ones."""
    yield None
    yield {at: -changes[at].size for at in part}
    yield {at: changes[at].size for at in part}
    chance = random.Random(len(part))
    for _ in range(_ATTEMPTS):
        yield {at: chance.random() for at in part}


def _search(start: Handover, part: Sequence[int]) -> tuple[list[int] | None, bool]:
    """Search all orders of ``part``: return one that goes through, and whether the search was complete.

    What is free depends on what has been done and not on its order, so each set of done changes is visited once.
    """
    seen: set[frozenset[int]] = {frozenset()}
    heap: list[tuple[list[int], Handover]] = [([], start)]
    while heap:
        done, state = heap.pop()
        if len(done) == len(part):
            return done, True
        for at in part:
            reached = frozenset((*done, at))
            if at in state.after or reached in seen or not state.fits(at):
                continue
            if len(seen) >= _STATES:
                return None, False
            seen.add(reached)
            further = state.copy()
            further.do(at)
            heap.append(([*done, at], further))
    return None, True


def _could_end(start: Handover, part: Sequence[int]) -> bool:
    """Say whether the end of all changes of ``part`` respects every limit; where it does not, no detour helps."""
    end = {place: start.free(place) for place in start.holes}
    for at in part:
        for sign, places in ((-1, start.takes(at)), (1, start.gives(at))):
            for place, amount in places:
                end[place] = end.get(place, float("inf")) + sign * amount
    return all(free >= 0 for free in end.values())
