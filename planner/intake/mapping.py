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
"""

import json
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from planner.columns import Sheet
from planner.intake.findings import Findings, Place, closest
from planner.intake.layout import Pins, SheetLayout, SheetPins
from planner.intake.names import plain, sheet_of
from planner.intake.units import unit_named, way_named

_KINDS: Mapping[str, type[Any]] = {"sheet": str, "header_row": int, "header_rows": int, "ignore": list}
_TABLES = ("columns", "units")
_MOST_BYTES = 10_000_000


def read_mapping(path: Path, findings: Findings) -> Pins:
    """Return what the mapping file at ``path`` pins; what is wrong with it becomes findings."""
    place = Place(path.name)
    try:
        data = path.read_bytes() if path.stat().st_size <= _MOST_BYTES else b"\xff"
        document = tomllib.loads(data.decode("utf-8-sig"))
    except OSError as error:
        findings.add("mapping_broken", place, reason=error.strerror or type(error).__name__)
        return {}
    except (ValueError, RecursionError) as error:
        findings.add("mapping_broken", place, reason=f"it is no TOML: {error or type(error).__name__}")
        return {}
    pins: dict[str, SheetPins] = {}
    for title, entries in document.items():
        sheet = sheet_of(title)
        if sheet is None or not isinstance(entries, dict):
            findings.add("mapping_unknown", place, name=f"[{title}]", reason="it is no sheet of a fleet")
            continue
        pins[sheet.name] = _pins(sheet, entries, place, findings)
    return pins


def _pins(sheet: Sheet, entries: Mapping[str, Any], place: Place, findings: Findings) -> SheetPins:
    def refuse(name: str, reason: str) -> None:
        findings.add("mapping_unknown", place, name=f"[{sheet.name}] {name}", reason=reason)

    for name, value in entries.items():
        wanted: type[Any] | None = dict if name in _TABLES else _KINDS.get(name)
        if wanted is None:
            refuse(name, f"known are {', '.join([*_KINDS, *_TABLES])}")
        elif not isinstance(value, wanted) or (wanted is int and (isinstance(value, bool) or value < 1)):
            refuse(name, f"it must be {_in_words(wanted)}")
    tables: dict[str, dict[str, str]] = {}
    for name in _TABLES:
        given = entries.get(name, {})
        tables[name] = {}
        for column, text in given.items() if isinstance(given, dict) else ():
            known = next((c for c in sheet.names if plain(c) == plain(column)), None)
            if known is None:
                close = closest(plain(column), sheet.names)
                refuse(f"{name}.{column}", f"there is no such column{f'; did you mean {close}?' if close else ''}")
            elif not isinstance(text, str):
                refuse(f"{name}.{column}", "it must be text")
            elif name == "units" and not all(unit_named(word) or way_named(word) for word in _unit_words(text)):
                refuse(f"{name}.{column}", f'"{text}" is no unit such as ms, s or "ms one way"')
            else:
                tables[name][known] = text

    def given_as(name: str, kind: type, default: Any) -> Any:
        value = entries.get(name, default)
        return value if isinstance(value, kind) and not isinstance(value, bool) else default

    return SheetPins(
        file=place.file,
        title=given_as("sheet", str, ""),
        header_row=given_as("header_row", int, 0),
        header_rows=given_as("header_rows", int, 0),
        columns=tables["columns"],
        units=tables["units"],
        ignore=tuple(str(header) for header in given_as("ignore", list, [])),
    )


def _unit_words(text: str) -> list[str]:
    """Return the parts of a unit's text: a unit, a direction, or a unit before a direction."""
    first, _, rest = text.strip().partition(" ")
    return [text] if way_named(text) else [part for part in (first, rest) if part] or [text]


def _in_words(kind: type) -> str:
    return {str: "text", int: "a whole number above 0", list: "a list of headers", dict: "a table"}[kind]


def mapping_text(layout: Iterable[SheetLayout]) -> str:
    """Return the mapping file that pins what ``layout`` says was found.

    A column that was found by its letter alone, since its header is blank or repeated, is named by its letter.
    """
    lines = ["# Which sheet, header row and column is which; use it with --mapping. Letters are written as =C.", ""]
    for sheet in layout:
        lines += [f"[{sheet.sheet}]", f"sheet = {_quoted(sheet.title)}", f"header_row = {sheet.header_row}"]
        if sheet.header_rows > 1:
            lines.append(f"header_rows = {sheet.header_rows}")
        headers = [plain(m.header) for m in sheet.columns] + [plain(own) for own in sheet.own]
        lines += ["", f"[{sheet.sheet}.columns]"]
        for matched in sheet.columns:
            once = matched.header and not matched.header.startswith("=") and headers.count(plain(matched.header)) == 1
            lines.append(f"{matched.column} = {_quoted(matched.header if once else f'={matched.letter}')}")
        units = [m for m in sheet.columns if m.unit]
        if units:
            lines += ["", f"[{sheet.sheet}.units]", *(f"{m.column} = {_quoted(m.unit)}" for m in units)]
        if sheet.own:
            lines += ["", f"# Your own columns, which are handed through: {', '.join(map(_quoted, sheet.own))}"]
        lines.append("")
    return "\n".join(lines)


def _quoted(text: str) -> str:
    """Return ``text`` as a basic string of TOML, in one line."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
