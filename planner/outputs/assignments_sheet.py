"""Sheet Assignments: who uses which host, from which to which, and columns for the team that carries it out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import cellsafe, headings, styles
from planner.outputs.cellsafe import Value
from planner.outputs.facts import Facts, current_host, margin_ms
from planner.outputs.grid import Book, Field, write_table
from planner.plan import Assignment

_PLANNED = (
    Field(headings.SITE),
    Field(headings.NAME, most=28),
    Field(headings.REGION, most=20),
    Field(headings.CLUSTERS, styles.COUNT),
    Field(headings.HUB),
    Field(headings.HOST),
    Field(headings.RTT, styles.MS, least=13),
    Field(headings.BUDGET, styles.MS, least=13),
    Field(headings.MARGIN, styles.MS, least=13),
    Field(headings.EVIDENCE),
)
_MEASURED_AT = (Field(headings.MEASURED_AT, styles.DATE, least=12),)
_RANGE = (Field(headings.RTT_LOW, styles.MS, least=13), Field(headings.RTT_HIGH, styles.MS, least=14))
_CHANGE = (
    Field(headings.CURRENT_HOST),
    Field(headings.ACTION),
)
_STANDBY = Field(headings.STANDBY)
# What the plan said, so that a host changed by hand shows when the workbook comes back.
_PLANNED_HOST = Field(headings.PLANNED_HOST)
FILLED_IN = (
    Field(headings.PROGRESS, styles.FILL_IN, least=13, heading_style=styles.FILL_IN_HEADING),
    Field(headings.DATE, styles.FILL_IN_DATE, least=12, heading_style=styles.FILL_IN_HEADING),
    Field(headings.INITIALS, styles.FILL_IN, least=9, heading_style=styles.FILL_IN_HEADING),
    Field(headings.RTT_AFTER, styles.FILL_IN_NUMBER, least=10, heading_style=styles.FILL_IN_HEADING),
    Field(headings.VOTES_SEEN, styles.FILL_IN, least=10, heading_style=styles.FILL_IN_HEADING),
    Field(headings.REMARKS, styles.FILL_IN, least=28, heading_style=styles.FILL_IN_HEADING),
)


def write_assignments(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet; one row for each assignment, in the order of the plan."""
    shown = _Shown.of(facts)
    own = (
        *_PLANNED,
        *(_MEASURED_AT if shown.dates else ()),
        *(_RANGE if shown.ranges else ()),
        *_CHANGE,
        *((_STANDBY,) if shown.standby else ()),
        *FILLED_IN,
        _PLANNED_HOST,
    )
    sheet = write_table(book, headings.ASSIGNMENTS, (*own, *_extra_fields(facts, own)), _rows(facts))
    columns = {field.heading: get_column_letter(number) for number, field in enumerate(own, start=1)}
    last = max(2, 1 + len(facts.plan.assignments))
    _offer_hosts(sheet, columns, last, len(facts.plan.host_list))
    offer_progress(sheet, columns, last)
    _colour(sheet, columns, last)
    sheet.column_dimensions[columns[headings.PLANNED_HOST]].hidden = True
    # The user's own columns are there to filter by, but would make the printed text too small to read.
    sheet.print_area = f"A1:{columns[headings.REMARKS]}{last}"
    return sheet


@dataclass(frozen=True, slots=True)
class _Shown:
    """Which of the columns that many plans do without have something to show."""

    dates: bool
    ranges: bool
    standby: bool

    @classmethod
    def of(cls, facts: Facts) -> _Shown:
        rows = facts.plan.assignments
        return cls(
            any(row.measured_at for row in rows),
            any(row.rtt_low_ms is not None or row.rtt_high_ms is not None for row in rows),
            any(row.standby for row in rows),
        )


def _extra_fields(facts: Facts, own: tuple[Field, ...]) -> tuple[Field, ...]:
    taken = [field.heading for field in own]
    for name in facts.extra_columns:
        clashes = name.strip().casefold() in {heading.casefold() for heading in taken}
        taken.append(cellsafe.column_heading(f"{name} (Sites)" if clashes else name, taken))
    return tuple(Field(heading, styles.ANY) for heading in taken[len(own) :])


