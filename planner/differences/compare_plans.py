"""The road of a comparison: sides, changes, plans in between, rows with causes, words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from planner.counted_words import counted, first_few
from planner.differences.as_it_stands import plan_in_force
from planner.differences.causes import causes_of
from planner.differences.difference import Difference, FleetChange, Side
from planner.differences.difference_sentences import difference_headline, difference_words
from planner.differences.figures import figures
from planner.differences.fleet_changes import fleet_changes
from planner.differences.one_name import named_as_new
from planner.differences.plan_changes import plan_changes
from planner.differences.plans_between import Road, road_between
from planner.differences.rows import host_differences, site_differences
from planner.differences.sides import Sides
from planner.differences.which_fleet import doubtful_identity
from planner.errors import InputError
from planner.explain.bench import planned
from planner.fleet import Fleet, Source
from planner.identity import identity_in_words
from planner.outputs.how_sure import headline
from planner.plan import Plan
from planner.sizing import SolveBudget
from planner.version import VERSION

Given = Fleet | Plan | tuple[Fleet, Plan]


def compare(
    old: Given,
    new: Given,
    *,
    names: tuple[str, str] = ("old", "new"),
    today: bool = False,
    time_limit: float | None = 60.0,
    seed: int = 0,
    tell: Callable[[str], None] | None = None,
) -> Difference:
    """Return what differs from ``old`` to ``new``, each difference with its cause.

    Each side is a plan, a fleet (which is planned), or both as a pair. Causes come from the fleets: a pair that tells
    no more than its plan names few. What the fleets do not show by themselves is found by planning in between, one kind
    of change after the other, each plan with the fewest moves from the one before; ``time_limit`` in seconds is for all
    these plans, 0 makes none. At the limit, or at Ctrl-C in the main thread, the rest is called not known. With
    ``today`` a fleet given as ``old`` is not planned: its sheet Current stands for the old plan. ``names`` are what the
    sides are called in words, ``seed`` is that of `planner.plan`, and ``tell`` gets words on what is going on.

    Raises InputError with ``today`` where the sheet Current names no host, and
    what `planner.plan` raises.
    """
    budget = SolveBudget(seconds=time_limit, seed=seed)
    tell = tell or (lambda _words: None)
    with budget.listening():
        before = _side(old, names[0], budget, tell, today=today)
        after = _side(new, names[1], budget, tell)
        plan, fleet, renamed = named_as_new((before.plan, before.fleet), after.plan)
        before = replace(before, plan=plan, fleet=fleet)
        both = before.fleet is not None and after.fleet is not None
        changes = (
            fleet_changes(before.fleet, after.fleet)
            if before.fleet is not None and after.fleet is not None
            else plan_changes(before.plan, after.plan)
        )
        sides = Sides(before.plan, after.plan, before.fleet, after.fleet, changes)
        road = _road(before, after, changes, budget, tell) if both and not budget.spent else None
    why = _NO_TIME if both else _NO_FLEETS
    found = _difference(sides, road, why, (before, after))
    return replace(found, notes=(*renamed, *found.notes))


_NO_TIME = "No intermediate plan was made: time was too short, or no plan can be made for the new fleet."
_NO_FLEETS = "The cause can be found only with the fleets of both plans."


@dataclass(frozen=True)
class _Given:
    """One side: its plan, its fleet where known, and how it is told of."""

    plan: Plan
    fleet: Fleet | None
    side: Side


def _side(given: Given, name: str, budget: SolveBudget, tell: Callable[[str], None], *, today: bool = False) -> _Given:
    if isinstance(given, Plan):
        return _Given(given, None, Side(name, "plan", _told(given), given.sources))
    if isinstance(given, tuple):
        fleet, plan = given
        return _Given(plan, fleet, Side(name, "plan and fleet", _told(plan), fleet.sources))
    if today:
        plan = plan_in_force(given)
        return _Given(plan, given, Side(name, "fleet as it stands", headline(plan), given.sources))
    tell(f"Planning the fleet {name}")
    plan = planned(given, SolveBudget(seed=budget.seed, stopped=budget.stopped))
    return _Given(plan, given, Side(name, "fleet, planned here", headline(plan), given.sources))


def _told(plan: Plan) -> str:
    """Return what a plan comes to, and which one it is."""
    return f"{headline(plan)} {identity_in_words(plan)}"


def _road(
    before: _Given, after: _Given, changes: Sequence[FleetChange], budget: SolveBudget, tell: Callable[[str], None]
) -> Road | None:
    if before.fleet is None or after.fleet is None:
        return None
    try:
        return road_between((before.fleet, before.plan), (after.fleet, after.plan), changes, budget, tell)
    except InputError:  # the new fleet cannot be planned; a plan of it can be made by hand all the same
        return None


def _difference(sides: Sides, road: Road | None, why: str, given: tuple[_Given, _Given]) -> Difference:
    causes = causes_of(sides, road, why)
    rows = site_differences(causes)
    hosts = host_differences(causes, rows)
    found = Difference(
        headline="",
        old=given[0].side,
        new=given[1].side,
        figures=figures(sides),
        hosts=hosts,
        sites=rows,
        changes=tuple(sides.changes),
        between=road.steps if road is not None else (),
        fewest_moves=road.moves if road is not None else None,
        notes=(*_identity(given), *_notes(road, why, given), *_of_no_plan(sides.changes)),
        version=VERSION,
    )
    told = difference_words(found, sides.old, causes)
    return Difference(**{**found.__dict__, "headline": difference_headline(found, sides.old), "words": told})


def _identity(given: tuple[_Given, _Given]) -> tuple[str, ...]:
    old, new = (one.fleet for one in given)
    return () if old is None or new is None else tuple(doubtful_identity(old, new))


def _notes(road: Road | None, why: str, given: tuple[_Given, _Given]) -> list[str]:
    notes = []
    for one in given:
        if one.fleet is not None and one.plan.sources and not _rests_on(one.plan.sources, one.fleet.sources):
            notes.append(f"{one.side.name}: the plan was made from another file than the fleet given; see verify.")
    if road is None:
        notes.append(f"{why} The files alone show these causes.")
    elif not road.whole:
        notes.append("Time ended before every intermediate plan was made, or proven best; give a larger --time-limit.")
    return notes


def _of_no_plan(changes: Sequence[FleetChange]) -> Iterator[str]:
    """Yield a note on cells that differ and that no plan is made from."""
    rows = Counter((c.sheet, c.id if c.sheet == "Policy" else c.column) for c in changes if c.cause == "other")
    named = [
        name if sheet == "Policy" else f"{name} ({counted(number, 'row')} of {sheet})"
        for (sheet, name), number in rows.items()
    ]
    if named:
        yield f"Plans do not depend on these changes, but rollouts, orders or checks may: {first_few(named)}."


def _rests_on(plan: Sequence[Source], fleet: Sequence[Source]) -> bool:
    return {source.sha256 for source in plan} == {source.sha256 for source in fleet}
