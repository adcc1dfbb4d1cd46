"""Sheet Summary: one page that says what the plan is, how good it is, what to look at, and what it rests on."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from planner.outputs import headings, summary_content
from planner.outputs.facts import Facts
from planner.outputs.grid import Book
from planner.outputs.page import Page, title_page

# Title and figures first; a reader who stops after any section has had the most important part.
_SECTIONS: tuple[tuple[str, Callable[[Page, Facts], None]], ...] = (
    ("The plan in figures", summary_content.figures),
    ("What needs attention", summary_content.attention),
    ("The aims, in the order in which they count", summary_content.aims),
    ("Smallest latency margins", summary_content.margins),
    ("What the plan assumes", summary_content.assumptions),
    ("Before anything is changed", summary_content.cautions),
    ("Policy in brief", summary_content.policy),
    ("Where it comes from", summary_content.origin),
)


def write_summary(book: Book, facts: Facts, written_at: dt.datetime) -> None:
    """Add the sheet; the claims that `read_plan` reads back stand in its column B, named in column A."""
    page = title_page(book, headings.SUMMARY, "Tie-breaker plan", summary_content.headline_of(facts))
    for title, write in _SECTIONS:
        page.section(title)
        write(page, facts)
    page.row("Written", written_at.strftime("%Y-%m-%d %H:%M UTC"))
