"""The road from raw tables to a Fleet: clean every sheet, tie the ids together, check, and only then stop or go on."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from planner.columns import CHANGES, CURRENT, HUBS, LATENCY, LINKS, POLICY, PRICES, SAMPLES, SHEETS, SITES, Sheet
from planner.errors import InputError
from planner.fleet import Fleet, Policy, Source
from planner.intake.changes import resolve_changes
from planner.intake.checks import CHECKS
from planner.intake.draft import Draft, check_unique, resolve_current, resolve_hubs_of_sites, resolve_links
from planner.intake.files import read_sheets
from planner.intake.findings import Findings, Place, show
from planner.intake.frames import table_of_frame, table_of_policy
from planner.intake.headers import sheet_of, similar_sheet, table_of
from planner.intake.latency import read_latency, read_samples
from planner.intake.pings import joined, read_pings
from planner.intake.policy import PolicyRead, read_policy
from planner.intake.rawtable import RawTable
from planner.intake.tables import TypedSheet, read_table


def read_fleet(path: str | Path, *, pings: str | Path | None = None) -> Fleet:
    """Return the fleet that a workbook (.xlsx, .xlsm, .ods) or a folder of .csv files describes.

    Sheets and columns are those of `planner.columns`, by name or alias, in any letter case and order. The fleet
    carries its findings, warnings and infos, and the name and SHA-256 of each file. Hidden rows and sheets are read;
    macros are not run and links to other files not followed. ``pings`` is a folder of saved ping output, one file
    SITE__HUB.txt for each pair; a folder ``pings`` beside the .csv files is read too. Their probes join the Samples.

    Raises InputError, with all findings, if any of them is an error: among others if the file cannot be read.
    """
    findings = Findings()
    path = Path(path).absolute()
    reading = read_sheets(path, lambda title: sheet_of(title) is not None, findings)
    if not reading.sheets and findings.any_error:
        raise InputError(findings.result())
    chosen = _chosen([Place(file, title) for file, title in reading.titles], findings)
    read = {(raw.file, raw.title): raw for raw in reading.sheets}
    tables = {
        sheet.name: table_of(read[place.file, place.sheet], sheet, findings)
        for sheet in SHEETS
        if (place := chosen.get(sheet.name)) is not None and (place.file, place.sheet) in read
    }
    _report_missing(chosen, Place(path.name), findings)
    return _fleet(_with_headers(tables), findings, tuple(reading.sources), _ping_folders(path, pings))


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
    return _fleet(raw, findings, ())


def _chosen(places: list[Place], findings: Findings) -> dict[str, Place]:
    """Return which of the sheets at ``places`` stands for each known one; unknown and repeated ones become findings."""
    known: dict[str, list[Place]] = {}
    for place in places:
        sheet = sheet_of(place.sheet)
        if sheet is not None:
            known.setdefault(sheet.name, []).append(place)
        else:
            meant = similar_sheet(place.sheet)
            findings.add("sheet_unknown", place, guess=f'Did you mean "{meant}"?' if meant else "")
    for name, several in known.items():
        if len(several) > 1:
            titles = " and ".join(show(place.sheet) for place in several)
            findings.add("sheet_repeated", several[1], titles=titles, sheet=name)
    return {name: several[0] for name, several in known.items()}


def _with_headers(tables: Mapping[str, RawTable]) -> dict[str, RawTable]:
    """Return the tables without those sheets, other than required ones, that are blank throughout."""
    return {name: table for name, table in tables.items() if table.headers or name in (SITES.name, HUBS.name)}


def _report_missing(chosen: Mapping[str, Place], place: Place, findings: Findings) -> None:
    for sheet in SHEETS:
        if sheet.required and sheet.name not in chosen:
            findings.add("sheet_missing", place, sheet=sheet.name, meaning=sheet.meaning)


def _ping_folders(path: Path, pings: str | Path | None) -> list[Path]:
    """Return the folders of ping output: the one beside the .csv files, and the one that was named."""
    beside = [path / "pings"] if (path / "pings").is_dir() else []
    named = [] if pings is None else [Path(pings).absolute()]
    return list({folder.resolve(): folder for folder in (*beside, *named)}.values())


def _fleet(
    tables: Mapping[str, RawTable], findings: Findings, sources: tuple[Source, ...], pings: Sequence[Path] = ()
) -> Fleet:
    sites, pools = (_required(sheet, tables, findings) for sheet in (SITES, HUBS))
    policy = read_policy(tables[POLICY.name], findings) if POLICY.name in tables else PolicyRead()
    if sites is not None and pools is not None:
        draft = Draft(findings, sites, pools, policy.dated())
        sources = (*sources, *_read_pings(draft, pings))
        fleet = _related(draft, tables)
        if not findings.any_error:
            return fleet.replace(findings=findings.result(), sources=sources)
    raise InputError(findings.result())


def _required(sheet: Sheet, tables: Mapping[str, RawTable], findings: Findings) -> TypedSheet | None:
    """Return a sheet that a fleet needs; None if it lacks what other sheets refer to, so that checks would mislead."""
    if sheet.name not in tables:
        return None
    read = read_table(tables[sheet.name], sheet, findings)
    if not len(tables[sheet.name].rows):
        findings.add("sheet_empty", read.raw.place(), meaning=sheet.meaning)
    required = {column.name for column in sheet.columns if column.required}
    return read if len(read.raw.rows) and required <= read.match.known.keys() else None


def _read_pings(draft: Draft, folders: Sequence[Path]) -> list[Source]:
    """Give the draft the probes of ``folders`` as samples; return the folders as sources."""
    sources = []
    for folder in folders:
        probes, source = read_pings(folder, draft.site_ids, draft.hub_ids, draft.findings)
        draft.samples = joined(draft.samples, probes)
        sources.append(source)
    return sources


def _related(draft: Draft, tables: Mapping[str, RawTable]) -> Fleet:
    """Read the sheets that refer to sites and hubs, and check all of them against each other."""
    findings = draft.findings
    check_unique(draft)
    resolve_hubs_of_sites(draft)
    if LATENCY.name in tables:
        draft.latency = read_latency(tables[LATENCY.name], draft.site_ids, draft.hub_ids, findings)
    if SAMPLES.name in tables:
        of_sheet = read_samples(tables[SAMPLES.name], draft.site_ids, draft.hub_ids, findings)
        draft.samples = joined(of_sheet, draft.samples)
    if LINKS.name in tables:
        draft.links = read_table(tables[LINKS.name], LINKS, findings)
        resolve_links(draft)
    if CURRENT.name in tables:
        draft.current = read_table(tables[CURRENT.name], CURRENT, findings)
        resolve_current(draft)
    if CHANGES.name in tables:
        draft.changes = read_table(tables[CHANGES.name], CHANGES, findings)
        resolve_changes(draft)
    if PRICES.name in tables:
        draft.prices = read_table(tables[PRICES.name], PRICES, findings)
    fleet = draft.fleet
    for check in CHECKS:
        check(draft, fleet)
    return fleet
