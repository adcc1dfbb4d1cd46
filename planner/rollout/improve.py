"""Local search over whole waves: a night less, until all that is left has found its place in the others; then earlier.

Jobs that come late get a higher rank, and so do those that free the places for them (D. E. Joslin, D. P. Clements,
Squeaky wheel optimization, Journal of Artificial Intelligence Research 10 (1999) 353-373); nights change their dates.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from planner.fleet import Floats
from planner.rollout.allotment import Asked
from planner.rollout.campaign import DEAR, Campaign, Run
from planner.rollout.night_program import Fewest
from planner.rollout.sheet import Sheet

_AHEAD = 14  # nights after the last one that a night may be moved to
_STALE = 60  # trials without success after which another night is taken out
_SOON = 20  # such trials before programs that take seconds
_SPARE = 60  # minutes for which a place is free before others count on it, where that can be
_FIRST = 1_000.0  # rank of an urgent job that comes before all others
_BRIEF, _LONG = 2, 8  # trials to mend a run as jobs are allotted
_ATTEMPTS = 4  # such runs from which the one that is settled best is taken
_FEW = 4  # programs: less work than these take asks for those first that are the likeliest to do
_AS_IT_IS = 0.3  # share of the trials that change no rank
_FADING, _BLAME, _FREED, _LEAST = 0.9, 0.5, 0.6, 0.1


@dataclass(frozen=True)
class Effort:
    """What a search may spend: ``work`` is how many jobs all trials together may place.

    ``watch`` is told the waves and says whether to go on; ``left`` are the seconds left, None for no limit.
    """

    work: int
    watch: Callable[[int], bool]
    left: Callable[[], float | None] = lambda: None


@dataclass
class Search:
    """Improves a run. ``asked``: how trials allot each job to a night (`planner.rollout.allotment`), None for not."""

    campaign: Campaign
    effort: Effort
    work: int = 0
    asked: Asked | None = None
    short: set[tuple[int, ...]] = field(default_factory=set)  # nights that do not do, however they are filled
    chance: random.Random = field(default_factory=lambda: random.Random(0))

    @property
    def _sheet(self) -> Sheet:
        return self.campaign.sheet

    def allotted(self, best: Run, chosen: Fewest, enough: int) -> Run:
        """Return a run of few nights in which all is done as it is allotted; ``best`` where that is fewer."""
        count = max(1, enough)
        if self._program(count) > DEAR:
            best = self._of_fewer(best, self._filled_by_rank(chosen, count, best))
        while count < len(best.nights):
            choices = [self.campaign.next_nights(count)]
            drawn = [self._drawn(chosen, count)] if len(chosen) <= count else []
            # The program's own choice has room for all jobs: where few programs can be solved, it comes first.
            choices = [*drawn, *choices] if _FEW * self._program(count) > self.work else [*choices, *drawn]
            best = self._of_fewer(best, self._as_allotted(choices, best, _BRIEF, even=True))
            # As many nights more as those that found none would fill at the pace of these.
            count += max(1, self.campaign.short * count // len(self._sheet.jobs))
        return best

    def _filled_by_rank(self, chosen: Fewest, count: int, best: Run) -> Run | None:
        """Return a run of ``count`` nights that takes no program; None where ranks do not find one soon."""
        drawn = [self._drawn(chosen, count)] if len(chosen) <= count else []
        for nights in (*drawn, self.campaign.next_nights(count)):
            begun = self._fresh(nights, best.rank)
            found = self._mended(begun, count, self._sheet.project.nights.stop, best, _SOON)
            if found is not None:
                return found
        return None

    @staticmethod
    def _of_fewer(best: Run, found: Run | None) -> Run:
        return best if found is None or len(found.nights) >= len(best.nights) else found

    def fewer(self, best: Run, chosen: Fewest, enough: int) -> Run:
        """Return a run of fewer nights than ``best``, ``enough`` if it can be, else ``best``.

        Attempts begin in turn with steps allotted to the next nights, or to nights as the program has chosen them, and
        with such nights, or with a thin night taken out, without allotment.
        """
        attempt = 0
        while len(best.nights) > max(1, enough) and self._goes_on(best):
            most, fewer = len(best.nights) - 1, len(chosen) < len(best.nights)
            found = None
            if attempt % 3 < 2:
                nights = self._drawn(chosen, most) if attempt % 3 and fewer else self.campaign.next_nights(most)
                found = self._as_allotted([nights], best, _LONG, even=self.chance.random() < 0.5)
            else:
                drawn = self.chance.random() < 0.5 and fewer
                nights = self._drawn(chosen, len(chosen))
                current = self._fresh(nights, best.rank) if drawn else self._without(best, self._thin(best))
                found = self._mended(current, most, self._sheet.project.nights.stop, best)
            best = self._of_fewer(best, found)
            attempt += 1
        return best

    def earlier(self, best: Run) -> Run:
        """Return a run of as many nights that ends earlier, else ``best``."""
        kinds = [frozenset(self._sheet.opened(night).tolist()) for night in best.nights]
        growing = len(self._sheet.project.sizes)
        current = best
        for pilot in (kinds, kinds[:growing]):
            nights = self.campaign.dated(pilot, kinds[len(pilot) :])
            if nights[-1] < best.nights[-1] and self._goes_on(best):
                found = self._as_allotted([nights], best, _BRIEF, even=False) or best
                best = min(best, found, key=lambda run: (len(run.nights), run.nights[-1]))
                current = self._fresh(nights, best.rank)
        while self._goes_on(best):
            if not current.nights or current.nights[-1] >= best.nights[-1]:
                current = self._without(best, len(best.nights) - 1)
            best = self._mended(current, len(best.nights), best.nights[-1], best) or best
            current = self._without(best, len(best.nights) - 1)
        return best

    def settled(self, best: Run) -> Run:
        """Return a run over the same nights with urgent jobs early, then waves of even size; else ``best``."""
        for _ in range(_ATTEMPTS):
            if self._goes_on(best):
                found = self._as_allotted([best.nights], best, _BRIEF, even=True)
                best = best if found is None else min(best, found, key=self._unrest)
        # Full nights leave no choice to the program, but which job comes in which of them.
        first = self._fresh(best.nights, best.rank + _FIRST * self._sheet.urgent)
        return best if first.left else min(best, first, key=self._unrest)

    def _as_allotted(self, choices: Sequence[tuple[int, ...]], best: Run, trials: int, *, even: bool) -> Run | None:
        """Return a run in which all is done as it is allotted, over the first of ``choices`` of nights that allow it.

        Places are handed on with time to spare, if they can be. In so many ``trials`` some of the last nights are
        allotted and filled anew; what is left then comes in further nights. None where something is left still, and
        where the program would take more work than is left.
        """
        found = None
        for nights, spare in product(choices, (_SPARE, 0)):
            affordable = self._program(len(nights)) <= self.work
            if nights in self.short or not affordable or not self._goes_on(best):
                continue
            self.asked = Asked(self.chance, even, spare, self.effort.left)
            run = self._fresh(nights, best.rank)
            if not self.campaign.short:
                found = self._tried_again(run, nights, best, trials)
                break
            self.short |= set() if spare else {nights}
        self.asked = None
        if found is not None and found.left:
            found = self.campaign.finish(found, best.rank)
        return None if found is None or found.left else found

    def _program(self, nights: int) -> int:
        """Return the work of a program of so many nights."""
        return len(self._sheet.jobs) * nights

    def _tried_again(self, run: Run, nights: tuple[int, ...], best: Run, trials: int) -> Run:
        before = max(1, len(run.nights))
        for _ in range(trials):
            if not run.left or not self._goes_on(best):
                break
            keep = max(self.chance.randrange(before) for _ in range(2))
            rest = tuple(night for night in nights if night > max(run.nights[:keep], default=-1))
            trial = self._follow(run, keep, rest, best.rank if self.chance.random() < 0.5 else self._given_way(run))
            before = max(1, keep) if self.campaign.short else before  # what is left there finds no night any more
            if trial.left <= run.left:
                run, before = trial, max(1, len(trial.nights))
        return run

    def _unrest(self, run: Run) -> tuple[int, float, int]:
        """Return the waves, how long urgent jobs wait, and the sum of the squares of waves: less is more even."""
        came = [run.nights.index(night) if night is not None else 0 for night in run.end.night]
        sizes = np.bincount(came, weights=self._sheet.owned, minlength=1)
        return len(run.nights), float(np.dot(came, self._sheet.urgent)), int((sizes**2).sum())

    def _fresh(self, nights: tuple[int, ...], rank: Floats) -> Run:
        return self._follow(self.campaign.begin(), 0, nights, rank)

    def _drawn(self, chosen: Fewest, count: int) -> tuple[int, ...]:
        """Return ``count`` nights of the chosen kinds; those after the pilot and its growth as chance draws them."""
        others = self.chance.sample(chosen.others, len(chosen.others))
        more = count - len(chosen) if others else 0
        return self.campaign.dated(chosen.pilot, (*others, *self.chance.choices(others, k=more)))

    def _without(self, run: Run, out: int) -> Run:
        return self._follow(run, out, run.nights[out + 1 :], run.rank)

    def _goes_on(self, best: Run) -> bool:
        return self.work > 0 and self.effort.watch(len(best.nights))

    def _mended(self, current: Run, most: int, before: int, best: Run, patience: int = _STALE) -> Run | None:
        """Look for places for what is left, in at most so many nights, all ``before`` one; None without success."""
        stale = 0
        while current.left and stale < patience and self._goes_on(best):
            keep, nights = self._changed(current, most, before)
            raised = current.rank if self.chance.random() < _AS_IT_IS else self._given_way(current)
            trial = self._follow(current, keep, nights, raised)
            stale += 1
            if trial.left <= current.left:
                stale = stale if trial.left == current.left else 0
                current = trial
        return None if current.left else current

    def _follow(self, run: Run, keep: int, nights: tuple[int, ...], rank: Floats) -> Run:
        found = self.campaign.follow(run, keep, nights, rank, self.asked, self.work)
        state = run.before[keep] if keep < len(run.before) else run.end
        self.work -= 1 + int(state.waiting.sum()) + self.campaign.asked
        self.campaign.asked = 0
        return found

    def _thin(self, run: Run) -> int:
        """Draw a night, the thinner the likelier."""
        weights = [1.0 / size for size in run.sizes]
        return self.chance.choices(range(len(run.nights)), weights)[0]

    def _changed(self, run: Run, most: int, before: int) -> tuple[int, tuple[int, ...]]:
        """Return from which position on to fill anew, and the nights: often another one, for a job that is left."""
        nights = list(run.nights)
        changed = self.chance.randrange(len(nights) + 1) if nights else 0
        if len(nights) >= most and self.chance.random() < 0.5:
            out = self._thin(run)
            nights.pop(out)
            changed = min(changed, out)
        while len(nights) < most and (night := self._open_night(run, nights, before)) is not None:
            changed = min(changed, sum(other < night for other in nights))
            nights = sorted([*nights, night])
        return changed, tuple(nights[changed:])

    def _open_night(self, run: Run, nights: list[int], end: int) -> int | None:
        """Draw a night before ``end`` that is open to a job that is left, None for none."""
        job = self.chance.choice(np.flatnonzero(run.end.waiting).tolist())
        kind = int(self._sheet.kind[job])
        before = [night for other in self._sheet.jobs[job].earlier if (night := run.end.night[other]) is not None]
        begin = self._sheet.project.nights.start
        first = max(before, default=begin - 1) + 1
        last = min(end, max(nights, default=begin) + _AHEAD)
        found = [n for n in range(first, last) if n not in nights and kind in self._sheet.opened(n)]
        return self.chance.choice(found) if found else None

    def _given_way(self, run: Run) -> Floats:
        """Raise the rank of jobs that are left, and of those that free places for them or are needed before."""
        sheet, night = self._sheet, run.end.night
        wave = {night: at for at, night in enumerate(run.nights)}
        came = [wave.get(n, len(wave)) if n is not None else len(wave) for n in night]
        raised = np.zeros(len(sheet.jobs))
        heads = [(at, 1.0) for at in np.flatnonzero(run.end.waiting).tolist()]
        while heads:
            at, by = heads.pop()
            if raised[at] >= by or by < _LEAST:
                continue
            raised[at] = by
            freeing = (o for room, _ in sheet.takes[at] for o in sheet.leaving.get(room, ()))
            heads += [(o, by * _FREED) for o in freeing if 0 <= came[at] - came[o] <= 2 and self.chance.random() < 0.5]
            heads += [(o, by * _FREED) for o in (*sheet.jobs[at].needs, *sheet.jobs[at].earlier)]
        noise = np.array([self.chance.random() for _ in raised])
        found: Floats = run.rank * _FADING + raised * (_BLAME + noise) + (1 - _FADING) * noise
        return found
