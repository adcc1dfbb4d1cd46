"""The road from a fleet and a plan to a rollout: state, order of moves, tasks, timetable, waves."""

from __future__ import annotations

import datetime as dt
import random
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from planner.counted_words import counted
from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.identity import fleet_id, plan_hash
from planner.plan import Plan
from planner.rollout.bounds import Bound, lower_bound
from planner.rollout.detours import Order
from planner.rollout.improve import Effort
from planner.rollout.jobs import Clocks, crew_of, handed_over, make_project
from planner.rollout.materials import budget_of, held_against, late_orders, materials_of
from planner.rollout.moves import Moves, order_moves, ordered_otherwise, without_detours
from planner.rollout.night_kinds import NightKinds
from planner.rollout.night_program import fewest_nights
from planner.rollout.nights import Clock, moment
from planner.rollout.project import Openings, Project, Timetable
from planner.rollout.scheduler import schedule_exactly, small_enough
from planner.rollout.search import WORK, schedule
from planner.rollout.sheet import Sheet
from planner.rollout.state import State, read_state
from planner.rollout.tasks import Task, make_tasks
from planner.schedule import Conflict, Rollout, Step, Wave
from planner.sizing import Progress, SolveBudget
from planner.verify import verify

_LISTED = 5
_OTHER_ORDERS = 12  # orders with other detours that are tried where waves are above their bound
_EXACT_WORK = 10.0  # about seconds
_THOROUGH = 10  # times the work
_DAY = 24 * 60
_NO_TIMETABLE = Timetable((), (), ())


def roll_out(
    fleet: Fleet,
    plan: Plan,
    *,
    start: dt.date | None = None,
    open_items: Mapping[str, Collection[str]] | None = None,
    time_limit: float | None = None,
    thorough: bool = False,
    watch: Callable[[Progress], bool | None] | None = None,
) -> Rollout:
    """Return the waves that lead from today (sheet Current) to ``plan``, with a bound on their number.

    ``start`` is the first day, by default that of the policy, else tomorrow. ``open_items`` are what is not ready yet,
    by site id, in words: such a site is not changed, and listed among the conflicts. The search ends by itself, after
    some seconds, and ``thorough`` lets it work about ten times longer. At ``time_limit`` (seconds from the call on; 0
    for no search) and at Ctrl-C in the main thread the best rollout so far comes back. ``watch`` is called with the
    progress, whose values are waves; where it returns False, the best so far comes back too.

    Raises InputError where the plan does not hold for the fleet, or splits sites over hosts.
    """
    budget = SolveBudget(seconds=time_limit, watch=watch)
    _refuse_unsound(fleet, plan)
    first = start or _first_day(fleet)
    state = read_state(fleet, plan)
    moves = order_moves(state, open_items or {})
    clocks = Clocks(state, first)
    draft = _draft(state, moves, moves.order, clocks, first)
    surely = _draft(state, moves, without_detours(moves), clocks, first) if moves.order.legs else draft
    # Detours bring free places from elsewhere.
    kinds = NightKinds(surely.sheet, places=not moves.order.legs)
    bound = lower_bound(kinds, [task.id for task in surely.tasks], lambda: budget.left)
    with budget.listening():
        scale = _THOROUGH if thorough else 1
        draft = _scheduled(state, draft, clocks, first, bound, budget, scale)
        draft, bound = _searched(draft, bound, clocks, budget, _EXACT_WORK * scale)
    ordered, timetable, conflicts = draft.tasks, draft.timetable, draft.conflicts
    waves = _waves(state, ordered, timetable, clocks)
    conflicts += _without_night(ordered, timetable)
    materials = held_against(materials_of(fleet, plan, waves), first, dt.date.today())
    why = bound.why if bound.waves or waves else "Nothing changes."
    return Rollout(
        waves,
        min(bound.waves, len(waves)),
        why,
        moves.order.least_detours,
        (*moves.conflicts, *conflicts),
        (*_cautions(state, ordered, clocks), *late_orders(materials, first)),
        fleet_id=plan.fleet_id or fleet_id(fleet),
        plan_number=plan.number,
        plan_hash=plan_hash(plan),
        materials=materials,
        budget=budget_of(fleet, materials, waves),
    )


