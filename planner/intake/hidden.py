"""What of an .xlsx sheet is hidden: rows, columns, the sheet itself. All of it is read, and said so."""

import posixpath
import re
import zipfile
from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import Path

from defusedxml.ElementTree import fromstring

from planner.intake.layout import Hidden
from planner.intake.rawtable import MOST_COLUMNS, MOST_ROWS

_HIDDEN = rb"""\shidden\s*=\s*["'](?:1|true)["']"""
_ELEMENT = re.compile(rb"<(?:\w+:)?(row|col)\s([^>]*)>")
_NUMBER = re.compile(rb"""\b(r|min|max)\s*=\s*["'](\d{1,7})["']""")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"


def hidden_parts(data: bytes) -> Hidden:
    """Return the hidden rows and columns of a sheet, given its XML."""
    rows: list[int] = []
    columns: list[int] = []
    for kind, attributes in _ELEMENT.findall(data):
        if b"hidden" not in attributes or not re.search(_HIDDEN, b" " + attributes):
            continue
        numbers = {name: int(number) for name, number in _NUMBER.findall(attributes)}
        if kind == b"row" and 0 < numbers.get(b"r", 0) <= MOST_ROWS:
            rows.append(numbers[b"r"])
        elif kind == b"col" and 0 < numbers.get(b"min", 0) <= numbers.get(b"max", 0) < MOST_COLUMNS:
            columns += range(numbers[b"min"], numbers[b"max"] + 1)
    return Hidden(tuple(rows), tuple(columns))


def hidden_by_title(
    titles: Mapping[str, str], parts: Mapping[str, Hidden], unseen: Collection[str]
) -> dict[str, Hidden]:
    """Return what is hidden by the title of the sheet; ``titles`` are those of parts, ``unseen`` of hidden sheets."""
    found = {title: parts[name] for name, title in titles.items() if name in parts}
    for title in unseen:
        found[title] = replace(found.get(title, Hidden()), sheet=True)
    return found


def titles_of_parts(path: Path) -> dict[str, str]:
    """Return the title of the sheet that each part of the archive holds."""
    with zipfile.ZipFile(path) as archive:
        names = {name.casefold(): name for name in archive.namelist()}
        if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names.keys():
            return {}
        workbook, relations = (
            fromstring(archive.read(names[name])) for name in ("xl/workbook.xml", "xl/_rels/workbook.xml.rels")
        )
    targets = {one.get("Id"): posixpath.join("/xl", one.get("Target", "")).lstrip("/") for one in relations}
    return {
        targets.get(element.get(_RELATION) or element.get(_STRICT), ""): element.get("name", "")
        for element in workbook.iter()
        if element.tag.endswith("}sheet")
    }
