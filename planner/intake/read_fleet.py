"""The road from raw tables to a Fleet: clean every sheet, tie the ids together, check, and only then stop or go on."""

import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pandas as pd

from planner.columns import (
    CHANGES,
    CURRENT,
    FREEZES,
    HUBS,
    LATENCY,
    LINKS,
    POLICY,
    PRICES,
    SAMPLES,
    SHEETS,
    SITES,
    Sheet,
)
from planner.errors import InputError
from planner.fleet import Finding, Fleet, Policy, Source
from planner.intake.changes import resolve_changes
from planner.intake.checks import CHECKS
from planner.intake.draft import (
    Draft,
    check_alike,
    check_unique,
    resolve_current,
    resolve_hubs_of_sites,
    resolve_links,
    resolve_neighbours,
)
from planner.intake.files import Reading, read_sheets
from planner.intake.findings import LISTED, Findings, Place, show
from planner.intake.frames import table_of_frame, table_of_policy
from planner.intake.headers import NO_IDS
from planner.intake.hint import hint_to_adopt, is_plan
from planner.intake.latency import read_latencies, read_samples
from planner.intake.layout import Pins, SheetLayout
from planner.intake.mapping import read_mapping
from planner.intake.names import sheet_of
from planner.intake.pairrows import joined
from planner.intake.planned import one_row_each
from planner.intake.policy import read_policy
from planner.intake.rawtable import RawTable
from planner.intake.sheets import SheetTables
from planner.intake.tables import TypedSheet, read_table
from planner.standing import with_standing_hosts


class Tables(Protocol):
    """Finds the tables of a sheet, given ids that may head further columns, and the names that go with ids.

    There are several where a mapping says so: each counts where those before it know nothing.
    """

    def __call__(  # noqa: D102
        self, sheet: Sheet, ids: Collection[str] = NO_IDS, names: Collection[str] = NO_IDS
    ) -> list[RawTable]: ...


@dataclass(frozen=True, slots=True)
class Inspection:
    """What came of reading a fleet: the fleet, None where an error forbids one, findings, and what was found where."""

    fleet: Fleet | None
    findings: tuple[Finding, ...]
    layout: tuple[SheetLayout, ...]


def read_fleet(path: str | Path, mapping: str | Path | None = None, *, pings: str | Path | None = None) -> Fleet:
    """Return the fleet that a workbook (.xlsx, .xlsm, .ods) or a folder of .csv files describes.

    Sheets and columns are those of `planner.columns`, by name, alias or likeness, in any letter case and order;
    ``mapping``, a TOML file, pins which is which. The fleet carries its findings, warnings and infos, and the name and
    SHA-256 of each file. Hidden rows and sheets are read; macros are not run and links to other files not followed.
    ``pings`` is a folder of saved ping output, one file SITE__HUB.txt for each pair; a folder ``pings`` beside the .csv
    files is read too. Their probes join the Samples.

    Raises InputError, with all findings, if any of them is an error: among others if the file cannot be read.
    """
    inspection = inspect_fleet(path, mapping, pings=pings)
    if inspection.fleet is None:
        raise InputError(inspection.findings)
    return inspection.fleet


def inspect_fleet(
    path: str | Path, mapping: str | Path | None = None, *, pings: str | Path | None = None, every: bool = False
) -> Inspection:
    """Return what reading a fleet gave, also where it gave no fleet; raises nothing for what is wrong with files.

    Of one kind of finding in one column some are listed and the rest counted; with ``every`` all are listed.
    """
    findings = Findings(sys.maxsize if every else LISTED)
    pins = {} if mapping is None else read_mapping(Path(mapping), findings)
    queries = {one.title or name: one.query for name, sheet in pins.items() for one in sheet.tables if one.query}
    return inspect_reading(read_sheets(path, lambda title: True, findings, queries), path, pins, findings, pings)


def inspect_reading(
    reading: Reading, path: str | Path, pins: Pins, findings: Findings, pings: str | Path | None = None
) -> Inspection:
    """Return what the sheets of ``reading`` make, read as ``pins`` say."""
    fleet = None
    if is_plan(reading.titles):
        findings.add("fleet_is_plan", Place(Path(path).name))
    elif reading.sheets or not findings.any_error:
        tables = SheetTables(reading, findings, pins)
        fleet = _fleet(tables, findings, tuple(reading.sources), _ping_folders(Path(path).absolute(), pings))
        tables.report_rest(reading.titles, Path(path).name)
        if fleet is None and not pins:
            hint_to_adopt(reading.sheets, str(path), tables.missing, findings)
    if findings.any_error:
        return Inspection(None, findings.result(), tuple(findings.layout))
    assert fleet is not None
    fleet = fleet.replace(findings=findings.result())
    return Inspection(fleet, fleet.findings, tuple(findings.layout))


def fleet_from_tables(tables: Mapping[str, pd.DataFrame], policy: Mapping[str, object] | Policy | None = None) -> Fleet:
    """Return the fleet that data frames describe, cleaned and checked as a workbook would be.

    ``tables`` has a frame for each sheet, under its name or alias; ``policy`` replaces a table ``Policy``. Findings
    name cells as `DataFrame.to_excel` would lay them out, with the header in row 1. NaN, NaT and None are blank.

    Raises InputError, with all findings, if any of them is an error.
    """
    findings = Findings()
    chosen = _chosen([Place(sheet=title) for title in tables], findings)
    _report_missing(chosen, Place(), findings)
    raw = {name: table_of_frame(place.sheet, tables[place.sheet]) for name, place in chosen.items()}
    if policy is not None:
        raw[POLICY.name] = table_of_policy(policy)
    fleet = _fleet(lambda sheet, ids=NO_IDS, names=NO_IDS: [raw[sheet.name]] if sheet.name in raw else [], findings, ())
    if fleet is None or findings.any_error:
        raise InputError(findings.result())
    return fleet.replace(findings=findings.result())


