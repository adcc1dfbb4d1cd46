"""The schedule of a project: over chosen nights, then with steps allotted to nights, then with fewer waves."""

from __future__ import annotations

from collections.abc import Callable

from planner.rollout.campaign import Campaign, Guide, Run
from planner.rollout.improve import Search
from planner.rollout.night_kinds import NightKinds
from planner.rollout.night_program import Fewest
from planner.rollout.project import Timetable
from planner.rollout.sheet import Sheet

WORK = 300_000  # jobs that all trials together may place: some seconds
_TRIALS = 30  # at most so many, and
_TRIALS_EACH = 1  # for each job so many more
_DAY = 24 * 60
_URGENT = 0.2  # rank of a site without a third vote
_FIRST = 10.0  # its rank where the nights are settled


def schedule(kinds: NightKinds, chosen: Fewest, enough: int, work: int, watch: Callable[[int], bool]) -> Timetable:
    """Return a schedule of few waves, of as few those that end early, with waves of even size.

    ``chosen`` are the nights that the program would choose. Stops at ``enough`` waves. ``work`` is the jobs that the
    search may place, 0 for none; ``watch`` is told the waves and says whether to go on.
    """
    sheet = kinds.sheet
    rank = sheet.tails / _DAY + _URGENT * sheet.urgent
    starts: list[tuple[Run, Campaign]] = []
    for by_order in (False, True):
        campaign = Campaign(kinds, by_order=by_order)
        nights = campaign.follow(campaign.begin(), 0, campaign.dated((*chosen.pilot, *chosen.others)), Guide(rank))
        starts += [(campaign.finish(begun, rank), campaign) for begun in (nights, campaign.begin())]
        if campaign.simple and not all(run.left for run, _ in starts):
            break
    best, campaign = min(starts, key=lambda start: _key(sheet, start[0]))
    if best.left:
        return best.timetable
    work = min(work, (_TRIALS + _TRIALS_EACH * len(sheet.jobs)) * len(sheet.jobs))
    search = Search(starts[0][1], work // 2, watch)
    found = search.allotted(best, max(enough, len(chosen)))
    if found is best:
        search.campaign = campaign
    search.work += work // 2
    best = search.fewer(found, chosen, enough)
    for better in (search.earlier, search.even):
        search.work = work // 5
        best = better(best)
    return _urgent_first(search.campaign, best).timetable


def _urgent_first(campaign: Campaign, best: Run) -> Run:
    """Return a run over the same nights, no fuller, in which what is urgent comes first, if it can be."""
    urgent = campaign.sheet.urgent
    if not urgent.any():
        return best
    rank = best.rank + _FIRST * urgent
    found = campaign.follow(campaign.begin(), 0, best.nights, Guide(rank, max(best.sizes)))
    if found.left or found.nights != best.nights:
        return best

    def waited(run: Run) -> float:
        return float(sum((night or 0) * first for night, first in zip(run.end.night, urgent.tolist(), strict=True)))

    return min(best, found, key=waited)


def _key(sheet: Sheet, run: Run) -> tuple[int, int, int]:
    return run.left, len(run.nights), run.timetable.finish(sheet.jobs)
