"""Mapping files in TOML: which sheet, header row, column and unit is which, so that nothing has to be found.

::

    [Sites]
    sheet = "Store list"
    header_row = 3
    ignore = ["Remarks"]

    [Sites.columns]
    site = "Store ID"
    latency_budget_ms = "=F"      # the column F, whatever its header

    [Sites.units]
    latency_budget_ms = "s"

    [Hubs]
    listed = ["Leeds", "York"]    # where no sheet has them; a sheet Hubs counts instead

    [Sites.leave_out]
    Status = ["closed"]           # rows that are not read

    [[Latency]]                   # several tables: the first counts where both know a pair
    sheet = "Measured again"

    [Policy.settings]
    cluster_cap = "Most clusters on a host"   # a label on the sheet

    [Policy.given]
    latency_budget_ms = "40"      # what no sheet says
"""

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from planner.columns import POLICY, SETTINGS, Sheet
from planner.intake.findings import Findings, Place, closest
from planner.intake.layout import Pins, SheetPins
from planner.intake.names import plain, sheet_of
from planner.intake.units import unit_named, way_named

_KINDS: Mapping[str, type[Any]] = {
    "sheet": str,
    "header_row": int,
    "header_rows": int,
    "ignore": list,
    "also": list,
    "only": bool,
    "hubs_down": bool,
    "hubs": list,
    "listed": list,
    "rows": str,
    "dates": str,
    "labels": str,
    "values": str,
    "query": str,
    "unit_column": str,
}
_WORDS = {"rows": ("sites", "clusters", "nodes", "pairs"), "dates": ("day first", "month first")}
_TABLES = ("columns", "units", "leave_out", "settings", "given")
_MOST_BYTES = 10_000_000
ADOPTED = "adopted"  # a table of the mapping that says what was answered, and for which headers


def read_mapping(path: Path, findings: Findings) -> Pins:
    """Return what the mapping file at ``path`` pins; what is wrong with it becomes findings."""
    place = Place(path.name)
    document = read_toml(path, findings)
    pins: dict[str, SheetPins] = {}
    for title, entries in document.items():
        if title == ADOPTED and isinstance(entries, dict):
            continue
        sheet = sheet_of(title)
        several = entries if isinstance(entries, list) else [entries]
        if sheet is None or not several or not all(isinstance(one, dict) for one in several):
            findings.add("mapping_unknown", place, name=f"[{title}]", reason="it is no sheet of a fleet")
            continue
        first, *others = [_pins(sheet, one, place, findings) for one in several]
        pins[sheet.name] = replace(first, others=tuple(others))
    return pins


def read_toml(path: Path, findings: Findings) -> Mapping[str, Any]:
    """Return the tables of a mapping file; none, with a finding, where it cannot be read."""
    place = Place(path.name)
    try:
        data = path.read_bytes() if path.stat().st_size <= _MOST_BYTES else b"\xff"
        return tomllib.loads(data.decode("utf-8-sig"))
    except OSError as error:
        findings.add("mapping_broken", place, reason=error.strerror or type(error).__name__)
    except (ValueError, RecursionError) as error:
        findings.add("mapping_broken", place, reason=f"it is no TOML: {error or type(error).__name__}")
    return {}


def _pins(sheet: Sheet, entries: Mapping[str, Any], place: Place, findings: Findings) -> SheetPins:
    reading = _Reading(sheet, entries, place, findings)
    reading.check()
    return SheetPins(
        file=place.file,
        title=reading.value("sheet", ""),
        header_row=reading.value("header_row", 0),
        header_rows=reading.value("header_rows", 0),
        columns=reading.texts("columns"),
        units=reading.texts("units"),
        ignore=reading.listed("ignore"),
        also=reading.listed("also"),
        only=reading.value("only", False),
        hubs_down=reading.value("hubs_down", False),
        hubs=reading.listed("hubs"),
        listed=reading.listed("listed"),
        rows=reading.value("rows", "sites"),
        dates=reading.value("dates", ""),
        leave_out=reading.left_out(),
        settings=reading.texts("settings"),
        labels=reading.value("labels", ""),
        values=reading.value("values", ""),
        given=reading.texts("given"),
        query=reading.value("query", ""),
        unit_column=reading.value("unit_column", ""),
    )


class _Reading:
    """One table of a mapping file while it is being read; what is wrong becomes findings."""

    def __init__(self, sheet: Sheet, entries: Mapping[str, Any], place: Place, findings: Findings) -> None:
        self.sheet, self.entries, self.place, self.findings = sheet, entries, place, findings
        settings = tuple(column.name for column in SETTINGS)
        self.names = {"columns": sheet.names, "units": sheet.names, "settings": settings, "given": settings}
        if sheet is POLICY:
            self.names["units"] = (*sheet.names, *settings)

    def refuse(self, name: str, reason: str) -> None:
        self.findings.add("mapping_unknown", self.place, name=f"[{self.sheet.name}] {name}", reason=reason)

    def check(self) -> None:
        """Report entries of unknown names, of a wrong kind, or that are none of the words that may stand there."""
        for name, value in self.entries.items():
            wanted: type[Any] | None = dict if name in _TABLES else _KINDS.get(name)
            if wanted is None:
                self.refuse(name, f"known are {', '.join([*_KINDS, *_TABLES])}")
            elif not _is(value, wanted):
                self.refuse(name, f"it must be {_in_words(wanted)}")
            elif name in _WORDS and value not in _WORDS[name]:
                self.refuse(name, f"it must be one of {', '.join(_WORDS[name])}")

    def value(self, name: str, default: Any) -> Any:
        value = self.entries.get(name, default)
        fits = _is(value, _KINDS[name]) and (name not in _WORDS or value in _WORDS[name])
        return value if fits else default

    def listed(self, name: str) -> tuple[str, ...]:
        return tuple(map(str, self.value(name, [])))

    def left_out(self) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        given = self.entries.get("leave_out", {})
        for header, values in given.items() if isinstance(given, dict) else ():
            if isinstance(values, list):
                found[header] = tuple(map(str, values))
            else:
                self.refuse(f"leave_out.{header}", "it must be a list of values")
        return found

    def texts(self, table: str) -> Mapping[str, str]:
        found: dict[str, str] = {}
        given = self.entries.get(table, {})
        names = self.names[table]
        for name, text in given.items() if isinstance(given, dict) else ():
            known = next((one for one in names if plain(one) == plain(name)), None)
            if table == "given" and isinstance(text, int | float) and not isinstance(text, bool):
                text = str(text)
            if known is None:
                close = closest(plain(name), names)
                self.refuse(f"{table}.{name}", f"there is no such column{f'; did you mean {close}?' if close else ''}")
            elif not isinstance(text, str):
                self.refuse(f"{table}.{name}", "it must be text")
            elif table == "units" and not all(unit_named(word) or way_named(word) for word in _unit_words(text)):
                self.refuse(f"{table}.{name}", f'"{text}" is no unit such as ms, s or "ms one way"')
            else:
                found[known] = text
        return found


def _is(value: Any, kind: type[Any]) -> bool:
    if kind is int:
        return isinstance(value, int) and not isinstance(value, bool) and value >= 1
    return isinstance(value, kind)


def _unit_words(text: str) -> list[str]:
    """Return the parts of a unit's text: a unit, a direction, or a unit before a direction."""
    first, _, rest = text.strip().partition(" ")
    return [text] if way_named(text) else [part for part in (first, rest) if part] or [text]


def _in_words(kind: type) -> str:
    return {
        str: "text",
        int: "a whole number above 0",
        list: "a list of headers",
        dict: "a table",
        bool: "true or false",
    }[kind]
