"""Local search over whole waves: a night less, until all that is left has found its place in the others; then earlier.

Jobs that come late get a higher rank, and so do those that free the places for them (D. E. Joslin, D. P. Clements,
Squeaky wheel optimization, Journal of Artificial Intelligence Research 10 (1999) 353-373); nights change their dates.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from planner.fleet import Floats
from planner.rollout.campaign import Campaign, Guide, Run
from planner.rollout.night_program import Fewest
from planner.rollout.sheet import Sheet

_AHEAD = 14  # nights after the last one that a night may be moved to
_STALE = 60  # trials without success after which another night is taken out
_SPARE = 2  # nights for which the first try has one to spare
_ALLOTTED = 0.3  # share of the trials that allot steps to nights anew, where the run began so
_AS_IT_IS = 0.3  # share of the trials that change no rank
_FADING, _BLAME, _FREED, _LEAST = 0.9, 0.5, 0.6, 0.1


@dataclass
class Search:
    """Improves a run; ``work`` is how many jobs all trials together may place, ``watch`` says whether to go on.

    ``allotting``: whether trials keep each job for the night that is allotted to it (`planner.rollout.allotment`).
    """

    campaign: Campaign
    work: int
    watch: Callable[[int], bool]
    allotting: bool = False
    chance: random.Random = field(default_factory=lambda: random.Random(0))

    @property
    def _sheet(self) -> Sheet:
        return self.campaign.sheet

    def fewer(self, best: Run, chosen: Fewest, enough: int) -> Run:
        """Return a run of fewer nights than ``best``, ``enough`` if it can be, else ``best``.

        Attempts begin in turn with nights as the program has chosen them, with a thin night taken out, and with steps
        allotted to the next nights.
        """
        rank, attempt = best.rank, 0
        while len(best.nights) > max(1, enough) and self._goes_on(best):
            most = len(best.nights) - 1
            self.allotting = attempt % 3 == 2
            if self.allotting:
                current = self._follow(self.campaign.begin(), 0, self.campaign.next_nights(most), rank)
            elif attempt % 3 == 0 and len(chosen) < len(best.nights):
                current = self._begun(chosen, rank)
            else:
                current = self._without(best, self._thin(best))
            best = self._mended(current, most, self._sheet.project.nights.stop, best) or best
            attempt += 1
        self.allotting = False
        return best

    def allotted(self, best: Run, enough: int) -> Run:
        """Return the run of the fewest nights in which all is done as it is allotted; ``best`` where that is fewer.

        What is allotted is early, so that one run over some nights more than needed leaves the last of them empty.
        """
        self.allotting, most = True, min(len(best.nights) - 1, enough + enough // _SPARE + 2)
        while most >= max(1, enough) and self._goes_on(best):
            begun = self._follow(self.campaign.begin(), 0, self.campaign.next_nights(most), best.rank)
            run = self._mended(begun, most, self._sheet.project.nights.stop, best)
            if run is None:
                break
            best, most = run, len(run.nights) - 1
        self.allotting = False
        return best

    def earlier(self, best: Run) -> Run:
        """Return a run of as many nights that ends earlier, else ``best``."""
        self.allotting = best.end.allotted is not None
        order = [frozenset(self._sheet.opened(night).tolist()) for night in best.nights]
        current = self._follow(self.campaign.begin(), 0, self.campaign.dated(order), best.rank)
        while self._goes_on(best):
            if not current.nights or current.nights[-1] >= best.nights[-1]:
                current = self._without(best, len(best.nights) - 1)
            best = self._mended(current, len(best.nights), best.nights[-1], best) or best
            current = self._without(best, len(best.nights) - 1)
        return best

    def _begun(self, chosen: Fewest, rank: Floats) -> Run:
        """Return a run of the chosen nights; those after the pilot and its growth in an order that chance draws."""
        others = self.chance.sample(chosen.others, len(chosen.others))
        nights = self.campaign.dated((*chosen.pilot, *others))
        return self._follow(self.campaign.begin(), 0, nights, rank)

    def _without(self, run: Run, out: int) -> Run:
        return self._follow(run, out, run.nights[out + 1 :], run.rank)

    def _goes_on(self, best: Run) -> bool:
        return self.work > 0 and self.watch(len(best.nights))

    def _mended(self, current: Run, most: int, before: int, best: Run) -> Run | None:
        """Look for places for what is left, in at most so many nights, all ``before`` one; None without success."""
        stale, begun = 0, self.allotting
        while current.left and stale < _STALE and self._goes_on(best):
            self.allotting = begun and self.chance.random() < _ALLOTTED
            keep, nights = self._changed(current, most, before)
            raised = current.rank if self.chance.random() < _AS_IT_IS else self._given_way(current)
            trial = self._follow(current, keep, nights, raised)
            stale += 1
            if trial.left <= current.left:
                stale = stale if trial.left == current.left else 0
                current = trial
        self.allotting = begun
        return None if current.left else current

    def even(self, best: Run) -> Run:
        """Return a run over the same nights whose fullest is as thin as can be."""
        self.allotting = best.end.allotted is not None
        low, high = len(self._sheet.jobs) // max(1, len(best.nights)), max(best.sizes, default=0)
        while low < high and self._goes_on(best):
            most = (low + high) // 2
            found = self._follow(self.campaign.begin(), 0, best.nights, best.rank, most)
            if found.left or found.nights != best.nights:
                low = most + 1
            else:
                best, high = found, min(most, max(found.sizes))
        return best

    def _follow(self, run: Run, keep: int, nights: tuple[int, ...], rank: Floats, most: float = math.inf) -> Run:
        chance = self.chance if self.allotting else None
        found = self.campaign.follow(run, keep, nights, Guide(rank, most, chance))
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
