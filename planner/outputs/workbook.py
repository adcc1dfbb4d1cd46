"""The plan workbook: its sheets in order, written whole or not at all."""

from __future__ import annotations

import datetime as dt
import os
from typing import TYPE_CHECKING

from openpyxl.workbook.properties import CalcProperties

from planner.fleet import Fleet
from planner.outputs import plan_sentences
from planner.outputs.approval_sheet import write_approval
from planner.outputs.assignments_sheet import write_assignments
from planner.outputs.atomic import write_bytes
from planner.outputs.availability_sheets import write_availability
from planner.outputs.charts_sheet import write_charts
from planner.outputs.drill_sheets import write_drills, write_radii
from planner.outputs.facts import Facts
from planner.outputs.grid import Book
from planner.outputs.hosts_sheet import write_hosts
from planner.outputs.list_sheets import (
    write_findings,
    write_no_host_needed,
    write_policy,
    write_standbys,
    write_unserved,
)
from planner.outputs.measure_sheet import write_measure_first
from planner.outputs.readiness_sheet import add_readiness
from planner.outputs.record_sheet import write_record
from planner.outputs.summary_sheet import write_summary
from planner.plan import Plan

if TYPE_CHECKING:
    from planner.readiness import Readiness
    from planner.resilience import Availability, DrillReport


def write_workbook(
    fleet: Fleet,
    plan: Plan,
    path: str | os.PathLike[str],
    *,
    readiness: Readiness | None = None,
    drills: DrillReport | None = None,
    availability: Availability | None = None,
    written_at: dt.datetime | None = None,
) -> None:
    """Write ``plan`` as an .xlsx workbook for the people who carry it out; an old file at ``path`` is replaced.

    Sheets: Summary, Charts (where there are hosts), Hosts, Assignments, Unserved, Standby (where the policy asks for
    cover), with ``drills`` (see `planner.drill`) Drills and Blast radius, No host needed, with ``readiness`` (see
    `planner.audit`) Readiness and Readiness overview, Measure first (where there is anything to measure), with an
    ``availability`` (see `planner.availability`) that computed something Availability and Availability by site, then
    Findings, Policy, Approval (for those who sign), and hidden the record of the plan, from which `read_plan` takes
    what the other sheets do not show.
    Names, regions, current hosts and the user's own columns come from ``fleet``. Data cells are values; only the
    column "live check" of Hosts holds formulas, with their results beside them for readers that do not calculate.
    ``written_at`` is the moment printed on the Summary, in UTC; now by default. `read_plan` reads the file back.

    Raises InputError when the file cannot be written or the plan does not fit on a sheet.
    """
    written_at = (written_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(tzinfo=None)
    facts = Facts(fleet, plan, readiness.for_plan(plan) if readiness else None, drills)
    book = Book()
    write_summary(book, facts, written_at)
    if plan.host_list:
        write_charts(book, facts)
    write_hosts(book, facts)
    write_assignments(book, facts)
    write_unserved(book, facts)
    if plan_sentences.asks_for_cover(plan):
        write_standbys(book, facts)
    if drills is not None:
        write_drills(book, drills)
        write_radii(book, drills)
    write_no_host_needed(book, facts)
    if facts.readiness is not None:
        add_readiness(book, fleet, facts.readiness)
    if plan.measure_first:
        write_measure_first(book, facts)
    if availability is not None and availability.sites:
        write_availability(book, availability)
    write_findings(book, facts)
    write_policy(book, facts)
    write_approval(book, plan)
    write_record(book, plan)
    workbook = book.workbook
    workbook.properties.title = "Tie-breaker plan"
    workbook.properties.creator = f"castingvote {plan.version}".strip()
    workbook.properties.created = workbook.properties.modified = written_at
    workbook.calculation = CalcProperties(fullCalcOnLoad=True)
    write_bytes(path, book.to_bytes())