def _refuse_unsound(fleet: Fleet, plan: Plan) -> None:
    broken = [v for v in verify(fleet, plan) if v.severity == "violation"]
    if broken:
        hint = "Verify the plan and plan again, or correct it."
        shown = broken[:_LISTED]
        findings = tuple(Finding("error", "plan_unsound", "plan", f"{v}.", hint) for v in shown)
        if len(broken) > len(shown):
            more = Finding("error", "plan_unsound", "plan", f"{len(broken) - len(shown)} more violations.", hint)
            findings = (*findings, more)
        raise InputError(findings)


def _first_day(fleet: Fleet) -> dt.date:
    given = fleet.policy.rollout_start
    return dt.date.fromisoformat(given) if given else dt.date.today() + dt.timedelta(days=1)


@dataclass(frozen=True)
class _Draft:
    """A rollout before its waves have names: one order of the moves with its tasks, conflicts and timetable."""

    moves: Moves
    tasks: list[Task]
    conflicts: list[Conflict]
    sheet: Sheet
    timetable: Timetable = _NO_TIMETABLE

    @property
    def project(self) -> Project:
        """The tasks as jobs."""
        return self.sheet.project

    @property
    def key(self) -> tuple[int, int, int, int]:
        """What is to be small: what is left out, then waves, then the finish."""
        found = self.timetable
        left_out = sum(night is None for night in found.night)
        return len(self.conflicts), left_out, found.waves, found.finish(self.project.jobs)


def _draft(state: State, moves: Moves, order: Order, clocks: Clocks, first: dt.date) -> _Draft:
    tasks, conflicts = make_tasks(state, moves.fixed, order)
    ordered = [tasks[name] for name in sorted(tasks)]
    project = make_project(state, ordered, order.handover, moves.room, clocks, first)
    return _Draft(moves, ordered, conflicts, Sheet(project))