def _chosen(places: list[Place], findings: Findings) -> dict[str, Place]:
    """Return which of the sheets at ``places`` stands for each known one; unknown and repeated ones become findings."""
    known: dict[str, list[Place]] = {}
    for place in places:
        sheet = sheet_of(place.sheet)
        if sheet is not None:
            known.setdefault(sheet.name, []).append(place)
        else:
            findings.add("sheet_unknown", place, guess="")
    for name, several in known.items():
        if len(several) > 1:
            titles = " and ".join(show(place.sheet) for place in several)
            findings.add("sheet_repeated", several[1], titles=titles, sheet=name)
    return {name: several[0] for name, several in known.items()}


def _report_missing(chosen: Mapping[str, Place], place: Place, findings: Findings) -> None:
    for sheet in SHEETS:
        if sheet.required and sheet.name not in chosen:
            findings.add("sheet_missing", place, sheet=sheet.name, meaning=sheet.meaning)


def _ping_folders(path: Path, pings: str | Path | None) -> list[Path]:
    """Return the folders of ping output: the one beside the .csv files, and the one that was named."""
    beside = [path / "pings"] if (path / "pings").is_dir() else []
    named = [] if pings is None else [Path(pings).absolute()]
    return list({folder.resolve(): folder for folder in (*beside, *named)}.values())


def _fleet(tables: Tables, findings: Findings, sources: tuple[Source, ...], pings: Sequence[Path] = ()) -> Fleet | None:
    """Return the fleet as far as it can be read, which holds only if no finding is an error."""
    tables = _naming(tables, findings)
    sites, pools = (_required(sheet, tables, findings) for sheet in (SITES, HUBS))
    policy = read_policy(tables(POLICY), findings)
    if sites is None or pools is None:
        return None
    draft = Draft(findings, sites, pools, policy.dated())
    sources = (*sources, *_read_pings(draft, pings))
    return _related(draft, tables).replace(sources=sources)


def _naming(tables: Tables, findings: Findings) -> Tables:
    """Return ``tables`` such that findings call each sheet that was found by the user's own title."""

    def found(sheet: Sheet, ids: Collection[str] = NO_IDS, names: Collection[str] = NO_IDS) -> list[RawTable]:
        several = tables(sheet, ids, names)
        if several and several[0].title:
            findings.titles[sheet.name] = several[0].title
        return several

    return found


def _required(sheet: Sheet, tables: Tables, findings: Findings) -> TypedSheet | None:
    """Return a sheet that a fleet needs; None if it lacks what other sheets refer to, so that checks would mislead."""
    table = _first(tables(sheet))
    if table is None:
        return None
    read = read_table(table, sheet, findings)
    if sheet is SITES and len(read.frame):
        read = one_row_each(read, findings)
    if not len(table.rows):
        findings.add("sheet_empty", read.raw.place(), meaning=sheet.meaning)
    required = {column.name for column in sheet.columns if column.required}
    return read if len(read.raw.rows) and required <= read.match.known.keys() else None


def _first(tables: Sequence[RawTable]) -> RawTable | None:
    return tables[0] if tables else None


def _read_pings(draft: Draft, folders: Sequence[Path]) -> list[Source]:
    """Give the draft the probes of ``folders`` as samples; return the folders as sources."""
    sources = []
    for folder in folders:
        from planner.intake.pings import read_pings  # takes a while to load, and few fleets have such folders

        probes, source = read_pings(folder, draft.site_ids, draft.hub_ids, draft.findings)
        draft.samples = joined(draft.samples, probes)
        sources.append(source)
    return sources


def _related(draft: Draft, tables: Tables) -> Fleet:
    """Read the sheets that refer to sites and hubs, and check all of them against each other."""
    findings = draft.findings
    check_unique(draft)
    check_alike(draft)
    resolve_hubs_of_sites(draft)
    resolve_neighbours(draft)
    known = {"site": draft.site_ids.ids, "hub": draft.hub_ids.ids}
    times = tables(LATENCY, draft.hub_ids.at, draft.hub_ids.by_name)
    if times:
        draft.latency = read_latencies(times, draft.site_ids, draft.hub_ids, findings, draft.budgets_ms)
    if (table := _first(tables(SAMPLES))) is not None:
        draft.samples = joined(read_samples(table, draft.site_ids, draft.hub_ids, findings), draft.samples)
    if (table := _first(tables(LINKS))) is not None:
        draft.links = read_table(table, LINKS, findings)
        resolve_links(draft)
    if (table := _first(tables(CURRENT))) is not None:
        draft.current = read_table(table, CURRENT, findings, known)
        resolve_current(draft)
    if (table := _first(tables(FREEZES))) is not None:
        draft.freezes = read_table(table, FREEZES, findings)
    if (table := _first(tables(CHANGES))) is not None:
        draft.changes = read_table(table, CHANGES, findings)
        resolve_changes(draft)
    if (table := _first(tables(PRICES))) is not None:
        draft.prices = read_table(table, PRICES, findings)
    # A fleet with errors is not used, and may lack what counting needs.
    fleet = draft.fleet if findings.any_error else with_standing_hosts(draft.fleet)
    for check in CHECKS:
        check(draft, fleet)
    return fleet
