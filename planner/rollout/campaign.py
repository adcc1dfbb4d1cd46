"""A schedule over chosen nights, and the choice of the next best night where none is given."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.rollout.allotment import Asked, allot
from planner.rollout.filling import ANY_NIGHT, Filling
from planner.rollout.night_kinds import NightKinds
from planner.rollout.project import Timetable
from planner.rollout.sheet import Sheet

_AHEAD = 14  # nights among which the fullest is looked for
_TRIED = 3  # of them are filled to see which holds most
_LATE = 5.0  # rank of a job that was missed in the night that was allotted to it
_TRIES, _MISSED = 10, 0.5  # fillings of such a night, and the rank that each gives to who is missed
DEAR = 40_000  # all jobs times nights, of projects whose programs take seconds
_FEW_MISSED = 0.015  # of what waits: so many come late there before a program is solved once more
_FORWARD = 2  # so many jobs of later nights are tried in the place of one that was missed
_LAST_CHANCE = 2.0  # rank of a job that none of the later nights is open to


@dataclass(frozen=True)
class Run:
    """Nights one after the other: ``before`` has the state before each, ``end`` that after the last.

    ``rank``: who went first, in the last ones at least.
    """

    nights: tuple[int, ...]
    before: tuple[Filling, ...]
    end: Filling
    rank: Floats

    @property
    def left(self) -> int:
        """Jobs that are not done."""
        return int(self.end.waiting.sum())

    @property
    def timetable(self) -> Timetable:
        """What is done."""
        return self.end.timetable()

    @property
    def sizes(self) -> list[int]:
        """Jobs of each night."""
        count = Counter(self.end.night)
        return [count[night] for night in self.nights]


class Campaign:
    """Runs of one project; all begin with the same state."""

    def __init__(self, kinds: NightKinds, *, by_order: bool) -> None:
        """``by_order``: see `planner.rollout.guards.Guard`."""
        self.kinds, self.sheet = kinds, kinds.sheet
        sheet = kinds.sheet
        self.asked = 0  # jobs placed so far; a program counts as some of them
        self.short = 0  # jobs of the last run for which no night could be allotted from the first one on
        self._kinds_of: dict[int, frozenset[int]] = {}
        self._fresh = Filling(sheet, np.zeros(len(sheet.jobs)), by_order=by_order)

    @property
    def simple(self) -> bool:
        """Whether the known order is asked for nothing, since all that moves is sites of one cluster."""
        sheet = self.sheet
        rooms = zip(self._fresh.guard.simple, sheet.takes, sheet.gives, strict=True)
        return all(simple or not (takes or gives) for simple, takes, gives in rooms)

    def begin(self) -> Run:
        """Return the run of no night."""
        return Run((), (), self._fresh, self._fresh.rank)

    def follow(
        self, run: Run, keep: int, nights: Sequence[int], rank: Floats, asked: Asked | None = None, work: float = np.inf
    ) -> Run:
        """Keep so many nights of ``run`` and fill ``nights`` after them, those jobs first that have fewest of them.

        Else those with the highest ``rank`` go first. With ``asked`` each job is kept for the night that is allotted,
        and nothing is filled where these nights are too short for all; anew after each night that missed some, as far
        as so much ``work`` goes.
        """
        state = (run.before[keep] if keep < len(run.nights) else run.end).copy()
        state.allotted, self.short = None, 0
        worked, before = list(run.nights[:keep]), list(run.before[:keep])
        chances = Chances(self.sheet, nights)
        for at, night in enumerate(nights):
            if asked is not None and (state.allotted is None or self._anew(state, nights[at:], work)):
                self._allot(state, nights[at:], asked)
                if self.short:
                    break
            state.rank = rank + _LAST_CHANCE / (1.0 + chances.after(at)) + _LATE * _missed(state, night - 1)
            kept, state = state, self._filled(state, night)
            if state.last_done == night:
                worked.append(night)
                before.append(kept)
        return Run(tuple(worked), tuple(before), state, rank)

    def _anew(self, state: Filling, nights: Sequence[int], work: float) -> bool:
        """Say whether ``nights`` are worth another program, since jobs were missed in the nights before them."""
        waiting, missed = int(state.waiting.sum()), int(_missed(state, nights[0] - 1).sum())
        few = _FEW_MISSED * waiting if len(self.sheet.jobs) * len(nights) > DEAR else 0
        return missed > few and self.asked + waiting * len(nights) <= work

    def _allot(self, state: Filling, nights: Sequence[int], asked: Asked) -> None:
        first = state.allotted is None
        state.allotted = allot(self.kinds, state, nights, asked)
        self.asked += int(state.waiting.sum()) * len(nights)
        if first:
            self.short = int((state.waiting & (state.allotted == ANY_NIGHT)).sum())

    def _filled(self, state: Filling, night: int) -> Filling:
        """Fill a night; several times, first with those that were missed, until all is done that is allotted to it."""
        best, least, rank = state, len(state.rank) + 1, state.rank
        for _ in range(_TRIES):
            trial = state.copy()
            trial.rank = rank
            self.asked += len(trial.fill(night, self.sheet.project.size(trial.waves)))
            missed = _missed(trial, night)
            if missed.sum() < least:
                best, least = trial, int(missed.sum())
            if not least:
                break
            rank = rank + _MISSED * missed
        return self._forward(state, night, best, least) if least else best

    def _forward(self, state: Filling, night: int, best: Filling, missed: int) -> Filling:
        """Fill a night once more, in the place of those missed with some jobs of later nights."""
        if state.allotted is None:
            return best
        allotted, trial = state.allotted.copy(), state.copy()
        open_tonight = np.isin(self.sheet.kind, self.sheet.opened(night))
        later = np.flatnonzero(state.waiting & open_tonight & (allotted > night))
        found = later[np.lexsort((allotted[later], -self.sheet.urgent[later]))][: _FORWARD * missed]
        allotted[found] = ANY_NIGHT
        trial.allotted, trial.rank = allotted, best.rank.copy()
        trial.rank[found] -= _LATE
        self.asked += len(trial.fill(night, self.sheet.project.size(trial.waves)))
        better = _missed(trial, night).sum() <= missed and trial.waiting.sum() < best.waiting.sum()
        return trial if better else best

    def finish(self, run: Run, rank: Floats) -> Run:
        """Go on with the fullest of the next nights while jobs are left that some night is open to."""
        nights, before, state = list(run.nights), list(run.before), run.end.copy()
        state.rank = rank
        stop = self.sheet.project.nights.stop
        at = nights[-1] + 1 if nights else self.sheet.project.nights.start
        while state.waiting.any() and at < stop:
            found = _fullest(state, range(at, min(at + _AHEAD, stop)))
            if found is None:
                at += _AHEAD
                continue
            before.append(state)
            night, state = found
            nights.append(night)
            at = night + 1
        return Run(tuple(nights), tuple(before), state, rank)

    def next_nights(self, count: int) -> tuple[int, ...]:
        """Return the first ``count`` nights that no other is open to more jobs than."""
        project, largest = self.sheet.project, {kind.opened for kind in self.kinds.kinds}
        nights: list[int] = []
        night = project.nights.start
        while len(nights) < count and night < project.nights.stop:
            if self._opened(night) in largest:
                nights.append(night)
                night += project.pilot_days - 1 if len(nights) == 1 else 0
            night += 1
        return tuple(nights)

    def dated(self, pilot: Sequence[frozenset[int]], others: Sequence[frozenset[int]] = ()) -> tuple[int, ...]:
        """Return nights open to these kinds of jobs: of ``pilot`` in this order, then of ``others`` as they come.

        Each is as early as can be. Where several of ``others`` would do for a night, the first of them takes it.
        """
        project, left = self.sheet.project, list(others)
        nights: list[int] = []
        for night in project.nights:
            if nights and night < nights[0] + (project.pilot_days if len(nights) == 1 else 1):
                continue
            here, opened = len(nights), self._opened(night)
            wanted = [pilot[here]] if here < len(pilot) else left
            found = next((kinds for kinds in wanted if kinds <= opened), None)
            if found is not None:
                nights.append(night)
                if here >= len(pilot):
                    left.remove(found)
            if len(nights) == len(pilot) + len(others):
                break
        return tuple(nights)

    def _opened(self, night: int) -> frozenset[int]:
        if night not in self._kinds_of:
            self._kinds_of[night] = frozenset(self.sheet.opened(night).tolist())
        return self._kinds_of[night]


def _missed(state: Filling, night: int) -> Bools:
    """Return the jobs that wait though they were kept for ``night`` or one before it."""
    if state.allotted is None:
        return np.zeros(len(state.waiting), dtype=bool)
    found: Bools = state.waiting & (state.allotted > ANY_NIGHT) & (state.allotted <= night)
    return found


class Chances:
    """How many of some nights are left for each job, so that what must come after it still finds its night."""

    def __init__(self, sheet: Sheet, nights: Sequence[int]) -> None:
        self._kind = sheet.kind
        opened = np.zeros((len(sheet.sample), len(nights)), dtype=np.int64)
        for at, night in enumerate(nights):
            opened[sheet.opened(night), at] = 1
        # From each position on, so many nights are open to each kind.
        self._left = np.zeros((len(sheet.sample), len(nights) + 1), dtype=np.int64)
        self._left[:, :-1] = opened[:, ::-1].cumsum(axis=1)[:, ::-1]
        self._end = np.full(len(sheet.jobs), len(nights), dtype=np.int64)
        for job in sheet.awaited:
            ends = [self._last(opened, other) for other in sheet.later[job]]
            ends += [self._last(opened, other) + 1 for other in sheet.following[job]]
            self._end[job] = max(0, min(ends))

    def _last(self, opened: Ints, job: int) -> int:
        """Return the position of the last night that does for ``job``; -1 for none."""
        found = np.flatnonzero(opened[self._kind[job], : self._end[job]])
        return int(found[-1]) if len(found) else -1

    def after(self, at: int) -> Ints:
        """Return for each job the nights after the one at position ``at`` that would do for it."""
        found: Ints = np.maximum(0, self._left[self._kind, at + 1] - self._left[self._kind, self._end])
        return found


def _fullest(state: Filling, nights: range) -> tuple[int, Filling] | None:
    """Return the night in which most is done, and the state after it; None where nothing can be done."""
    most = state.sheet.project.size(state.waves)
    could = sorted((-min(max(1.0, most), len(state.could(night))), night) for night in nights)
    best, done = None, 0
    for tried, (promise, night) in enumerate(could):
        if -promise <= done or (tried >= _TRIED and best is not None):
            break
        trial = state.copy()
        filled = len(trial.fill(night, most))
        if filled > done:
            best, done = (night, trial), filled
    return best
