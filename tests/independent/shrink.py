"""Smaller tables that still show the same difference: rows, cells and settings are left out one by one."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tests.independent.tables import Tables

_NEEDED = {
    "Sites": {"site"},
    "Hubs": {"hub", "pool"},
    "Latency": {"site", "hub", "rtt_ms"},
    "Samples": {"site", "hub", "rtt_ms"},
    "Links": {"from", "to", "latency_ms", "km"},
    "Current": {"site", "hub"},
    "Prices": {"item"},
}


def shrink(tables: Tables, still: Callable[[Tables], bool]) -> Tables:
    """Return the tables after leaving out, as long as ``still`` holds, whatever can be left out."""
    while True:
        smaller = next((less for less in _smaller(tables) if still(less)), None)
        if smaller is None:
            return tables
        tables = smaller


def _smaller(tables: Tables) -> Iterator[Tables]:
    for name in ("Samples", "Links", "Current", "Prices"):
        if tables.rows(name):
            yield Tables({**tables.sheets, name: []}, tables.policy)
    for sheet, column, others in (
        ("Sites", "site", ("Latency", "Samples", "Current")),
        ("Hubs", "hub", ("Latency", "Samples", "Current")),
    ):
        for gone in dict.fromkeys(row[column] for row in tables.rows(sheet)):
            left = {name: [r for r in tables.rows(name) if r[column] != gone] for name in (sheet, *others)}
            yield Tables({**tables.sheets, **left}, tables.policy)
    for setting in tables.policy:
        if setting != "latency_budget_ms":
            yield Tables(tables.sheets, {k: v for k, v in tables.policy.items() if k != setting})
    for name, rows in tables.sheets.items():
        for at, row in enumerate(rows):
            yield Tables({**tables.sheets, name: [*rows[:at], *rows[at + 1 :]]}, tables.policy)
            for column in row.keys() - _NEEDED[name]:
                less = {k: v for k, v in row.items() if k != column}
                yield Tables({**tables.sheets, name: [*rows[:at], less, *rows[at + 1 :]]}, tables.policy)
