"""Sheet Steps of the rollout workbook: every step as a line to filter by, and columns for the team; Conflicts."""

from __future__ import annotations

from collections.abc import Iterator

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import headings, styles
from planner.outputs.assignments_sheet import FILLED_IN, offer_progress, tint_progress
from planner.outputs.cellsafe import Value, plain
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.rollout_facts import RolloutFacts
from planner.schedule import Rollout, Step

_STEPS = (
    Field(headings.WAVE, styles.COUNT),
    Field(headings.STEP, most=32),
    Field(headings.KIND),
    Field(headings.SITE),
    Field(headings.NAME, most=28),
    Field(headings.REGION, most=20),
    Field(headings.FROM_HOST),
    Field(headings.TO_HOST),
    Field(headings.HOST),
    Field(headings.RELEASE),
    Field(headings.STARTS, styles.MOMENT, least=17),
    Field(headings.ENDS, styles.MOMENT, least=17),
    Field(headings.TIME_ZONE, least=16),
    Field("UTC offset"),
    Field("crew"),
    Field(headings.CLUSTERS, styles.COUNT),
    Field("waits for", most=36),
    Field(headings.CAUTIONS, most=40),
    *FILLED_IN[:-1],
    Field(headings.TICKET, styles.FILL_IN, least=12, heading_style=styles.FILL_IN_HEADING),
    *FILLED_IN[-1:],
)
_BLANK = (None,) * (len(FILLED_IN) - 2)  # between the status and the ticket


def write_steps(book: Book, facts: RolloutFacts) -> Worksheet:
    """Add the sheet; one row for each step, wave by wave, in order of their start."""
    sheet = write_table(book, headings.STEPS, _STEPS, _rows(facts))
    columns = {field.heading: get_column_letter(number) for number, field in enumerate(_STEPS, start=1)}
    last = max(2, 1 + sum(len(wave.steps) for wave in facts.rollout.waves))
    offer_progress(sheet, columns, last)
    tint_progress(sheet, columns, last)
    return sheet


def write_conflicts(book: Book, rollout: Rollout) -> Worksheet:
    """Add the sheet of what is left out of the waves, and why."""
    fields = (Field("code"), Field("where", most=30), Field("message", most=70), Field("what would help", most=50))
    rows = ((c.code, c.where, c.message, c.hint) for c in rollout.conflicts)
    return write_table(book, headings.CONFLICTS, fields, rows)


def _rows(facts: RolloutFacts) -> Iterator[tuple[Value, ...]]:
    for wave in facts.rollout.waves:
        for step in wave.steps:
            ticket = plain(facts.tickets.get(step.id))
            yield (wave.wave, *_planned(facts, step), "open", *_BLANK, ticket, None)


def _planned(facts: RolloutFacts, step: Step) -> tuple[Value, ...]:
    return (
        step.id,
        step.kind,
        step.site,
        plain(facts.names.get(step.site)),
        plain(facts.regions.get(step.site)),
        step.from_host,
        step.to_host,
        step.host,
        step.release,
        step.starts.replace(tzinfo=None),
        step.ends.replace(tzinfo=None),
        str(step.starts.tzinfo),
        f"{step.starts:%z}",
        step.crew,
        step.clusters or None,
        "; ".join(step.needs),
        " ".join(step.cautions),
    )
