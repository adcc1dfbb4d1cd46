"""What the workbooks of sweeps, horizons and designs have in common."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from planner.fleet import Finding, Source
from planner.outputs import CAUTIONS, cellsafe
from planner.outputs.page import Page


class Found(Protocol):
    """A result that knows the files it rests on and the version that made it."""

    @property
    def sources(self) -> tuple[Source, ...]: ...  # noqa: D102

    @property
    def version(self) -> str: ...  # noqa: D102


def add_notes(page: Page, title: str, notes: Sequence[Finding]) -> None:
    """Add a section of findings, if there are any."""
    if notes:
        page.section(title)
        for note in notes:
            page.whole_row(str(note))


def end_summary(page: Page, found: Found) -> None:
    """Add the last two sections of a summary: the cautions, and what the figures rest on."""
    page.section("Before anything is changed")
    for caution in CAUTIONS:
        page.whole_row(caution)
    page.section("Where it comes from")
    for source in found.sources:
        page.text_row(cellsafe.one_line(source.name), f"SHA-256 {source.sha256}")
    page.row("castingvote", found.version)


def in_title(joint: str, sources: Sequence[Source]) -> str:
    """Return the names of the files for the title of a chart, after ``joint``; "" where no file is known."""
    names = ", ".join(cellsafe.one_line(source.name) for source in sources)
    return f"{joint}{names}" if names else ""
