"""The rollout workbook: an overview of the waves, a run sheet for each, and all steps as one table."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Mapping
from zoneinfo import ZoneInfo

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.identity import identity_in_words
from planner.outputs import headings, styles
from planner.outputs.calendar_words import heeded_in_words
from planner.outputs.grid import Book
from planner.outputs.materials_sheet import write_materials
from planner.outputs.page import title_page
from planner.outputs.plan_sentences import CAUTIONS, left_in_place_in_words
from planner.outputs.rollout_facts import RolloutFacts
from planner.outputs.run_sheet import sheet_title, write_run_sheet
from planner.outputs.run_words import headline
from planner.outputs.steps_sheet import write_conflicts, write_steps
from planner.plan import Plan
from planner.schedule import Rollout
from planner.version import VERSION

_WIDTHS = {"A": 12, "B": 20, "C": 20, "D": 20, "E": 9, "F": 9, "G": 9, "H": 34}
_HEADINGS = ("wave", "starts", "ends", "time zone", "sites", "steps", "hosts", "note")


def write_rollout_workbook(
    fleet: Fleet,
    plan: Plan,
    rollout: Rollout,
    path: str | os.PathLike[str],
    *,
    tickets: Mapping[str, str] | None = None,
    written_at: dt.datetime | None = None,
) -> None:
    """Write ``rollout`` as an .xlsx workbook for the team that carries it out; an old file at ``path`` is replaced.

    Sheets: Overview, one run sheet a wave, Steps, and Materials, Budget and Conflicts where there are any.
    ``tickets`` are ticket numbers by the id of a step, for the column that the team fills in. ``written_at`` is printed
    on the Overview, in UTC; now by default. Raises InputError when the file cannot be written
    or does not fit on its sheets.
    """
    written_at = (written_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(tzinfo=None)
    facts = RolloutFacts(fleet, plan, rollout, tickets or {})
    book = Book()
    _write_overview(book, facts, written_at)
    for wave in rollout.waves:
        write_run_sheet(book, facts, wave)
    write_steps(book, facts)
    write_materials(book, facts)
    if rollout.conflicts:
        write_conflicts(book, rollout)
    book.workbook.properties.created = book.workbook.properties.modified = written_at
    book.save(path, "Tie-breaker rollout", VERSION)


def _write_overview(book: Book, facts: RolloutFacts, written_at: dt.datetime) -> None:
    rollout = facts.rollout
    page = title_page(book, headings.OVERVIEW, "Tie-breaker rollout", headline(rollout), _WIDTHS)
    page.whole_row(f"Why not fewer waves: {rollout.why}")
    if rollout.detours:
        first = "first moves" if rollout.detours == 1 else "first move"
        least = f"at least {rollout.lower_bound_detours:,} must"
        page.whole_row(f"{counted(rollout.detours, 'site')} {first} to a free place for a time ({least}).")
    if left := left_in_place_in_words(facts.fleet, facts.plan):
        page.whole_row(left)
    for words in heeded_in_words(facts.fleet):
        page.whole_row(words)
    page.section("Waves (a click on the number leads to the run sheet)")
    numbers = styles.HEADING_OF_NUMBERS
    page.table_row(_HEADINGS, (*(styles.HEADING,) * 4, numbers, numbers, numbers, styles.HEADING))
    for wave in rollout.waves:
        zone = ZoneInfo(wave.timezone)
        starts, ends = (f"{moment.astimezone(zone):%a %Y-%m-%d %H:%M}" for moment in (wave.starts, wave.ends))
        note = "pilot" if wave.pilot else ""
        figures = (len(wave.sites), len(wave.steps), len(wave.hosts))
        values = (sheet_title(wave), starts, ends, wave.timezone, *figures, note)
        page.table_row(values, (*(styles.TEXT,) * 4, *(styles.COUNT,) * 3, styles.TEXT))
        page.link("A", sheet_title(wave))
    if rollout.conflicts:
        page.section("What cannot be rolled out yet (sheet Conflicts)")
        for conflict in rollout.conflicts[:10]:
            page.whole_row(str(conflict))
        if len(rollout.conflicts) > 10:
            page.whole_row(f"... and {len(rollout.conflicts) - 10:,} more.")
    page.section("Cautions")
    for caution in (*rollout.cautions, *CAUTIONS):
        page.whole_row(caution)
    page.whole_row(identity_in_words(facts.plan), styles.NOTE)
    page.whole_row(f"Written {written_at:%Y-%m-%d %H:%M} UTC", styles.NOTE)
