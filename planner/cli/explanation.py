"""An explanation as text: paragraphs, then a short table."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.report import bare_table
from planner.cli.streams import printable
from planner.counted_words import counted
from planner.explain import Explanation, PlanMeasures, PoolView, SiteView, Suggestion
from planner.outputs.how_sure import headline
from planner.plan import MeasureFirst

_CAUTION = (
    "Caution: verify the latency on site. A larger latency budget is for the supplier and the owner of the "
    "application to decide, a larger cap for the supplier."
)
_SETS_SHOWN = 12
_GOALS = {"save": "What would save a host", "serve": "What would serve a site"}


def print_explanation(found: Explanation) -> None:
    """Print why not fewer hosts, who is unserved, and what would help."""
    target = console()
    target.print(Text(printable(headline(found.plan)), style="bold"))
    target.print(Text(f"Why {counted(found.figures.hosts, 'host')}", style="bold"))
    # The sets follow one by one, so of the proof's words only the claim is repeated.
    target.print(Text(printable(found.proof if not found.sets else found.proof.split(". ")[0] + ".")))
    for one in found.sets[:_SETS_SHOWN]:
        target.print(Text(printable(f"- {one.words}")))
    if len(found.sets) > _SETS_SHOWN:
        target.print(Text(f"- and {len(found.sets) - _SETS_SHOWN:,} more groups, see --json."))
    if found.unserved:
        target.print(Text(f"\nUnserved: {len(found.unserved):,}", style="bold"))
    for left in found.unserved:
        reasons = "; ".join(f"{reason.code}: {reason.detail}" for reason in left.reasons)
        target.print(Text(printable(f"- {left.site}: {reasons}. {left.remedy}")))
    for goal, heading in _GOALS.items():
        suggestions = [s for s in found.suggestions if s.goal == goal]
        if suggestions:
            target.print(Text(f"\n{heading}, the smallest change first", style="bold"))
            target.print(_suggestions(suggestions, target))
    if found.measure_first:
        target.print(Text("\nMeasure these first, the greatest effect first", style="bold"))
        target.print(_measure_first(found.measure_first, target))
    if not found.suggestions:
        target.print(Text("\nNo change that would help was found."))
    for note in found.notes:
        target.print(Text(printable(f"Note: {note}")))
    target.print(Text(_CAUTION, style="dim"))


def print_site(view: SiteView) -> None:
    """Print one site: what the plan does with it, and every pool."""
    target = console()
    budget = "no latency budget" if view.budget_ms is None else f"latency budget {view.budget_ms:g} ms"
    release = f", release {view.release}" if view.release else ""
    clusters = counted(view.clusters, "cluster")
    target.print(Text(printable(f"Site {view.site}: {clusters}{release}, {budget}"), style="bold"))
    target.print(Text(printable(view.words)))
    table = bare_table(target)
    for heading in ("pool", "hub"):
        table.add_column(heading, overflow="fold")
    table.add_column("RTT ms", justify="right", no_wrap=True)
    table.add_column("evidence", no_wrap=True)
    table.add_column("may use", no_wrap=True)
    table.add_column("why", overflow="fold")
    for pool in view.pools:
        rtt = "unknown" if pool.rtt_ms is None else f"{pool.rtt_ms:g}"
        answer = "yes" if pool.eligible else "no"
        row = (pool.pool, pool.hub, rtt, _evidence(pool), answer, _why(pool))
        table.add_row(*(Text(printable(cell)) for cell in row))
    target.print(table)
    target.print(Text(_CAUTION, style="dim"))


def _evidence(pool: PoolView) -> str:
    """Say how the round-trip time is known, with its date or its range."""
    if pool.range_ms is not None:
        return f"{pool.evidence}, {pool.range_ms[0]:.3g} to {pool.range_ms[1]:.3g} ms"
    return f"{pool.evidence or ''} {(pool.measured_at or '')[:10]}".strip()


def _why(pool: PoolView) -> str:
    """Say what keeps the site out, or what the plan does there."""
    if not pool.eligible:
        return "; ".join(f"{reason.code}: {reason.detail}" for reason in pool.reasons)
    if pool.serves:
        return "serves the site in the plan"
    if not pool.hosts:
        return "no host runs there in the plan"
    return f"{pool.clusters} of {pool.room} clusters in use in the plan"


def _suggestions(suggestions: Sequence[Suggestion], target: Console) -> Table:
    table = bare_table(target)
    table.add_column("hosts", no_wrap=True)
    table.add_column("unserved", no_wrap=True)
    table.add_column("confirmed", no_wrap=True)
    table.add_column("change", overflow="fold")
    for one in suggestions:
        hosts = _step(one, "hosts")
        if one.before.new_hosts is not None and one.after is not None:
            hosts += f" ({one.before.new_hosts} -> {one.after.new_hosts} new)"
        unserved = _step(one, "unserved")
        table.add_row(hosts, unserved, "yes" if one.confirmed else "no", Text(printable(one.words)))
    return table


def _measure_first(rows: Sequence[MeasureFirst], target: Console) -> Table:
    table = bare_table(target)
    table.add_column("rank", justify="right", no_wrap=True)
    for heading in ("site", "hub"):
        table.add_column(heading, overflow="fold")
    table.add_column("RTT now", no_wrap=True)
    table.add_column("why", overflow="fold")
    for row in rows:
        now = row.evidence if row.rtt_ms is None else f"{row.rtt_ms:.1f} ms {row.evidence}"
        table.add_row(*(Text(printable(cell)) for cell in (str(row.rank), row.site, row.hub, now, row.words)))
    return table


def _step(one: Suggestion, figure: str) -> str:
    """Return a figure before and after, for example ``"4 -> 3"``."""

    def count(figures: PlanMeasures) -> int:
        return figures.hosts if figure == "hosts" else len(figures.unserved)

    return f"{count(one.before)} -> {'?' if one.after is None else count(one.after)}"
