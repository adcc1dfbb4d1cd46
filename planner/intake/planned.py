"""Which rows are planned, and what a row of the sheet Sites stands for, where a mapping says so."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from planner.columns import Sheet
from planner.intake.findings import Findings, show
from planner.intake.matching import Match
from planner.intake.names import plain
from planner.intake.pinned_columns import pinned_position
from planner.intake.rawtable import RawTable, tidy
from planner.releases import parse_release

if TYPE_CHECKING:
    from planner.intake.tables import TypedSheet


def planned_rows(table: RawTable, sheet: Sheet, match: Match, findings: Findings) -> RawTable:
    """Return the table without the rows that the mapping leaves out by a value; their ids are remembered."""
    pins = table.pins
    if pins is None or not pins.leave_out:
        return table
    keep = np.ones(len(table.rows), dtype=np.bool_)
    for header, values in pins.leave_out.items():
        column = pinned_position(table, header)
        if column is None:
            findings.add("mapping_header", table.place(), column="leave_out", header=show(header), mapping=pins.file)
            continue
        wanted = {plain(value) for value in values}
        out = np.array([plain(str(value)) in wanted for value in table.columns[column].tolist()], dtype=np.bool_)
        for position in np.flatnonzero(out & keep).tolist():
            words = ", ".join(map(show, values))
            findings.note("rows_left_out", table.place(position), sheet.name, header=show(header), values=words)
        keep &= ~out
    ids = next((match.known[c.name] for c in sheet.columns if c.required and c.name in match.known), None)
    if ids is not None:
        left = table.columns[ids][~keep].tolist()
        findings.left_out |= {tidy(value) if isinstance(value, str) else show(value) for value in left}
    return table.only(keep) if not keep.all() else table


# What a row is, in words, by what a mapping says.
_KINDS = {"clusters": "cluster", "nodes": "node", "pairs": "pair of a site and a hub"}


def one_row_each(read: "TypedSheet", findings: Findings) -> "TypedSheet":
    """Return the sheet Sites with one row for each site, where the mapping says that a row is a part or a pair of it.

    Other columns are those of the first row; of releases the oldest counts, since all clusters need the floor.
    """
    pins = read.raw.pins
    if pins is None or pins.rows == "sites":
        return read
    ids = read.frame["site"].tolist()
    rows: dict[str, list[int]] = {}
    for position, site in enumerate(ids):
        rows.setdefault(site, []).append(position)
    counted = "clusters" not in read.match.known
    clusters = read.frame["clusters"].to_numpy(dtype=np.float64).copy()
    releases = read.frame["release"].tolist()
    for positions in rows.values():
        first = positions[0]
        if pins.rows == "nodes":
            clusters[first] = _clusters_of_nodes(read, positions, findings)
        elif pins.rows == "clusters":
            clusters[first] = len(positions) if counted else float(np.nansum(clusters[positions]))
        releases[first] = _oldest(read, positions, findings)
    frame = read.frame.assign(clusters=clusters, release=releases)
    findings.add("rows_joined", read.raw.place(), rows=len(ids), sites=len(rows), kind=_KINDS[pins.rows])
    keep = np.zeros(len(ids), dtype=np.bool_)
    keep[[positions[0] for positions in rows.values()]] = True
    return type(read)(read.sheet, read.raw, read.match, frame).only(keep)


def _clusters_of_nodes(read: "TypedSheet", positions: Sequence[int], findings: Findings) -> int:
    if len(positions) % 2:
        findings.note("nodes_odd", read.place(positions[0], "site"), "site")
    return max(1, len(positions) // 2)


def _oldest(read: "TypedSheet", positions: Sequence[int], findings: Findings) -> str:
    releases = read.frame["release"].tolist()
    stated = [releases[p] for p in positions if releases[p]]
    if len(set(stated)) > 1:
        findings.note("releases_differ", read.place(positions[0], "release"), "release")
    return min(stated, key=parse_release, default="")
