"""Local search over whole waves: a night less, until all that is left has found its place in the others; then earlier.

Jobs that come late get a higher rank, and so do those that free the places for them (D. E. Joslin, D. P. Clements,
Squeaky wheel optimization, Journal of Artificial Intelligence Research 10 (1999) 353-373); nights change their dates.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from planner.fleet import Floats
from planner.rollout.campaign import Campaign, Run
from planner.rollout.sheet import Sheet

_AHEAD = 14  # nights after the last one that a night may be moved to
_STALE = 60  # trials without success after which another night is taken out
_FADING, _BLAME, _FREED, _LEAST = 0.9, 0.5, 0.6, 0.1


@dataclass
class Search:
    """Improves a run; ``work`` is how many jobs all trials together may place, ``watch`` says whether to go on."""

    campaign: Campaign
    work: int
    watch: Callable[[int], bool]
    chance: random.Random = field(default_factory=lambda: random.Random(0))

    @property
    def _sheet(self) -> Sheet:
        return self.campaign.sheet

    def fewer(self, best: Run, chosen: Run, rank: Floats, enough: int) -> Run:
        """Return a run of fewer nights than ``best``, ``enough`` if it can be, else ``best``.

        Half of the trials begin with ``chosen``, nights that would do if single jobs, places and days between did not
        count.
        """
        attempt = 0
        while len(best.nights) > max(1, enough) and self._goes_on(best):
            begun = chosen if attempt % 2 == 0 and len(chosen.nights) < len(best.nights) else None
            found = self._with_one_less(best, begun, rank)
            best = found or best
            attempt += 1
        return best

    def _goes_on(self, best: Run) -> bool:
        return self.work > 0 and self.watch(len(best.nights))

    def _with_one_less(self, best: Run, begun: Run | None, rank: Floats) -> Run | None:
        """Take a night out, or begin with ``begun``, and look for places for what is left; None without success."""
        out, target = self._thin(best), len(best.nights) - 1
        current = begun or self._follow(best, out, best.nights[out + 1 :], rank)
        stale = 0
        while current.left and stale < _STALE and self._goes_on(best):
            keep, nights = self._changed(current, target)
            raised = rank if self.chance.random() < 0.3 else self._given_way(current, rank)
            trial = self._follow(current, keep, nights, raised)
            stale += 1
            if trial.left <= current.left:
                stale = stale if trial.left == current.left else 0
                current, rank = trial, raised
        return None if current.left else current

    def earlier(self, best: Run, rank: Floats) -> Run:
        """Return a run of as many nights that ends earlier, where all or one after the other can be moved ahead."""
        order = [frozenset(self._sheet.opened(night).tolist()) for night in best.nights]
        nights = self.campaign.dated(order, ())
        if nights[-1:] < best.nights[-1:]:
            found = self._follow(best, 0, nights, rank)
            best = best if found.left or len(found.nights) > len(best.nights) else found
        at = len(best.nights) - 1
        while at >= 0 and self._goes_on(best):
            ahead = self._moved_ahead(best, at, rank)
            best = ahead or best
            # What was moved may make way for those after it.
            at = min(at + 1, len(best.nights) - 1) if ahead else at - 1
        return best

    def _moved_ahead(self, best: Run, at: int, rank: Floats) -> Run | None:
        """Return a run in which the night at position ``at`` is the earliest that does, if it is an earlier one."""
        night = best.nights[at]
        after = best.nights[at - 1] + 1 if at else self._sheet.project.nights.start
        kinds = set(self._sheet.opened(night).tolist())
        for other in range(max(after, night - _AHEAD), night):
            if not kinds & set(self._sheet.opened(other).tolist()):
                continue
            if not self._goes_on(best):
                return None
            found = self._follow(best, at, (other, *best.nights[at + 1 :]), rank)
            if not found.left and len(found.nights) <= len(best.nights):
                return found
        return None

    def even(self, best: Run, rank: Floats) -> Run:
        """Return a run over the same nights whose fullest is as thin as can be."""
        low, high = len(self._sheet.jobs) // max(1, len(best.nights)), max(best.sizes, default=0)
        while low < high and self._goes_on(best):
            most = (low + high) // 2
            self.work -= len(self._sheet.jobs)
            found = self.campaign.follow(self.campaign.begin(), 0, best.nights, rank, most)
            if found.left or found.nights != best.nights:
                low = most + 1
            else:
                best, high = found, min(most, max(found.sizes))
        return best

    def _follow(self, run: Run, keep: int, nights: tuple[int, ...], rank: Floats) -> Run:
        found = self.campaign.follow(run, keep, nights, rank)
        state = run.before[keep] if keep < len(run.before) else run.end
        self.work -= int(state.waiting.sum())
        return found

    def _thin(self, run: Run) -> int:
        """Draw a night, the thinner the likelier."""
        weights = [1.0 / size for size in run.sizes]
        return self.chance.choices(range(len(run.nights)), weights)[0]

    def _changed(self, run: Run, most: int) -> tuple[int, tuple[int, ...]]:
        """Return from which position on to fill anew, and the nights: often another one, for a job that is left."""
        nights = list(run.nights)
        changed = self.chance.randrange(len(nights) + 1) if nights else 0
        if len(nights) >= most and self.chance.random() < 0.5:
            out = self._thin(run)
            nights.pop(out)
            changed = min(changed, out)
        while len(nights) < most and (night := self._open_night(run, nights)) is not None:
            changed = min(changed, sum(other < night for other in nights))
            nights = sorted([*nights, night])
        return changed, tuple(nights[changed:])

    def _open_night(self, run: Run, nights: list[int]) -> int | None:
        """Draw a night that is open to a job that is left."""
        left = np.flatnonzero(run.end.waiting)
        kind = int(self._sheet.kind[self.chance.choice(left.tolist())])
        first = self._sheet.project.nights.start
        last = min(self._sheet.project.nights.stop, max(nights, default=first) + _AHEAD)
        found = [n for n in range(first, last) if n not in nights and kind in self._sheet.opened(n)]
        return self.chance.choice(found) if found else None

    def _given_way(self, run: Run, rank: Floats) -> Floats:
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
        found: Floats = rank * _FADING + raised * (_BLAME + noise) + (1 - _FADING) * noise
        return found
