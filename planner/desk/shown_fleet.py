"""What the page shows of a fleet that was brought: columns with samples, questions, findings with remedies, knobs."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from openpyxl.utils import column_index_from_string

from planner.columns import LATENCY, SETTINGS, SHEETS, Column
from planner.counted_words import counted
from planner.desk.bringing import Brought
from planner.desk.choices import Found, cell_key
from planner.fleet import Finding, Fleet
from planner.intake.adopt import Question
from planner.intake.findings import show
from planner.intake.found import Group, grouped
from planner.intake.messages import REPAIRS
from planner.intake.rawtable import RawSheet, is_blank
from planner.outputs.list_sheets import setting_text

_MOST_COLUMNS, _SAMPLES, _MOST_CELLS, _MOST_SAME = 60, 3, 25, 5_000
_LONGEST = 40
_MEANT = re.compile(r'Did you mean "([^"]+)"\?|Rename it to "?([^" ]+)"? if that is meant')
_ADDRESS = re.compile(r"(?:'((?:[^']|'')*)'|([^'!]*))!(?:row )?([A-Z]{0,3})(\d+)")


def shown_fleet(brought: Brought) -> dict[str, Any]:
    """Return what the page shows of what was brought, as plain data."""
    fleet = brought.fleet
    groups = [_group(group, brought) for group in grouped(brought.inspection.findings)]
    return {
        "title": brought.title,
        "adopted": brought.adoption is not None,
        "tables": [_table(name, found, brought) for name, found in brought.found.items()],
        "questions": [] if brought.adoption is None else [_question(q, brought) for q in brought.adoption.questions],
        "findings": groups,
        "summary": _summary(fleet),
        "controls": None if fleet is None else controls(fleet),
    }


def _summary(fleet: Fleet | None) -> str:
    if fleet is None:
        return "No fleet yet: correct the errors below."
    return (
        f"{counted(len(fleet.site_ids), 'site')} with {counted(int(fleet.clusters.sum()), 'cluster')}, "
        f"{counted(len(fleet.hub_ids), 'hub')}, {counted(len(fleet.latency), 'measured pair')}, "
        f"{counted(int(fleet.current['site'].nunique()), 'site')} with a host today."
    )


def _table(name: str, found: Found, brought: Brought) -> dict[str, Any]:
    sheet = next(sheet for sheet in SHEETS if sheet.name == name)
    raw = next(raw for raw in brought.sheets if raw.title == found.title)
    matrix = name == LATENCY.name and "rtt_ms" not in found.columns.values()
    letters = [letter for letter in found.headers if not matrix or letter in found.columns]
    letters.sort(key=column_index_from_string)
    return {
        "sheet": name,
        "title": found.title,
        "matrix": matrix,
        "hubs": _of_hubs(found, brought) if matrix else [],
        "row": found.header_row,
        "more": max(0, len(letters) - _MOST_COLUMNS),
        "columns": [
            {
                "letter": letter,
                "header": found.headers[letter][:_LONGEST],
                "column": found.columns.get(letter, ""),
                "elsewhere": _elsewhere(name, found, letter, brought),
                "samples": list(_samples(raw, letter, found)),
            }
            for letter in letters[:_MOST_COLUMNS]
        ],
        "choices": [{"name": column.name, "meaning": column.meaning} for column in sheet.columns],
    }


def _elsewhere(name: str, found: Found, letter: str, brought: Brought) -> str:
    """Return what another sheet of the fleet takes the column for, where both stand in one table."""
    others = ((sheet, one) for sheet, one in brought.found.items() if sheet != name and one.title == found.title)
    uses = [f"{sheet} {one.columns[letter]}" for sheet, one in others if letter in one.columns]
    timed = name != LATENCY.name and found.headers[letter] in _of_hubs(found, brought)
    return ", ".join([*uses, *["Latency"] * timed])


def _of_hubs(found: Found, brought: Brought) -> list[str]:
    """Return the headers of the columns of times, a column for each hub, that stand beside others in one table."""
    pins = None if brought.adoption is None else brought.adoption.pins.get(LATENCY.name)
    return list(pins.hubs) if pins is not None and pins.title == found.title else []


def _samples(raw: RawSheet, letter: str, found: Found) -> Iterator[str]:
    at, seen = column_index_from_string(letter) - 1, set[str]()
    for row in raw.cells[found.header_row + found.header_rows - 1 :]:
        text = "" if at >= len(row) else _shown(row[at])
        if text and text not in seen:
            seen.add(text)
            yield text
        if len(seen) == _SAMPLES:
            return


def _shown(cell: Any) -> str:
    """Return a cell as people see it: whole numbers without a fraction."""
    return "" if is_blank(cell) else show(cell).strip('"')[:_LONGEST]


def _question(question: Question, brought: Brought) -> dict[str, Any]:
    choices = [{"key": c.key, "words": c.words, "samples": c.samples} for c in question.choices]
    return {
        "key": question.key,
        "words": question.words,
        "choices": choices,
        "free": question.free,
        "answer": brought.choices.answers.get(question.key),
    }


def _group(group: Group, brought: Brought) -> dict[str, Any]:
    first = group.first
    cells = [cell for finding in group.findings[:_MOST_CELLS] if (cell := _cell(finding, brought)) is not None]
    return {
        "severity": first.severity,
        "code": first.code,
        "words": group.words,
        "number": group.number,
        "repair": first.code in REPAIRS,
        "cells": cells,
    }


def _cell(finding: Finding, brought: Brought) -> dict[str, Any] | None:
    """Return the cell or row of a finding that can be corrected here: what is there, and what was probably meant."""
    match = _ADDRESS.fullmatch(finding.where)
    if match is None:
        return None
    title = (match[1] or match[2] or "").replace("''", "'")
    raw = next((one for one in brought.sheets if one.title == title and finding.file in ("", one.file)), None)
    if raw is None or not 1 <= int(match[4]) <= len(raw.cells):
        return None
    row, meant = raw.cells[int(match[4]) - 1], _MEANT.search(finding.hint)
    at = column_index_from_string(match[3]) - 1 if match[3] else -1
    value = row[at] if 0 <= at < len(row) else ""
    same = _same(raw, at, value) if meant and match[3] else []
    cell = f"{match[3]}{match[4]}"
    return {
        "cell": cell,
        "key": cell_key(raw.file, raw.title, cell) if match[3] else "",
        "row_key": cell_key(raw.file, raw.title, match[4]),
        "value": _shown(value),
        "meant": (meant[1] or meant[2]) if meant else "",
        "same": [cell_key(raw.file, raw.title, f"{match[3]}{number}") for number in same],
        "words": f"{finding.message} {finding.hint}".strip(),
    }


def _same(raw: RawSheet, at: int, value: Any) -> list[int]:
    """Return the rows whose cell in that column says the same: one remedy is meant for all of them."""
    rows = (number for number, row in enumerate(raw.cells, 1) if at < len(row) and row[at] == value)
    return list(rows)[:_MOST_SAME]


_ASKED = (
    *("cluster_cap", "reserve_percent", "latency_budget_ms", "release_floor", "cover", "objective"),
    *(
        "max_hosts_per_hub",
        "max_blast_radius",
        "third_location_km",
        "unknown_latency",
        "keep_served",
        "host_release_rule",
    ),
)


def controls(fleet: Fleet) -> dict[str, Any]:
    """Return what can be asked of ``fleet``: settings with the values in force, hubs, regions, places on a map."""
    known = {setting.name: setting for setting in SETTINGS}
    regions = sorted({str(region) for region in fleet.sites["region"] if region})
    return {
        "settings": [_setting(fleet, known[name]) for name in _ASKED],
        "hubs": _hubs(fleet),
        "regions": regions[:200],
        "own_caps": int(fleet.pools["cluster_cap"].notna().sum()),
        "own_budgets": int(fleet.sites["latency_budget_ms"].notna().sum()),
        "sites": len(fleet.site_ids),
        "today": int(fleet.current["site"].nunique()),
        "map": _map(fleet),
    }


def _setting(fleet: Fleet, setting: Column) -> dict[str, Any]:
    value = setting_text(getattr(fleet.policy, setting.name))
    return {
        "name": setting.name,
        "value": "" if value is None else str(value),
        "kind": setting.kind,
        "unit": setting.unit,
        "choices": list(setting.choices),
        "meaning": setting.meaning,
    }


def _hubs(fleet: Fleet) -> list[dict[str, Any]]:
    names = dict(zip(fleet.pools["hub"], fleet.pools["name"], strict=True))
    most = np.bincount(fleet.hub_of_pool, weights=fleet.max_hosts, minlength=len(fleet.hub_ids))
    today = np.bincount(fleet.hub_of_pool, weights=fleet.existing_hosts, minlength=len(fleet.hub_ids))
    return [
        {"hub": hub, "name": str(names.get(hub) or ""), "most": int(most[at]), "today": int(today[at])}
        for at, hub in enumerate(fleet.hub_ids)
    ]


def _map(fleet: Fleet) -> dict[str, Any]:
    """Return where sites and hubs are drawn, by position; null for who has no place."""
    from planner.outputs.report.places import lay_out
    from planner.plan import Plan

    layout = lay_out(fleet, Plan("feasible", "hosts", 0.0, 0.0, (), ()))
    return {
        "schematic": layout.schematic,
        "sites": _places([layout.sites.get(site) for site in fleet.site_ids]),
        "hubs": _places([layout.hubs.get(hub) for hub in fleet.hub_ids]),
    }


def _places(places: Sequence[tuple[float, float] | None]) -> dict[str, list[float | None]]:
    return {axis: [None if p is None else round(p[k], 1) for p in places] for k, axis in enumerate(("x", "y"))}
