"""The sheet Changes: each row names one site, one pool or the policy, a column of it, and a value that it takes."""

from __future__ import annotations

import numpy as np

from planner.columns import HUBS, SETTINGS, SITES, Column
from planner.intake.cells import clean
from planner.intake.draft import Draft
from planner.intake.findings import Findings, Place, guess
from planner.intake.ids import KnownIds, resolve_column
from planner.intake.rawtable import Cells, RawTable
from planner.intake.tables import TypedSheet

_LASTING = frozenset({"site", "hub", "pool", "opens", "closes"})  # ids, and what has columns of its own


def changeable(site: str, pool: str) -> dict[str, Column]:
    """Return what a row of Changes may name: columns of Sites, of Hubs or, with neither site nor pool, settings."""
    if site or pool:
        return {c.name: c for c in (SITES if site else HUBS).columns if c.name not in _LASTING}
    return {c.name: c for c in SETTINGS}


def resolve_changes(draft: Draft) -> None:
    """Give sites and pools of Changes the ids they mean, and report rows that cannot be carried out."""
    read = draft.changes
    if read is None:
        return
    known = {"site": draft.site_ids, "pool": KnownIds.of(draft.pools.frame["pool"])}
    keep = np.ones(len(read.frame), dtype=np.bool_)
    for column, ids in known.items():
        found = resolve_column(read, column, ids, draft.findings, f"{'site' if column == 'site' else 'hub'}_unknown")
        written = read.frame[column].tolist()
        keep &= np.array([not text or at >= 0 for text, at in zip(written, found, strict=True)], dtype=np.bool_)
        read.frame[column] = [ids.ids[at] if at >= 0 else text for text, at in zip(written, found, strict=True)]
    draft.changes = read = read.only(keep)
    for position in range(len(read.frame)):
        _check_row(read, position, draft.findings)


def _check_row(read: TypedSheet, position: int, findings: Findings) -> None:
    row = read.frame.iloc[position]
    if row["date"] != row["date"] and not findings.is_wrong(read.place(position, "date")):
        findings.add("change_undated", read.place(position, "date"), "date")
    if row["site"] and row["pool"]:
        findings.add("change_of_two", read.place(position, "site"), "site")
        return
    columns = changeable(row["site"], row["pool"])
    if row["column"] not in columns:
        what = "setting" if not (row["site"] or row["pool"]) else f"column of {'Sites' if row['site'] else 'Hubs'}"
        words = {"value": f'"{row["column"]}"', "what": what, "guess": guess(row["column"], columns)}
        findings.add("change_column", read.place(position, "column"), "column", **words)
        return
    _check_value(columns[row["column"]], row["value"], read.place(position, "value"), findings)


def _check_value(column: Column, text: str, place: Place, findings: Findings) -> None:
    """Read the value as a cell of its column would be read, so that what is wrong is told at its place."""
    cells = np.array([text, None], dtype=object)[:1]
    table = RawTable(
        place.file, place.sheet, (column.name,), (cells,), np.array([place.row]), text_only=True, labels=(place.where,)
    )
    clean(Cells(column, table, 0, findings))
