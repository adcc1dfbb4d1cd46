"""Every table of a plan as a .csv file (RFC 4180), with the names of plan.json as headings."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterable
from pathlib import Path

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.outputs import cellsafe
from planner.outputs.atomic import write_text
from planner.outputs.cellsafe import Value
from planner.outputs.facts import Facts, how_served
from planner.outputs.list_sheets import applied_policy, setting_text
from planner.plan import Plan

Row = dict[str, Value]

# What a spreadsheet program runs when a cell begins with it (OWASP, "CSV Injection").
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def write_csv(fleet: Fleet, plan: Plan, folder: str | os.PathLike[str]) -> list[Path]:
    """Write every table of the plan, and return the files: `_TABLES` names them.

    UTF-8 with a byte order mark, without which spreadsheet programs guess; a text that begins like a formula gets
    an apostrophe in front. ``folder`` is made if it does not exist. Raises InputError when it cannot be written.
    """
    target, facts = Path(folder), Facts(fleet, plan)
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        message = f"cannot be created: {error.strerror}."
        finding = Finding("error", "cannot_write", "", message, "Name another folder.", os.fspath(folder))
        raise InputError((finding,)) from error
    written = []
    for name, (headings, rows) in _TABLES.items():
        path = target / f"{name}.csv"
        write_text(path, csv_text(headings.split(), rows(facts)))
        written.append(path)
    return written


def csv_text(headings: list[str], rows: Iterable[Row]) -> str:
    """Return rows as the text of a .csv file, safe for spreadsheet programs."""
    text = io.StringIO()
    text.write("\ufeff")
    writer = csv.DictWriter(text, headings, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _safe(cellsafe.plain(value)) for name, value in row.items()} for row in rows)
    return text.getvalue()


def _safe(value: Value) -> Value:
    if not isinstance(value, str):
        return value
    text = cellsafe.safe_text(value)
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _hosts(facts: Facts) -> Iterable[Row]:
    for host in facts.plan.host_list:
        yield {
            "host": host.host,
            "hub": host.hub,
            "pool": host.pool,
            "release": host.release,
            "clusters": host.clusters,
            "cap": host.cap,
            "usable": host.usable,
            "existing": "yes" if host.existing else "no",
        }


def _assignments(facts: Facts) -> Iterable[Row]:
    for assignment in facts.plan.assignments:
        yield {
            "site": assignment.site,
            "name": facts.names.get(assignment.site),
            "region": facts.regions.get(assignment.site),
            "clusters": assignment.clusters,
            "hub": assignment.hub,
            "host": assignment.host,
            **how_served(facts, assignment),
        }


def _unserved(facts: Facts) -> Iterable[Row]:
    """Yield one row for each reason of each site."""
    for site in facts.plan.unserved:
        for reason in site.reasons:
            yield {
                "site": site.site,
                "name": facts.names.get(site.site),
                "clusters": site.clusters,
                "current": site.current,
                "code": reason.code,
                "detail": reason.detail,
                "remedy": site.remedy,
            }


def _uncovered(facts: Facts) -> Iterable[Row]:
    """Yield one row for each reason of each site."""
    for site in facts.plan.uncovered:
        for reason in site.reasons:
            name = facts.names.get(site.site)
            yield {"site": site.site, "name": name, "code": reason.code, "detail": reason.detail}


def _no_host_needed(facts: Facts) -> Iterable[Row]:
    for site in facts.plan.no_host_needed:
        yield {"site": site.site, "name": facts.names.get(site.site), "why": site.why}


def _measure_first(facts: Facts) -> Iterable[Row]:
    for pair in facts.plan.measure_first:
        yield {name: getattr(pair, name) for name in _TABLES["measure_first"][0].split()}


def _findings(facts: Facts) -> Iterable[Row]:
    for finding in facts.plan.findings:
        yield {name: getattr(finding, name) for name in _TABLES["findings"][0].split()}


def _policy(facts: Facts) -> Iterable[Row]:
    for name, value in applied_policy(facts).items():
        yield {"setting": name, "value": setting_text(value)}


def _aims(facts: Facts) -> Iterable[Row]:
    for aim in facts.plan.aims:
        yield {"aim": aim.aim, "value": aim.value, "bound": aim.bound, "proven": "yes" if aim.proven else "no"}


_TABLES: dict[str, tuple[str, Callable[[Facts], Iterable[Row]]]] = {
    "hosts": ("host hub pool release clusters cap usable existing", _hosts),
    "assignments": (
        "site name region clusters hub host rtt_ms budget_ms margin_ms evidence standby standby_rtt_ms current action",
        _assignments,
    ),
    "unserved": ("site name clusters current code detail remedy", _unserved),
    "uncovered": ("site name code detail", _uncovered),
    "no_host_needed": ("site name why", _no_host_needed),
    "measure_first": (
        "rank site hub evidence rtt_ms budget_ms outcome together hosts unserved",
        _measure_first,
    ),
    "findings": ("severity code file where message hint", _findings),
    "policy": ("setting value", _policy),
    "aims": ("aim value bound proven", _aims),
}
