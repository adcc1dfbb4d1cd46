"""What `castingvote compare` prints."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.report import bare_table
from planner.cli.streams import printable
from planner.differences.difference import Difference
from planner.outputs import CAUTIONS

_HOSTS_SHOWN, _SITES_SHOWN = 10, 15  # a screenful


def print_difference(found: Difference, written: Sequence[Path], *, err: bool) -> None:
    """Print headline, causes, figures, the first hosts and sites that differ, and where all of them are."""
    target = console(err=err)
    target.print(Text(printable(found.headline), style="bold"))
    for note in found.notes:
        target.print(Text(printable(f"Note: {note}"), style="yellow"))
    for line in found.words:
        target.print(Text(printable(f"- {line}")))
    if found.figures:
        target.print(_figures(found, target))
    hosts = [(r.host, r.what, r.from_to, r.cause_in_words, r.why) for r in found.hosts]
    _print_rows(target, "Hosts that differ", ("host", "difference", "clusters", "cause", "why"), hosts, _HOSTS_SHOWN)
    sites = [(r.site, r.what, r.from_to, r.cause_in_words, r.why) for r in found.sites]
    _print_rows(target, "Sites that differ", ("site", "difference", "from -> to", "cause", "why"), sites, _SITES_SHOWN)
    for caution in CAUTIONS:
        target.print(Text(f"Caution: {caution}", style="dim"))
    for path in written:
        target.print(Text(f"Written: {path}"))


def _figures(found: Difference, target: Console) -> Table:
    table = bare_table(target)
    table.add_column("figure", overflow="fold")
    for name in (found.old.name, found.new.name):
        table.add_column(Text(printable(name)), justify="right", no_wrap=True)
    for figure in found.figures:
        table.add_row(figure.label, figure.old_text, figure.new_text)
    return table


def _print_rows(
    target: Console, title: str, headings: Sequence[str], rows: Sequence[tuple[str, ...]], most: int
) -> None:
    if not rows:
        return
    target.print(Text(title, style="bold"))
    table = bare_table(target)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows[:most]:
        table.add_row(*(Text(printable(cell)) for cell in row))
    target.print(table)
    if len(rows) > most:
        target.print(Text(f"and {len(rows) - most:,} more; all of them with -o or --json."))
