"""The run sheet of one wave: one printed page from before-checks to sign-off."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence

from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import run_words, styles
from planner.outputs.grid import Book, set_up_print
from planner.outputs.page import Page
from planner.outputs.plan_sentences import CAUTIONS
from planner.outputs.rollout_facts import RolloutFacts
from planner.schedule import Step, Wave

_BOX, _TICKED = "\u2610", "\u2611"
_WIDTHS = {"A": 6, "B": 15, "C": 40, "D": 18, "E": 18, "F": 16, "G": 11, "H": 11}
_HEADINGS = ("done", "local time", "what", "from host", "to host", "RTT limit ms", "initials", "time")
# More lines than this on one page could not be read; the rest goes to further pages under the same headings.
_LINES_A_PAGE = 45


def sheet_title(wave: Wave) -> str:
    """Return the name of the wave's sheet."""
    return f"Wave {wave.wave}"


def write_run_sheet(book: Book, facts: RolloutFacts, wave: Wave) -> Worksheet:
    """Add the sheet: who, where and when, checks, steps in order of their local start, way back, stop, sign-off."""
    sheet = book.new_sheet(sheet_title(wave))
    sheet.sheet_view.showGridLines = False
    page = Page(sheet, book.looks, _WIDTHS)
    _head(page, facts, wave)
    changes_sites = any(step.site for step in wave.steps)
    changes_hosts = any(step.host for step in wave.steps)
    releases = any(step.kind in ("host_release", "site_release") for step in wave.steps)
    page.section("Before: begin only when every box is ticked")
    leaves = any(step.from_host for step in wave.steps)
    _boxes(page, run_words.BEFORE_SITES if changes_sites else ())
    _boxes(page, run_words.BEFORE_MOVES if leaves else ())
    _boxes(page, run_words.BEFORE_ALL)
    _boxes(page, run_words.BEFORE_RELEASE if releases else ())
    page.section("How to do each kind of step")
    for kind in dict.fromkeys(step.kind for step in wave.steps):
        page.text_row("", f"{kind.replace('_', ' ')}: {' '.join(run_words.STEPS[kind])}")
    page.section("Steps in order")
    _steps(page, facts, wave)
    page.section("After")
    _boxes(page, run_words.AFTER_SITES if changes_sites else ())
    _boxes(page, run_words.AFTER_HOSTS if changes_hosts else ())
    page.section("Stop the wave, and start nothing new, if one of these happens")
    for line in run_words.STOP:
        page.text_row("-", line)
    page.section("The way back")
    for line in run_words.ROLLBACK:
        page.text_row("-", line)
    page.section("Sign-off")
    page.table_row(("", "", "", "name", "", "signature", "", "time"), (styles.NOTE,) * 8)
    for line in run_words.SIGN_OFF:
        page.table_row((_BOX, "", line, *("",) * 5), (styles.BOX, styles.TEXT, styles.LABEL, *(styles.FILL_IN,) * 5))
    page.whole_row(f"Caution: {' '.join(CAUTIONS)}", styles.NOTE)
    _let_tick(sheet)
    set_up_print(sheet, landscape=False)
    sheet.page_setup.fitToHeight = 1 if len(wave.steps) <= _LINES_A_PAGE else 0
    return sheet


def _let_tick(sheet: Worksheet) -> None:
    """Give every box a list with a ticked one, for those who fill the sheet in on a screen."""
    ticks = DataValidation("list", formula1=f'"{_BOX},{_TICKED}"', allow_blank=True)
    for (cell,) in sheet.iter_rows(max_col=1):
        if cell.value == _BOX:
            ticks.add(cell)
    sheet.add_data_validation(ticks)


def _head(page: Page, facts: RolloutFacts, wave: Wave) -> None:
    pilot = ", the pilot" if wave.pilot else ""
    page.whole_row(f"Run sheet: wave {wave.wave} of {len(facts.rollout.waves)}{pilot}", styles.TITLE, 18)
    page.whole_row(facts.when(wave), styles.HEADLINE, 13)
    page.whole_row(f"Who: {run_words.who_and_where(wave)}")
    places = [facts.place(step) for step in wave.steps]
    page.whole_row(f"Where: {_listed(sorted({place for place in places if place}))}")
    page.table_row(
        ("", "Leads:", "", "Reached at:", "", "Decides to stop:", "", ""),
        (styles.NOTE, styles.NOTE, styles.FILL_IN, styles.NOTE, styles.FILL_IN, styles.NOTE, *(styles.FILL_IN,) * 2),
    )


def _listed(names: Iterable[str], most: int = 12) -> str:
    shown = list(names)
    more = f" and {len(shown) - most} more" if len(shown) > most else ""
    return ", ".join(shown[:most]) + more + "."


def _boxes(page: Page, lines: Sequence[str]) -> None:
    for line in lines:
        page.text_row(_BOX, line)


def _steps(page: Page, facts: RolloutFacts, wave: Wave) -> None:
    page.table_row(_HEADINGS, (styles.HEADING,) * 5 + (styles.HEADING_OF_NUMBERS,) + (styles.FILL_IN_HEADING,) * 2)
    cautions = {text: n for n, text in enumerate(dict.fromkeys(c for s in wave.steps for c in s.cautions), start=1)}
    for step in wave.steps:
        hosts = (step.from_host, step.to_host or step.host)
        page.table_row(
            (_BOX, _times(step), _what(facts, step, cautions), *hosts, facts.limit_ms(step), "", ""),
            (styles.BOX, *(styles.TEXT,) * 4, styles.MS, *(styles.FILL_IN,) * 2),
        )
    for text, number in cautions.items():
        page.text_row(f"({number})", f"Caution: {text}")


def _what(facts: RolloutFacts, step: Step, cautions: Mapping[str, int]) -> str:
    subject = f"{step.site} {facts.names.get(step.site, '')}".strip() if step.site else str(step.host)
    release = f" to release {step.release}" if step.release else ""
    crew = f" (crew {step.crew})" if step.crew else ""
    numbers = "".join(f" ({cautions[text]})" for text in step.cautions)
    return f"{step.kind.replace('_', ' ')}: {subject}{release}{crew}{numbers}"


def _times(step: Step) -> str:
    """Return start and end on the clock of the step's own place."""
    return f"{step.starts:%H:%M}-{step.ends:%H:%M} {zone_name(step.starts)}"


def zone_name(moment: dt.datetime) -> str:
    """Return a short name of the zone at that moment; its offset where it has none of letters."""
    name = moment.tzname() or ""
    return name if name[:1].isalpha() else f"UTC{name}"