def _rows(facts: Facts) -> Iterator[tuple[Value, ...]]:
    shown = _Shown.of(facts)
    blank = (None,) * len(facts.extra_columns)
    for assignment in facts.plan.assignments:
        dates = (_moment(assignment.measured_at),) if shown.dates else ()
        ranges = (assignment.rtt_low_ms, assignment.rtt_high_ms) if shown.ranges else ()
        change = (current_host(facts, assignment), assignment.action)
        standby = (assignment.standby,) if shown.standby else ()
        extras = facts.extras.get(assignment.site, blank)
        own = (*_planned(facts, assignment), *dates, *ranges, *change, *standby, *_to_fill_in(assignment))
        yield (*own, assignment.host, *map(cellsafe.plain, extras))


def _planned(facts: Facts, assignment: Assignment) -> tuple[Value, ...]:
    return (
        assignment.site,
        cellsafe.plain(facts.names.get(assignment.site)),
        cellsafe.plain(facts.regions.get(assignment.site)),
        assignment.clusters,
        assignment.hub,
        assignment.host,
        assignment.rtt_ms,
        assignment.budget_ms,
        margin_ms(assignment),
        assignment.evidence,
    )


def _moment(text: str | None) -> Value:
    """Return a time as a date cell; text that is no time, from a plan that people have edited, as it is."""
    try:
        return dt.datetime.fromisoformat(text).replace(tzinfo=None) if text else None
    except ValueError:
        return text


def _to_fill_in(assignment: Assignment) -> tuple[Value, ...]:
    return ("not needed" if assignment.action == "keep" else "open", *(None,) * (len(FILLED_IN) - 1))


def offer_progress(sheet: Worksheet, columns: dict[str, str], last: int) -> None:
    """Offer the words of the status and of votes, and ask for a date in the column of dates."""
    progress = DataValidation("list", formula1=f'"{",".join(headings.PROGRESS_WORDS)}"', allow_blank=True)
    progress.error = f"Use one of: {', '.join(headings.PROGRESS_WORDS)}."
    date = DataValidation("date", operator="greaterThan", formula1="36526", allow_blank=True)  # 2000-01-01
    date.error = "Enter a date, for example 2030-01-31."
    votes = DataValidation("list", formula1=f'"{",".join(headings.VOTES_WORDS)}"', allow_blank=True)
    votes.error = f"Use one of: {', '.join(headings.VOTES_WORDS)}."
    for validation, name in ((progress, headings.PROGRESS), (date, headings.DATE), (votes, headings.VOTES_SEEN)):
        validation.add(f"{columns[name]}2:{columns[name]}{last}")
        validation.showErrorMessage = True
        sheet.add_data_validation(validation)


def _offer_hosts(sheet: Worksheet, columns: dict[str, str], last: int, hosts: int) -> None:
    # A warning, not a stop: a host that the plan does not have may be meant, and the check of the plan will say so.
    host = DataValidation("list", formula1=f"{headings.HOSTS}!$A$2:$A${max(2, hosts + 1)}", allow_blank=True)
    host.errorStyle = "warning"
    host.error = "This host is not on the sheet Hosts."
    for name in (headings.HOST, headings.STANDBY):
        if name in columns:
            host.add(f"{columns[name]}2:{columns[name]}{last}")
    host.showErrorMessage = True
    sheet.add_data_validation(host)


def _colour(sheet: Worksheet, columns: dict[str, str], last: int) -> None:
    """Tint cells whose word matters; the word itself always stands there too."""
    for heading, word, pale in (
        (headings.ACTION, "move", "watch"),
        (headings.ACTION, "attach", "plain"),
        (headings.EVIDENCE, "modelled", "note"),
        (headings.EVIDENCE, "estimated", "watch"),
    ):
        column = columns[heading]
        sheet.conditional_formatting.add(f"{column}2:{column}{last}", styles.when(f'${column}2="{word}"', pale))
    tint_progress(sheet, columns, last)


def tint_progress(sheet: Worksheet, columns: dict[str, str], last: int) -> None:
    """Tint the words of the status."""
    column = columns[headings.PROGRESS]
    for word, pale in (("planned", "plain"), ("done", "good"), ("blocked", "bad"), ("not needed", "quiet")):
        sheet.conditional_formatting.add(f"{column}2:{column}{last}", styles.when(f'${column}2="{word}"', pale))
