"""A sweep at the terminal: one row for each scenario, in the order they were asked for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.streams import printable
from planner.scenarios.sweep_results import Point, Sweep
from planner.scenarios.sweep_words import headline, proof_in_words

_EFFICIENT = "* Efficient: you cannot use fewer hosts without serving or covering less, or making a limit less strict."
_CAUTION = (
    "Caution: a scenario is arithmetic on the figures it was given; verify latencies on site before acting on it."
)


def print_sweep(sweep: Sweep, written: Sequence[Path], *, err: bool) -> None:
    """Print the headline, the table, a caution and where it was written."""
    target = console(err=err)
    target.print(Text(headline(sweep), style="bold"))
    if not sweep.complete:
        target.print(Text("Interrupted: scenarios without figures were not planned.", style="yellow"))
    target.print(_table(sweep))
    target.print(
        Text(
            _EFFICIENT,
            style="dim",
        )
    )
    target.print(Text(_CAUTION, style="dim"))
    for path in written:
        target.print(Text(f"Written: {path}"))


def _table(sweep: Sweep) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("scenario", overflow="fold")
    sure = any(p.figures is not None and p.figures.certainty is not None for p in sweep.points)
    aims = any(p.figures is not None and p.figures.moves is not None for p in sweep.points)
    priced = any(p.figures is not None and p.figures.cost is not None for p in sweep.points)
    added = any(p.figures is not None and p.figures.new_hosts is not None for p in sweep.points)
    headings = ["hosts", "at least", "gap", *["new"] * added, "unserved"]
    covered = any(p.figures is not None and p.figures.uncovered for p in sweep.points)
    headings += ["no standby"] * covered
    headings += [f"cost {sweep.currency}".strip() + " a year"] * priced + ["moves", "mean RTT"] * aims
    headings += ["within budget (95 %)", "all within (95 %)"] * sure
    for heading in headings:
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("proof", overflow="fold")
    for point in sweep.points:
        name = f"{point.scenario.name}{' *' if point.front else ''}"
        if point.figures is None:
            table.add_row(Text(printable(name)), *[""] * len(headings), Text(printable(point.error), style="bold red"))
        else:
            cells = _cells(point, added=added, covered=covered, priced=priced, aims=aims, sure=sure)
            table.add_row(Text(printable(name)), *cells, Text(printable(proof_in_words(point))))
    return table


def _cells(point: Point, *, added: bool, covered: bool, priced: bool, aims: bool, sure: bool) -> list[str]:
    figures = point.figures
    assert figures is not None  # the caller has looked
    places = ".2f" if figures.objective == "cost" else ".0f"
    cells = [
        f"{figures.hosts:,}",
        f"{figures.bound:,{places}}",
        "" if point.gap == 0 else f"{point.gap:.1%}",
        *["" if figures.new_hosts is None else f"{figures.new_hosts:,}"] * added,
        f"{len(figures.unserved):,}",
    ]
    if covered:
        cells.append(f"{figures.uncovered:,}")
    if priced:
        cells.append("" if figures.cost is None else f"{figures.cost:,.2f}")
    if aims:
        cells.append("" if figures.moves is None else f"{figures.moves:,}")
        cells.append("" if figures.mean_rtt_ms is None else f"{figures.mean_rtt_ms:.1f} ms")
    if sure:
        c = figures.certainty
        cells.append("" if c is None else f"{c.within:.2%} ({c.within_low:.2%} to {c.within_high:.2%})")
        cells.append("" if c is None else f"{c.all_within:.1%} ({c.all_low:.1%} to {c.all_high:.1%})")
    return cells
