"""The team's workbook, merged and carried on: what people typed in its place, and sheets on how far the work is."""

from __future__ import annotations

import dataclasses
import datetime as dt
import os
from collections.abc import Iterator, Sequence

from openpyxl.chart import LineChart, Reference
from openpyxl.chart.legend import Legend

from planner.counted_words import counted
from planner.outputs import headings, styles
from planner.outputs.atomic import write_bytes
from planner.outputs.cellsafe import Value
from planner.outputs.extended_validations import carry_over
from planner.outputs.grid import Book, Field, set_up_print, write_table
from planner.outputs.merged_workbook import merge_into, open_workbook
from planner.outputs.page import Page
from planner.progress import Copy, Merged, Progress

_MOST_DAYS = 400  # rows of the burn-down; beyond, it goes on in weeks


def write_progress_workbook(
    sources: Sequence[str | os.PathLike[str]],
    copies: Sequence[Copy],
    merged: Merged,
    progress: Progress,
    path: str | os.PathLike[str],
) -> Progress:
    """Write the first of the workbooks ``sources`` with all that their ``copies`` hold, and sheets on the progress.

    Everything else in it stays. Returns ``progress`` with notes on what found no place. Raises InputError where a
    source is no .xlsx or .xlsm workbook, or ``path`` cannot be written.
    """
    workbook = open_workbook(sources[0])
    carry_over(sources[0], workbook)
    for name in (
        headings.TEAM_PROGRESS,
        headings.BURN_DOWN,
    ):  # clashes of an earlier merge stay: somebody may work on them
        if name in workbook.sheetnames:
            workbook.remove(workbook[name])
    notes = merge_into(workbook, sources, copies, merged)
    progress = dataclasses.replace(progress, notes=(*progress.notes, *notes))
    book = Book(workbook)
    _write_progress(book, progress)
    _write_burn_down(book, progress)
    if progress.clashes:
        _write_clashes(book, progress)
    write_bytes(path, book.to_bytes())
    return progress


def figures(progress: Progress) -> list[tuple[str, str]]:
    """Return the progress in figures: label and value, for people."""
    forecast = progress.forecast
    days = [("early", forecast.early), ("likely", forecast.likely), ("late", forecast.late)]
    told = ", ".join(f"{name} {day:%Y-%m-%d}" for name, day in days if day is not None)
    return [
        ("As of", f"{progress.as_of:%Y-%m-%d}"),
        ("Done", counted(len(progress.done), "site")),
        ("Left", counted(len(progress.left), "site")),
        ("Blocked", counted(len(progress.blocked), "site")),
        ("Not as planned", counted(len(progress.drifted), "site")),
        ("Clashes", counted(len(progress.clashes), "cell")),
        ("Forecast of the end", told or "none"),
    ]


def _write_progress(book: Book, progress: Progress) -> None:
    sheet = book.new_sheet(headings.TEAM_PROGRESS)
    sheet.sheet_view.showGridLines = False
    page = Page(sheet, book.looks)
    page.whole_row("Rollout progress", styles.TITLE, 18)
    for label, value in figures(progress):
        page.text_row(label, value)
    page.text_row("How it is computed", progress.forecast.words)
    for title, lines in (
        ("Violations of the rules, with the hosts as they are now", progress.problems),
        ("Waves that have slipped", progress.slipped),
        ("Blocked", [f"site {row.site}: {row.remarks or 'no remark'}" for row in progress.blocked]),
        ("Not as planned", [f"site {row.site}: {row.drift}" for row in progress.drifted]),
        ("Worth a look", progress.notes),
    ):
        if lines:
            page.section(title)
        for line in lines:
            page.whole_row(line)
    set_up_print(sheet, landscape=False)


def _write_burn_down(book: Book, progress: Progress) -> None:
    """Add the table of sites left by day, and its picture."""
    fields = (
        Field("day", styles.DATE, least=12),
        *(Field(name, styles.COUNT, least=13) for name in ("done that day", "left", "likely", "early", "late")),
        *([Field("planned", styles.COUNT, least=13)] if progress.planned_on else []),
    )
    rows = list(_days(progress))
    sheet = write_table(book, headings.BURN_DOWN, fields, rows)
    if not rows:
        return
    chart = LineChart()
    chart.title = "Sites left, blocked ones too; early, likely and late are estimates"
    chart.height, chart.width = 11, 24
    chart.y_axis.title, chart.x_axis.title = "sites left", "day"
    chart.y_axis.delete = chart.x_axis.delete = False
    chart.x_axis.number_format = "yyyy-mm-dd"
    chart.y_axis.scaling.min = 0
    chart.legend = Legend()
    chart.legend.position = "b"
    last = len(rows) + 1
    chart.add_data(Reference(sheet, min_col=3, max_col=len(fields), min_row=1, max_row=last), titles_from_data=True)
    chart.set_categories(Reference(sheet, min_col=1, min_row=2, max_row=last))
    looks = ((styles.BLUE, "solid"), (styles.BLUISH_GREEN, "dash"), (styles.SKY_BLUE, "sysDot"))
    more = ((styles.VERMILLION, "dashDot"), (styles.GREY, "solid"))
    for series, (colour, dash) in zip(chart.series, (*looks, *more), strict=False):
        series.graphicalProperties.line.solidFill = colour
        series.graphicalProperties.line.dashStyle = dash
        series.graphicalProperties.line.width = 25000
        series.smooth = False
    sheet.add_chart(chart, "H2")


def _days(progress: Progress) -> Iterator[tuple[Value, ...]]:
    """Yield day, done, left, and the straight lines from today to each percentile of the forecast.

    Sites that are blocked are left too, to the end: the planned curve counts them as well.
    """
    done = progress.done_on
    planned = progress.planned_on
    if not done and not planned:
        return
    today, forecast = progress.as_of, progress.forecast
    ends = [day for day in (forecast.likely, forecast.early, forecast.late) if day is not None]
    first, last = min([*done, *planned]) - dt.timedelta(days=1), max([today, *ends, *planned])
    undated = sum(row.date is None for row in progress.done)
    rest, blocked = len(progress.left), len(progress.blocked)
    left = rest + blocked + len(progress.done) - undated
    step = dt.timedelta(days=1 if (last - first).days <= _MOST_DAYS else 7)
    day = first
    while day < last + step:
        that_day = sum(number for at, number in done.items() if day - step < at <= day)
        left -= that_day
        ahead = [_line(rest, blocked, today, end, day) if day >= today else None for end in ends]
        wanted = [sum(number for at, number in planned.items() if at > day)] if planned else []
        yield (day, that_day or None, left if day <= today else None, *ahead, *[None] * (3 - len(ahead)), *wanted)
        day += step


def _line(rest: int, blocked: int, today: dt.date, end: dt.date, day: dt.date) -> float | None:
    """Return what is left on ``day`` on a straight line from all today to the ``blocked`` sites alone on ``end``."""
    whole = (end - today).days
    if whole <= 0 or day > end:
        return float(blocked) if day == end else None
    return round(blocked + rest * (1 - (day - today).days / whole), 1)


def _write_clashes(book: Book, progress: Progress) -> None:
    fields = (Field("what"), Field("column"), Field("kept", most=40), Field("the copies say", most=90))
    rows = (
        (
            clash.what,
            clash.column,
            clash.kept,
            "\n".join(f"{file} {where}: {text}" for file, where, text in clash.values),
        )
        for clash in progress.clashes
    )
    write_table(book, headings.CLASHES, fields, rows)
