"""Which columns of the tables that are read no sheet of the fleet takes, and why."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from planner.columns import HUBS, LATENCY, SITES, Sheet
from planner.intake.adopt import patterns
from planner.intake.adopt.columns import ASKED, ColumnGuess, fits
from planner.intake.adopt.entities import Table
from planner.intake.adopt.named_hubs import hub_of_times
from planner.intake.adopt.patterns import STATUS, Wanted
from planner.intake.adopt.profile import Profile
from planner.intake.likeness import likeness


@dataclass(frozen=True)
class LeftOut:
    """A column that no sheet of the fleet takes: the likeliest column that its header names, "" if none, and why."""

    table: Table
    profile: Profile
    like: str
    why: str


_WANTED: Mapping[str, tuple[Sheet, Sequence[Wanted]]] = {
    SITES.name: (SITES, patterns.SITES),
    HUBS.name: (HUBS, patterns.HUBS),
    LATENCY.name: (LATENCY, patterns.PAIRS),
}


def columns_left_out(
    read: Iterable[tuple[str, Table, Sequence[ColumnGuess]]],
    also_used: Iterable[Profile],
    hubs: frozenset[str],
    refused: Collection[str] = (),
) -> tuple[LeftOut, ...]:
    """Return the columns that are not used, those first whose header names a column of the fleet.

    ``read`` has for each guess the sheet of the fleet, the table, and the columns taken; ``also_used`` are columns that
    are read without a name of their own: those of a matrix, of units, and of states. ``refused`` are the keys of
    questions to which the answer was that no column is the one.
    """
    used: dict[tuple[int, int], str] = {(id(p.block), p.column): "" for p in also_used}
    sheets: dict[int, tuple[str, Table]] = {}
    taken: dict[tuple[int, str], Profile] = {}
    for sheet, table, columns in read:
        sheets.setdefault(id(table), (sheet, table))
        for column in columns:
            used[id(column.profile.block), column.profile.column] = column.name
            taken.setdefault((id(table), column.name), column.profile)
    found = []
    for sheet, table in sheets.values():
        for profile in table.profiles:
            if (id(profile.block), profile.column) not in used:
                of_table = {name: p for (t, name), p in taken.items() if t == id(table)}
                like, why = _reason(profile, sheet, of_table, hubs)
                if f"{sheet}.{like}" in refused:
                    why = f"you said that no column is {like}"
                found.append(LeftOut(table, profile, like.removeprefix("today."), why))
    return tuple(sorted(found, key=lambda one: not one.like))


def _reason(profile: Profile, sheet: str, taken: Mapping[str, Profile], hubs: frozenset[str]) -> tuple[str, str]:
    """Return the likeliest column that a header names, and why the column of the sheet is not taken for it."""
    of, wanted = _WANTED.get(sheet, _WANTED[LATENCY.name])
    said = {w.name: likeness(profile.header, w.patterns, w.against) for w in wanted}
    like = max(said, key=lambda name: said[name])
    if not profile.values:
        return "", "it has no values"
    place = hub_of_times(profile) if sheet in (SITES.name, LATENCY.name) else ""
    if place:
        return "rtt_ms", f"it looks like times to {place}, which the table of hubs does not list"
    if said[like] < ASKED:
        return "", "neither its header nor its cells name a column of the fleet"
    shown = like.removeprefix("today.")
    if like == STATUS:
        return like, "this column is not used to leave out rows"
    if like in taken:
        other = taken[like]
        return like, f"{shown} is read from {other.label} ({other.cell})"
    if not fits(profile, like, of, hubs):
        return like, f"its header is like {shown}, but its cells are not what {shown} holds"
    return like, f"it may be {shown}, but its header is not like enough (likeness {said[like]:.2f})"
