"""What commands print for people: findings, violations and the summary of a plan."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.streams import printable
from planner.counted_words import counted
from planner.fleet import Finding, Fleet, Severity
from planner.identity import identity_in_words
from planner.intake.found import grouped
from planner.outputs import CAUTIONS, headline, survives
from planner.outputs.causes import unserved_by_cause
from planner.outputs.how_sure import later_aims_in_words
from planner.outputs.plan_sentences import (
    cover_prices_in_words,
    left_in_place_in_words,
    readiness_headline,
    spared_in_words,
)
from planner.plan import Plan, moved_sites

if TYPE_CHECKING:
    from planner.readiness import Readiness
    from planner.sizing import Point
    from planner.verify import Violation

# Words first; colour only repeats them.
_STYLES = {"error": "bold red", "warning": "yellow", "info": "cyan", "violation": "bold red", "note": "cyan"}
_ORDER: tuple[Severity, ...] = ("error", "warning", "info")
_ROOMY = 60  # columns
_CAUSES_SHOWN, _HUBS_SHOWN, _PROOF_SHOWN = 5, 6, 240  # causes, hubs, characters: the summary stays a screenful


def print_findings(
    findings: Sequence[Finding], *, err: bool = True, least: Severity = "info", every: bool = False
) -> None:
    """Print findings by cause, errors first: where, what is wrong, how to mend it; with ``every`` one by one."""
    target = console(err=err)
    shown = _ORDER[: _ORDER.index(least) + 1]
    if every:
        for finding in sorted(findings, key=lambda one: _ORDER.index(one.severity)):
            _print_line(target, finding.severity, str(finding))
        return
    for group in grouped(findings):
        if group.first.severity in shown:
            _print_line(target, group.first.severity, group.words)


def tally(findings: Iterable[Finding]) -> str:
    """Return how many findings there are of each severity, in words."""
    number = Counter(finding.severity for finding in findings)
    parts = [f"{number[s]} {s}{'s' if number[s] != 1 and s != 'info' else ''}" for s in _ORDER if number[s]]
    return ", ".join(parts) or "no findings"


def print_violations(violations: Sequence[Violation]) -> None:
    """Print violations, then notes."""
    target = console()
    for severity in ("violation", "note"):
        for violation in violations:
            if violation.severity == severity:
                _print_line(target, severity, f"{violation} [{violation.code}]")


def print_summary(
    fleet: Fleet, plan: Plan, written: Sequence[Path], *, err: bool, readiness: Readiness | None = None
) -> None:
    """Print a plan in a screenful: what was found, how sure, what needs attention by cause, where it was written."""
    target = console(err=err)
    target.print(Text(headline(plan), style="bold"))
    target.print(Text(printable(_proof(plan))))
    if plan.then:
        target.print(Text(later_aims_in_words(plan)))
    if plan.host_list:
        target.print(_hosts(plan, target))
        if (more := len({host.hub for host in plan.host_list}) - _HUBS_SHOWN) > 0:
            target.print(Text(f"… and {counted(more, 'more hub')}: see sheet Hosts of the plan."))
    _print_attention(target, fleet, plan, readiness)
    target.print(Text(f"Caution: {' '.join(CAUTIONS)}", style="dim"))
    for path in written:
        target.print(Text(f"Written: {path}"))


def _proof(plan: Plan) -> str:
    """Return why fewer will not do, as far as a few lines hold it; the headline says already what is proven."""
    first, *sentences = re.split(r"(?<=[.]) (?=[A-Z0-9])", plan.proof.words)
    if not sentences:
        return first
    fits = [len(" ".join(sentences[:end])) <= _PROOF_SHOWN for end in range(1, len(sentences) + 1)]
    shown = " ".join(sentences[: max(1, sum(fits))])
    return f"Why: {shown}" + ("" if all(fits) else " More: castingvote explain.")


def _print_attention(target: Console, fleet: Fleet, plan: Plan, readiness: Readiness | None) -> None:
    """Print what is not as it should be, by cause."""
    for cause in unserved_by_cause(plan)[:_CAUSES_SHOWN]:
        _print_line(target, "warning", f"not served, {cause.words}")
    if plan.unserved:
        target.print(Text("Reasons for each site: sheet Unserved of the plan, or castingvote explain --site ID."))
    unmeasured = {row.site for row in plan.assignments if row.evidence != "measured"}
    if unmeasured:
        words = f"{counted(len(unmeasured), 'site')}: the round-trip time is not measured. Measure it before cut-over."
        _print_line(target, "warning", words)
    if left := left_in_place_in_words(fleet, plan):
        _print_line(target, "warning", left)
    if spared := spared_in_words(fleet, plan):
        target.print(Text(printable(spared)))
    target.print(Text(survives(plan)))
    if plan.cover_prices:
        target.print(Text(cover_prices_in_words(plan)))
    target.print(Text(f"Input: {tally(plan.findings)}."))
    if readiness is not None:
        target.print(Text(f"Readiness: {readiness_headline(readiness)} See castingvote check."))
    target.print(Text(printable(identity_in_words(plan))))


def print_trade_off(fleet: Fleet, plan: Plan, points: Sequence[Point], *, err: bool) -> None:
    """Print how many sites change host with so many hosts, and what is proven of that."""
    target = console(err=err)
    table = bare_table(target)
    for heading in ("hosts, at most", "moves found", "moves needed"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("")
    for point in points:
        figures = (point.hosts, point.moves, point.bound)
        table.add_row(*map(str, figures), "proven" if point.proven else "not proven")
    target.print(Text("How many moves further hosts save", style="bold"))
    target.print(table)
    planned, least = len(moved_sites(fleet, plan)), points[0].moves
    if planned > least:
        first = "" if plan.objective == "hosts" else f", since its objective is {plan.objective}"
        target.print(
            f"The plan itself moves {counted(planned, 'site')}{first}. With as many hosts, {least} moves are enough."
        )


def _hosts(plan: Plan, target: Console) -> Table:
    table = bare_table(target)
    table.add_column("hub", overflow="fold")
    for heading in ("hosts", "new", "clusters", "room", "fullest"):
        table.add_column(heading, justify="right", no_wrap=True)
    hubs = sorted({host.hub for host in plan.host_list})
    for hub in hubs if len(hubs) <= _HUBS_SHOWN else _largest(plan, hubs):
        at_hub = [host for host in plan.host_list if host.hub == hub]
        clusters, room = sum(h.clusters for h in at_hub), sum(h.usable for h in at_hub)
        fullest = max(at_hub, key=lambda h: h.clusters / h.usable)
        figures = (len(at_hub), sum(not h.existing for h in at_hub), clusters, room)
        table.add_row(Text(printable(hub)), *map(str, figures), f"{fullest.clusters} of {fullest.usable}")
    return table


def _largest(plan: Plan, hubs: Sequence[str]) -> list[str]:
    """Return the hubs with most clusters, in order of name."""
    load = Counter({hub: sum(host.clusters for host in plan.host_list if host.hub == hub) for hub in hubs})
    return sorted(hub for hub, _ in load.most_common(_HUBS_SHOWN))


def bare_table(target: Console) -> Table:
    """Return a table without lines, its columns two blanks apart, or one where room is scarce."""
    return Table(box=None, pad_edge=False, padding=(0, 2 if target.width >= _ROOMY else 1, 0, 0))


def _print_line(target: Console, severity: str, words: str) -> None:
    label, text = Text(f"{severity:9} ", style=_STYLES[severity]), Text(printable(words))
    if not target.is_terminal:  # one line, for grep
        target.print(Text.assemble(label, text))
        return
    hanging = Table.grid()
    hanging.add_row(label, text)
    target.print(hanging)
