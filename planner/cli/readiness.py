"""The readiness audit as text: sites by outcome, the most frequent items, and where management servers are needed."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.report import bare_table
from planner.cli.streams import printable
from planner.counted_words import counted
from planner.outputs.plan_sentences import ITEM_SEVERITY, MANAGEMENT_BY, READINESS, missing_in_words, readiness_headline
from planner.readiness import Readiness

_SHOWN = 10  # with the findings above, a screenful


def print_readiness(readiness: Readiness) -> None:
    """Print the audit in short; sites one by one are in the JSON and in the workbook."""
    target = console()
    target.print(Text("\nReadiness for a shared host", style="bold"))
    target.print(Text(readiness_headline(readiness)))
    target.print(_outcomes(readiness, target))
    if missing := readiness.missing:
        target.print(Text(printable(missing_in_words(missing))))
    kinds = readiness.apart_from(missing).most_frequent
    if kinds:
        target.print(Text("\nMost frequent items", style="bold"))
        table = _table(target, "sites", "item", "state", "what to do")
        for kind in kinds[:_SHOWN]:
            row = (f"{kind.sites:,}", kind.code, ITEM_SEVERITY[kind.severity], kind.remedy)
            table.add_row(*(Text(printable(cell)) for cell in row))
        target.print(table)
    if len(kinds) > _SHOWN:
        target.print(Text(f"... and {counted(len(kinds) - _SHOWN, 'more kind')}, see --json or --readiness."))
    if readiness.management:
        by = MANAGEMENT_BY[readiness.management_by]
        target.print(Text(f"\nBelow the management floor, {by}", style="bold"))
        table = _table(target, "sites", "clusters", "hub")
        for count in readiness.management:
            table.add_row(f"{count.sites:,}", f"{count.clusters:,}", Text(printable(count.hub or "no hub yet")))
        target.print(table)
    target.print(Text("Readiness does not change the plan. What is assumed: --json or --readiness.", style="dim"))


def _outcomes(readiness: Readiness, target: Console) -> Table:
    table = _table(target, "sites", "clusters", "outcome")
    for outcome, number in readiness.counts.items():
        clusters = sum(site.clusters for site in readiness.sites if site.outcome == outcome)
        table.add_row(f"{number:,}", f"{clusters:,}", READINESS[outcome])
    return table


def _table(target: Console, *headings: str) -> Table:
    table = bare_table(target)
    for heading in headings:
        figure = heading in ("sites", "clusters")
        table.add_column(heading, justify="right" if figure else "left", no_wrap=figure, overflow="fold")
    return table
