"""The schedule of a project: over chosen nights, then with steps allotted to nights, then with fewer waves."""

from __future__ import annotations

from planner.rollout.campaign import Campaign, Run
from planner.rollout.improve import Effort, Search
from planner.rollout.night_kinds import NightKinds
from planner.rollout.night_program import Fewest
from planner.rollout.project import Timetable
from planner.rollout.sheet import Sheet

WORK = 300_000  # jobs that all trials together may place: some seconds
_TRIALS = 30  # at most so many, and
_TRIALS_EACH = 1  # for each job so many more
_EARLIER, _SETTLED = 0.1, 0.3  # of the work, after the search for fewer waves
_DAY = 24 * 60
_URGENT = 0.2  # rank of a site without a third vote


def schedule(kinds: NightKinds, chosen: Fewest, enough: int, effort: Effort) -> Timetable:
    """Return a schedule of few waves, of as few those that end early, with urgent jobs early and waves of even size.

    ``chosen`` are the nights that the program would choose. Stops at ``enough`` waves.
    """
    sheet = kinds.sheet
    rank = sheet.tails / _DAY + _URGENT * sheet.urgent
    starts: list[tuple[Run, Campaign]] = []
    for by_order in (False, True):
        campaign = Campaign(kinds, by_order=by_order)
        nights = campaign.follow(campaign.begin(), 0, campaign.dated(chosen.pilot, chosen.others), rank)
        starts += [(campaign.finish(begun, rank), campaign) for begun in (nights, campaign.begin())]
        if campaign.simple and not all(run.left for run, _ in starts):
            break
    best, campaign = min(starts, key=lambda start: _key(sheet, start[0]))
    if best.left:
        return best.timetable
    work = min(effort.work, (_TRIALS + _TRIALS_EACH * len(sheet.jobs)) * len(sheet.jobs))
    search = Search(starts[0][1], effort, work)
    found = search.allotted(best, chosen, max(enough, chosen.nights))
    if found is best:
        search.campaign = campaign
    search.work = max(search.work, work // 4)
    best = search.fewer(found, chosen, enough)
    for better, share in ((search.earlier, _EARLIER), (search.settled, _SETTLED)):
        search.work = int(work * share)
        best = better(best)
    return best.timetable


def _key(sheet: Sheet, run: Run) -> tuple[int, int, int]:
    return run.left, len(run.nights), run.timetable.finish(sheet.jobs)