def _scheduled(
    state: State, draft: _Draft, clocks: Clocks, first: dt.date, bound: Bound, budget: SolveBudget, scale: int
) -> _Draft:
    """Return the best of the schedules by local search: of the moves as they are ordered, and with other detours."""

    def scheduled(draft: _Draft, work: int) -> _Draft:
        if not draft.project.jobs:
            return draft
        # Detours bring free places from elsewhere.
        legs = draft.moves.order.legs
        kinds = NightKinds(draft.sheet, places=not legs)
        everything = range(len(draft.project.jobs))
        chosen = fewest_nights(kinds, everything, seconds=budget.left) if legs else bound.chosen
        effort = Effort(0 if budget.spent else work, goes_on, lambda: budget.left)
        found = schedule(kinds, chosen, bound.waves, effort)
        return replace(draft, timetable=handed_over(draft.project, found))

    def goes_on(waves: int) -> bool:
        budget.tell("waves", waves, bound.waves)
        return not budget.spent

    best = scheduled(draft, WORK * scale)
    for seed in range(_OTHER_ORDERS if draft.moves.order.legs else 0):
        if best.timetable.waves <= bound.waves:
            break
        moves = ordered_otherwise(state, draft.moves, random.Random(seed))
        if moves is None:
            break
        other = scheduled(_draft(state, moves, moves.order, clocks, first), WORK * scale // _OTHER_ORDERS)
        best = min(best, other, key=lambda draft: draft.key)
    return best


def _searched(draft: _Draft, bound: Bound, clocks: Clocks, budget: SolveBudget, work: float) -> tuple[_Draft, Bound]:
    """Return the draft with the exact schedule where that is better, and the bound that it proves."""
    found, project = draft.timetable, draft.project
    if not project.jobs or None in found.night or found.waves <= bound.waves:
        return draft, bound
    nights = _enough_nights(project, found, clocks)
    if small_enough(project, nights) and not budget.spent:
        exact = schedule_exactly(project, nights, found, work, budget.left)
        if exact.timetable is not None and exact.timetable.better(found, project.jobs):
            draft = replace(draft, timetable=handed_over(project, exact.timetable))
        # With other detours, of which there are as few, fewer waves may do.
        if exact.waves > bound.waves and not draft.moves.order.legs:
            bound = Bound(exact.waves, "A search of all schedules of these steps found none with fewer waves (proven).")
    return draft, bound


def _enough_nights(project: Project, found: Timetable, clocks: Clocks) -> range:
    """Return so many nights that a schedule of as many waves fits in, whatever weekdays its windows fall on."""
    spacing = max([project.pilot_days, *(n for job in project.jobs for _, n in job.apart)])
    alike = range(project.nights.start, project.nights.start + found.waves * spacing)
    if all(_same_every_night(job.openings, alike) for job in {id(job.openings): job for job in project.jobs}.values()):
        return alike
    used = [night for night in found.night if night is not None]
    last = max(project.nights.start + found.waves * (7 + spacing) + clocks.frozen_days, max(used) + 1)
    return range(project.nights.start, min(last, project.nights.stop))


def _same_every_night(openings: Openings, nights: range) -> bool:
    """Say whether all ``nights`` are open alike, so that a schedule may use any of them in the same order."""
    first, *others = ([(o.start - n * _DAY, o.end - n * _DAY) for o in openings(n)] for n in nights)
    return all(other == first for other in others)


def _waves(state: State, tasks: Sequence[Task], timetable: Timetable, clocks: Clocks) -> tuple[Wave, ...]:
    nights: dict[int, list[int]] = {}
    for at, night in enumerate(timetable.night):
        if night is not None:
            nights.setdefault(night, []).append(at)
    waves: list[Wave] = []
    piloted = not state.fleet.policy.pilot_sites
    for number, (_, members) in enumerate(sorted(nights.items()), start=1):
        members.sort(key=lambda at: (timetable.start[at], tasks[at].id))
        zones = [clocks.of(tasks[at]) for at in members]
        steps = tuple(_step(state, tasks, at, timetable, z) for at, z in zip(members, zones, strict=True))
        pilot = not piloted and any(step.site for step in steps)
        piloted |= pilot
        zone = Counter(clock.timezone for clock in zones).most_common(1)[0][0]
        # By the time that passes: two moments of one zone compare by the clock on the wall.
        ends = max((step.ends for step in steps), key=dt.datetime.timestamp)
        waves.append(Wave(number, steps[0].starts, ends, steps, pilot, zone))
    return tuple(waves)


def _step(state: State, tasks: Sequence[Task], at: int, timetable: Timetable, clock: Clock) -> Step:
    task, start, policy = tasks[at], timetable.start[at], state.fleet.policy
    assert start is not None
    length = policy.host_minutes if task.site is None else policy.site_minutes
    host = state.hosts.get(task.to_host or task.host or "")
    moves = task.change is not None and task.site is not None
    return Step(
        task.id,
        task.kind,
        moment(start, clock.timezone),
        moment(start + length, clock.timezone),
        task.site,
        task.from_host,
        task.to_host,
        task.host,
        task.release,
        tuple(sorted({*task.needs, *task.earlier, *(tasks[other].id for other in timetable.after[at])})),
        hub=host.hub if host is not None else "",
        clusters=state.sizes[str(task.site)] if moves else 0,
        crew=crew_of(state, task.site),
        cautions=task.cautions,
    )


def _without_night(tasks: Sequence[Task], timetable: Timetable) -> list[Conflict]:
    left = [task.id for task, night in zip(tasks, timetable.night, strict=True) if night is None]
    if not left:
        return []
    shown = ", ".join(left[:_LISTED]) + (", ..." if len(left) > _LISTED else "")
    verb = "finds" if len(left) == 1 else "find"
    message = f"{counted(len(left), 'step')} {verb} no night in the next two years ({shown})."
    hint = "Allow longer windows, higher limits or shorter freezes, or lower site_minutes and host_minutes."
    return [Conflict("no_window", "windows", message, hint)]


def _cautions(state: State, tasks: Sequence[Task], clocks: Clocks) -> tuple[str, ...]:
    cautions = []
    kinds = [clocks.of(task) for task in tasks]
    if count := sum(not clock.window for clock in kinds):
        cautions.append(
            f"{count:,} of {len(tasks):,} steps have no window, so they may come at any hour of the day and night. "
            "When does your team work? Fill in window in Policy, or in Sites and Hubs, and plan the rollout again."
        )
    policy, sites = state.fleet.policy, state.fleet.sites
    changing = {task.site for task in tasks if task.site is not None}
    zones = zip(sites["site"], sites["timezone"], strict=True)
    if not policy.timezone and (count := sum(site in changing and not zone for site, zone in zones)):
        cautions.append(
            f"{count:,} sites that change have no time zone. Their times are in UTC. Fill in timezone in Policy."
        )
    if state.unnamed:
        cautions.append(
            f"Current does not name the host of {len(state.unnamed):,} sites. The rollout assumes one at "
            "their hub with room. Find out where they are before the first wave."
        )
    for name, host in sorted(state.hosts.items()):
        if host.limit is not None and state.load[name] > host.limit:
            cautions.append(
                f"Host {name} carries {state.load[name]} clusters today, above its cap of {host.limit}. "
                "The moves reduce this, and never load it above today."
            )
    return tuple(cautions)
