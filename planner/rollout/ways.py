"""The way with the fewest detours for a few changes, by best-first search over all states that they can be in.

A state says of every site where it is: at its source, parked on another host for a while, or at its target. A site
makes one detour at most, and comes back to the state it had. States are expanded in the order of their detours, and of
as many detours those first in which most is done; so the first way that is found has the fewest detours, and without
an end of the search fewer than those of the last state are ruled out (E. W. Dijkstra, Numerische Mathematik 1 (1959)
269-271). Sites that nothing tells apart stand in for each other.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

Places = tuple[tuple[int, int], ...]  # place, amount


@dataclass(frozen=True)
class Mover:
    """A site that may take part, and its ways: each is what it takes and what it gives.

    ``direct`` leads to its target, None for a site that stays; ``out`` to hosts for a detour, ``back`` from these to
    the target.
    """

    direct: tuple[Places, Places] | None
    out: Mapping[str, tuple[Places, Places]] = field(default_factory=dict)
    back: Mapping[str, tuple[Places, Places]] = field(default_factory=dict)

    @property
    def kind(self) -> tuple[object, ...]:
        """Equal for sites that can stand in for each other."""
        return (self.direct, tuple(sorted(self.out.items())), tuple(sorted(self.back.items())))


@dataclass(frozen=True)
class Way:
    """``steps`` are (mover, host for a detour; "" for its target) in order; None where no way was found.

    No way has fewer than ``at_least`` detours; where ``complete``, all states were looked at. ``expanded`` states were.
    """

    steps: tuple[tuple[int, str], ...] | None
    at_least: int
    complete: bool
    expanded: int = 0


_HOME, _DONE = "", "\0"  # of a mover: not moved yet, arrived; else the host on which it is parked
State = tuple[str, ...]


def cheapest_way(movers: Sequence[Mover], room: Sequence[int], states: int, chance: random.Random | None = None) -> Way:
    """Return the way with the fewest detours to bring all movers to their targets, with ``room`` free at the start.

    At most so many ``states`` are expanded. Of several ways of as few detours ``chance`` draws one.
    """
    return _Search(movers, chance).run(tuple(room), states)


class _Search:
    def __init__(self, movers: Sequence[Mover], chance: random.Random | None) -> None:
        self.movers, self.chance = movers, chance
        kinds: dict[tuple[object, ...], list[int]] = {}
        for i, mover in enumerate(movers):
            kinds.setdefault(mover.kind, []).append(i)
        self.groups = list(kinds.values())

    def run(self, room: tuple[int, ...], states: int) -> Way:
        start: State = (_HOME,) * len(self.movers)
        origin: dict[State, tuple[State, int, str]] = {}
        best = {self._key(start): 0}
        heap = [(0, self._rank(start), 0, start, room)]
        pushed = expanded = cost = 0
        while heap:
            cost, _, _, state, free = heapq.heappop(heap)
            if not self._left(state):
                return Way(_steps(origin, state), cost, True, expanded)
            if cost > best[self._key(state)]:
                continue
            if expanded >= states:
                return Way(None, cost, False, expanded)
            expanded += 1
            for i, to, (takes, gives) in self._ways(state):
                if any(free[place] < amount for place, amount in takes):
                    continue
                following = (*state[:i], to or _DONE, *state[i + 1 :])
                key, further = self._key(following), cost + (to != "")
                if further < best.get(key, further + 1):
                    best[key], origin[following] = further, (state, i, to)
                    pushed += 1
                    entry = (further, self._rank(following), pushed, following, _after(free, takes, gives))
                    heapq.heappush(heap, entry)
        return Way(None, cost, True, expanded)

    def _ways(self, state: State) -> Iterator[tuple[int, str, tuple[Places, Places]]]:
        """Yield the steps that a state allows but for room: mover, host ("" for its target), and the way."""
        for group in self.groups:
            seen: set[str] = set()
            for i in group:
                at, mover = state[i], self.movers[i]
                if at == _DONE or at in seen:
                    continue
                seen.add(at)
                if at == _HOME:
                    if mover.direct is not None:
                        yield i, "", mover.direct
                    for host, way in mover.out.items():
                        yield i, host, way
                else:
                    yield i, "", mover.back[at]

    def _rank(self, state: State) -> float:
        """Return what orders states of as many detours."""
        return self._left(state) + (self.chance.random() * len(state) if self.chance is not None else 0.0)

    def _left(self, state: State) -> int:
        """Count the steps that are surely left; of a site that stays none."""
        return sum(
            at != _DONE and (at != _HOME or mover.direct is not None)
            for at, mover in zip(state, self.movers, strict=True)
        )

    def _key(self, state: State) -> State:
        return tuple(at for group in self.groups for at in sorted(state[i] for i in group))


def _steps(origin: Mapping[State, tuple[State, int, str]], state: State) -> tuple[tuple[int, str], ...]:
    steps: list[tuple[int, str]] = []
    while state in origin:
        state, i, to = origin[state]
        steps.append((i, to))
    return tuple(reversed(steps))


def _after(free: Sequence[int], takes: Places, gives: Places) -> tuple[int, ...]:
    """Return what is free at each place after a step."""
    left = list(free)
    for place, amount in takes:
        left[place] -= amount
    for place, amount in gives:
        left[place] += amount
    return tuple(left)
