"""Plan workbook -> Plan, also when it was edited by hand or saved by another program.

Cells are read by the same code as those of a fleet, so ids, numbers and headings may be written in the same ways.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planner.columns import Column, Sheet
from planner.fleet import Bools, Finding
from planner.intake.cells import clean
from planner.intake.files import read_sheets
from planner.intake.findings import Findings, Place
from planner.intake.headers import table_of
from planner.intake.names import plain
from planner.intake.rawtable import Cells, RawSheet, RawTable, is_blank
from planner.intake.tables import read_table
from planner.outputs import headings, plan_sheets
from planner.outputs.read_json import OLD_STATUS, plan_from_json
from planner.outputs.record_sheet import from_record
from planner.outputs.shown import reasons_in, record_unreadable, with_record
from planner.plan import Assignment, Host, NoHostNeeded, Plan, Uncovered, Unserved

Row = Mapping[Hashable, Any]

_TABLES = (
    plan_sheets.HOSTS,
    plan_sheets.ASSIGNMENTS,
    plan_sheets.UNSERVED,
    plan_sheets.STANDBYS,
    plan_sheets.NO_HOST_NEEDED,
)
_WANTED = {plain(name) for name in (headings.SUMMARY, headings.RECORD, *(sheet.name for sheet in _TABLES))}


def plan_from_workbook(path: Path) -> tuple[Plan | None, list[Finding]]:
    """Return the plan that a workbook holds and what is wrong with it; no plan where it cannot be told.

    Claims, hosts, assignments, standbys, unserved sites and sites without need are read from their sheets, all else
    from the record of the plan (see `planner.outputs.record_sheet`); it stays blank where a workbook has none. The
    order of rows, sheets and columns does not matter, nor do further columns.
    """
    findings = Findings()
    sheets = read_sheets(path, lambda title: plain(title) in _WANTED, findings).sheets
    by_title = {plain(sheet.title): sheet for sheet in sheets}
    plan = None if findings.any_error else _plan(by_title, path.name, findings)
    errors = [finding for finding in findings.result() if finding.severity == "error"]
    raw = by_title.get(plain(headings.RECORD))
    if plan is None or raw is None:
        return plan, errors
    record, damaged = _record(raw, path.name)
    standbys = plain(headings.STANDBYS) in by_title
    return plan if record is None else with_record(plan, record, standbys=standbys), [*errors, *damaged]


def _record(raw: RawSheet, file: str) -> tuple[Plan | None, list[Finding]]:
    """Return the plan of the record, or why there is none."""
    try:
        plan, found = plan_from_json(from_record(row[0] for row in raw.cells[1:] if len(row)), file)
    except ValueError as error:
        return None, [record_unreadable(file, str(error))]
    return (None, [record_unreadable(file, found[0].message.rstrip("."))]) if found else (plan, [])


def _plan(sheets: Mapping[str, RawSheet], file: str, findings: Findings) -> Plan | None:
    claims = _claims(sheets.get(plain(headings.SUMMARY)), file, findings)
    *others, spared = (
        _rows(sheets.get(plain(sheet.name)), sheet, file, findings)
        for sheet in (plan_sheets.HOSTS, plan_sheets.UNSERVED, plan_sheets.STANDBYS, plan_sheets.NO_HOST_NEEDED)
    )
    hosts, unserved, standbys = others
    leaving = {str(row[headings.SITE]) for row in spared}
    raw_assignments = sheets.get(plain(headings.ASSIGNMENTS))
    assignments = _rows(raw_assignments, plan_sheets.ASSIGNMENTS, file, findings, leaving)
    if findings.any_error:
        return None
    to_standby = {(row[headings.SITE], row[headings.STANDBY]): float(row[headings.STANDBY_RTT]) for row in standbys}
    reasons = {row[headings.SITE]: row[headings.REASONS] for row in standbys if row[headings.REASONS]}
    return Plan(
        status=claims[headings.STATUS],
        objective=claims[headings.OBJECTIVE],
        objective_value=float(claims[headings.OBJECTIVE_VALUE]),
        lower_bound=float(claims[headings.LOWER_BOUND]),
        host_list=tuple(map(_host, hosts)),
        assignments=tuple(_assignment(row, to_standby) for row in assignments),
        unserved=tuple(map(_unserved, unserved)),
        uncovered=tuple(Uncovered(site, tuple(reasons_in(text))) for site, text in reasons.items()),
        no_host_needed=tuple(NoHostNeeded(row[headings.SITE], row[headings.WHY]) for row in spared),
    )


def _claims(raw: RawSheet | None, file: str, findings: Findings) -> dict[str, Any]:
    """Return the labelled cells of the sheet Summary: the label in column A, its value beside it."""
    if raw is None:
        findings.add(
            "sheet_missing",
            Place(file),
            sheet=headings.SUMMARY,
            meaning="it says what the plan claims: status, objective, lower bound",
        )
        return {}
    claims = {}
    labels = {plain(row[0]): number for number, row in reversed(list(enumerate(raw.cells))) if len(row) > 1}
    for claim in plan_sheets.CLAIMS:
        number = labels.get(plain(claim.name))
        if number is None:
            meaning = f"{claim.meaning}; the label in column A, the value in column B"
            findings.add("column_missing", Place(file, raw.title), column=claim.name, meaning=meaning)
            continue
        # A table of one row, so that the cell is read and reported like any other.
        label, value = raw.cells[number][:2]
        value = "feasible" if claim.name == headings.STATUS and value == OLD_STATUS else value
        columns = tuple(np.array([cell], dtype=object) for cell in (label, value))
        table = RawTable(file, raw.title, ("", ""), columns, np.array([number + 1]), looks=raw.looks)
        claims[claim.name] = clean(Cells(claim, table, 1, findings))[0]
        _report_blank(claims[claim.name], claim, table.place(0, 1), findings)
    return claims


def _rows(
    raw: RawSheet | None, sheet: Sheet, file: str, findings: Findings, leaving: Collection[str] = ()
) -> list[Row]:
    """Return the rows of a table by heading, blank where the table lacks a column that may be missing.

    Rows of sites that are ``leaving`` (see `leaving_rows`) are left out.
    """
    if raw is None:
        if sheet.required:
            findings.add("sheet_missing", Place(file), sheet=sheet.name, meaning=sheet.meaning)
        return []
    table = table_of(raw, sheet, findings)
    typed = read_table(table.only(~leaving_rows(table, leaving)), sheet, findings)
    for column in sheet.columns:
        if column.required and column.name in typed.match.known:
            for position, value in enumerate(typed.frame[column.name].tolist()):
                _report_blank(value, column, typed.place(position, column.name), findings)
    return list(typed.frame.to_dict("records"))


def leaving_rows(table: RawTable, spared: Collection[str]) -> Bools:
    """Return which rows of ``table`` name no host and a site of ``spared``, the sites that need none.

    These leave their host for a tie-breaker of their own. The plan has no such rows; `progress` adds them where a
    rollout workbook says what became of these sites.
    """
    heads = [plain(head) for head in table.headers]
    if not spared or not {headings.SITE, headings.HOST} <= set(heads):
        return np.zeros(len(table.rows), dtype=np.bool_)
    sites, hosts = (table.columns[heads.index(name)] for name in (headings.SITE, headings.HOST))
    rows = zip(sites, hosts, strict=True)
    return np.array([is_blank(host) and str(site).strip() in spared for site, host in rows], dtype=np.bool_)


def _report_blank(value: Any, column: Column, place: Place, findings: Findings) -> None:
    """Make a finding of a blank (NaN among numbers) unless what stood in the cell has been reported already."""
    if (value == "" or value != value) and not findings.is_wrong(place):
        findings.add("required_blank", place, column.name)


def _host(row: Row) -> Host:
    return Host(
        host=row[headings.HOST],
        hub=row[headings.HUB],
        pool=row[headings.POOL],
        release=row[headings.RELEASE],
        clusters=int(row[headings.CLUSTERS]),
        cap=int(row[headings.CAP]),
        usable=int(row[headings.USABLE]),
        existing=row[headings.ORIGIN] == headings.EXISTING,
    )


def _assignment(row: Row, to_standby: Mapping[tuple[str, str], float]) -> Assignment:
    action, standby = row[headings.ACTION], row[headings.STANDBY] or None
    rtt_ms = to_standby.get((row[headings.SITE], row[headings.STANDBY]), math.nan)
    return Assignment(
        site=row[headings.SITE],
        host=row[headings.HOST],
        hub=row[headings.HUB],
        clusters=int(row[headings.CLUSTERS]),
        rtt_ms=float(row[headings.RTT]),
        budget_ms=float(row[headings.BUDGET]),
        evidence=row[headings.EVIDENCE],
        standby=standby,
        standby_rtt_ms=None if standby is None or math.isnan(rtt_ms) else rtt_ms,
        # The workbook names the current host of those that keep it as well.
        moved_from=(row[headings.CURRENT_HOST] or None) if action == "move" else None,
        action=action,
        measured_at=None if pd.isna(row[headings.MEASURED_AT]) else row[headings.MEASURED_AT].isoformat(),
        rtt_low_ms=_or_none(row[headings.RTT_LOW]),
        rtt_high_ms=_or_none(row[headings.RTT_HIGH]),
    )


def _or_none(number: float) -> float | None:
    return None if math.isnan(number) else float(number)


def _unserved(row: Row) -> Unserved:
    reasons = tuple(reasons_in(row[headings.REASONS]))
    current = row[headings.CURRENT_HOST] or None
    return Unserved(row[headings.SITE], int(row[headings.CLUSTERS]), reasons, row[headings.REMEDY], current)
