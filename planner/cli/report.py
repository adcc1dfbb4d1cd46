"""What commands print for people: findings, violations and the summary of a plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from planner.fleet import Finding
from planner.outputs import CAUTIONS, headline
from planner.plan import Plan
from planner.verify import Violation

# Words first; colour only repeats them.
_STYLES = {"error": "bold red", "warning": "yellow", "info": "cyan", "violation": "bold red", "note": "cyan"}
_ORDER = ("error", "warning", "info")


def print_findings(findings: Sequence[Finding], *, err: bool = True, least: str = "info") -> None:
    """Print findings, errors first, each with its place, what is wrong and how to mend it."""
    console = _console(err=err)
    shown = _ORDER[: _ORDER.index(least) + 1]
    for severity in shown:
        for finding in findings:
            if finding.severity == severity:
                _print_line(console, severity, str(finding))
    console.print(Text(counted(findings), style="bold"))


def counted(findings: Iterable[Finding]) -> str:
    """Return how many findings there are of each severity, in words."""
    number = Counter(finding.severity for finding in findings)
    parts = [f"{number[s]} {s}{'s' if number[s] != 1 and s != 'info' else ''}" for s in _ORDER if number[s]]
    return ", ".join(parts) or "no findings"


def print_violations(violations: Sequence[Violation]) -> None:
    """Print violations, then notes."""
    console = _console()
    for severity in ("violation", "note"):
        for violation in violations:
            if violation.severity == severity:
                _print_line(console, severity, f"{violation} [{violation.code}]")


def print_summary(plan: Plan, written: Sequence[Path], *, err: bool) -> None:
    """Print a plan in a screenful: headline, hosts, what needs attention, cautions, where it was written."""
    console = _console(err=err)
    console.print(Text(headline(plan), style="bold"))
    console.print(Text(plan.proof.words))
    if plan.host_list:
        console.print(_hosts(plan))
    for unserved in plan.unserved[:5]:
        reasons = "; ".join(f"{r.code}: {r.detail}" for r in unserved.reasons)
        _print_line(console, "warning", f"site {unserved.site} is unserved: {reasons}")
    if len(plan.unserved) > 5:
        console.print(Text(f"… and {len(plan.unserved) - 5} more unserved sites, see the plan."))
    console.print(Text(f"Input: {counted(plan.findings)}."))
    for caution in CAUTIONS:
        console.print(Text(f"Caution: {caution}", style="dim"))
    for path in written:
        console.print(Text(f"Written: {path}"))


def _hosts(plan: Plan) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("hub")
    table.add_column("hosts", justify="right")
    table.add_column("new", justify="right")
    table.add_column("clusters", justify="right")
    table.add_column("room", justify="right")
    table.add_column("fullest", justify="right")
    for hub in sorted({host.hub for host in plan.host_list}):
        at_hub = [host for host in plan.host_list if host.hub == hub]
        clusters, room = sum(h.clusters for h in at_hub), sum(h.usable for h in at_hub)
        fullest = max(at_hub, key=lambda h: h.clusters / h.usable)
        table.add_row(
            Text(hub),
            str(len(at_hub)),
            str(sum(not h.existing for h in at_hub)),
            str(clusters),
            str(room),
            f"{fullest.clusters}/{fullest.usable}",
        )
    return table


def _print_line(console: Console, severity: str, words: str) -> None:
    console.print(Text.assemble((f"{severity:9} ", _STYLES[severity]), words), soft_wrap=not console.is_terminal)


def _console(*, err: bool = False) -> Console:
    return Console(stderr=err, highlight=False, emoji=False, markup=False)
