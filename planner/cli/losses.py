"""Drills as text: a sentence, then tables."""

from __future__ import annotations

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.streams import printable
from planner.outputs.drill_sheets import OUTCOMES, WHY, in_words
from planner.resilience import Drill, DrillReport
from planner.resilience.drills import BlastRadius, LossFigures, SingleLoss

_SHOWN = 20


def print_drills(report: DrillReport) -> None:
    """Print what the plan survives, every single loss (shortened at a screenful for each kind), and the worst pairs."""
    target = console()
    target.print(Text(printable(report.words or "The plan has no host, so nothing can be lost."), style="bold"))
    if report.broken:
        lost = ", ".join(map(str, report.broken[:_SHOWN]))
        words = f"The plan claims cover {report.claimed}, but sites with a standby lose their third vote with: {lost}."
        target.print(Text(printable(words), style="bold red"))
    shown = _shortened(report.singles)
    if shown:
        rows = [(str(one.loss), one.figures, one.detail) for one in shown]
        target.print(_losses("lost", rows))
    if len(shown) < len(report.singles):
        more = len(report.singles) - len(shown)
        target.print(Text(f"... and {more:,} more single losses with less effect: see --json or -o."))
    if report.pairs:
        target.print(Text("\nWorst two losses at the same time", style="bold"))
        target.print(_losses("lost", [(f"{one.first} + {one.second}", one.figures, "") for one in report.pairs]))
    if report.radii:
        target.print(Text("\nLargest blast radius of each host, hub and zone", style="bold"))
        target.print(_radii(report.radii))
    for words in (*report.searched, *report.notes):
        target.print(Text(printable(words), style="dim"))


def print_drill(report: DrillReport, drill: Drill) -> None:
    """Print one named loss: who is hit and goes where, and the hosts that take them over."""
    target = console()
    target.print(Text(printable(in_words(drill)), style="bold"))
    if drill.sites_in_zone:
        target.print(Text(f"{len(drill.sites_in_zone):,} sites lie in the lost zone themselves and may be down."))
    table = _table(("site", "clusters", "host", "why", "standby", "what happens", "detail"), numbers=("clusters",))
    for row in drill.displaced[:_SHOWN]:
        happens = OUTCOMES[row.outcome]
        cells = (row.site, str(row.clusters), row.host, WHY[row.why], row.standby or "", happens, row.detail)
        table.add_row(*(Text(printable(cell)) for cell in cells))
    if drill.displaced:
        target.print(table)
    if len(drill.displaced) > _SHOWN:
        target.print(Text(f"... and {len(drill.displaced) - _SHOWN:,} more displaced sites: see --json or -o."))
    if drill.loads:
        heads = ("standby host", "before", "arriving", "after", "limit", "cap", "over cap")
        table = _table(heads, numbers=heads[1:])
        for load in drill.loads[:_SHOWN]:
            figures = (load.before, load.arriving, load.after, load.limit, load.cap, load.over)
            table.add_row(Text(printable(load.host)), *map(str, figures))
        target.print(table)
    for words in report.notes:
        target.print(Text(printable(words), style="dim"))


def _shortened(singles: Sequence[SingleLoss]) -> list[SingleLoss]:
    """Return the worst losses of each kind, in the order of kinds."""
    kinds = dict.fromkeys(single.loss.kind for single in singles)
    found: list[SingleLoss] = []
    for kind in kinds:
        mine = [single for single in singles if single.loss.kind == kind]
        found += sorted(mine, key=lambda one: (-one.figures.unprotected_after, -one.figures.displaced))[:_SHOWN]
    return found


def _losses(first: str, rows: Sequence[tuple[str, LossFigures, str]]) -> Table:
    numbers = ("hosts", "sites", "clusters hit", "no standby", "above cap", "without third vote")
    table = _table((first, *numbers, "survived", "remarks"), numbers=numbers)
    for lost, figures, detail in rows:
        names = ("hosts", "sites", "displaced", "stranded", "over", "unprotected_after")
        counts = (f"{getattr(figures, name):,}" for name in names)
        survived = Text("yes") if figures.survived else Text("no", style="bold red")
        table.add_row(Text(printable(lost)), *counts, survived, Text(printable(detail)))
    return table


def _radii(radii: Sequence[BlastRadius]) -> Table:
    numbers = ("sites", "clusters", "allowed", "share of weight", "allowed share")
    table = _table(("lost", *numbers), numbers=numbers)
    for one in radii:
        cells = (
            f"{one.sites:,}",
            f"{one.clusters:,}",
            "" if one.most_clusters is None else f"{one.most_clusters:,}",
            f"{one.weight_percent:.1f} %",
            "" if one.most_percent is None else f"{one.most_percent:g} %",
        )
        table.add_row(Text(printable(str(one.loss)), style="bold red" if one.over else ""), *cells)
    return table


def _table(heads: Sequence[str], numbers: Sequence[str]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for head in heads:
        if head in numbers:
            table.add_column(head, justify="right", no_wrap=False)
        else:
            table.add_column(head, overflow="fold")
    return table
