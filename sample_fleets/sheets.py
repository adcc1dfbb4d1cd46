"""Rows -> a workbook with a plain, tidy look: bold header, frozen panes, fitted columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.properties import PageSetupProperties

from planner.outputs.atomic import replacing

_HEADER_FONT = Font(bold=True)
_HEADER_FILL = PatternFill("solid", fgColor="DDE8D8")
_WIDEST, _NARROWEST = 34, 8  # characters
_ROWS_MEASURED = 300  # enough to fit a column; measuring all would take longer than writing


class Shown(NamedTuple):
    """A cell value and the number format that it is shown with."""

    value: float
    number_format: str


Rows = Sequence[Sequence[Any]]


def write_workbook(path: Path, sheets: Mapping[str, Rows]) -> None:
    """Write ``sheets`` (name -> rows, the first one the header) to ``path``, whole or not at all.

    Raises InputError when the folder is missing or not writable.
    """
    with replacing(path) as unfinished:
        book = Workbook(write_only=True)
        for name, rows in sheets.items():
            _add_sheet(book, name, rows)
        book.save(unfinished)


def _add_sheet(book: Workbook, name: str, rows: Rows) -> None:
    sheet = book.create_sheet(name)
    sheet.freeze_panes = "B2"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0  # as many pages long as it takes
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    for position, column in enumerate(zip(*rows[:_ROWS_MEASURED], strict=True)):
        longest = max(len(_text(value)) for value in column)
        sheet.column_dimensions[get_column_letter(position + 1)].width = min(max(longest, _NARROWEST) + 2, _WIDEST)
    sheet.append([_header_cell(sheet, value) for value in rows[0]])
    for row in rows[1:]:
        sheet.append([_shown_cell(sheet, value) if isinstance(value, Shown) else value for value in row])


def _text(value: Any) -> str:
    return "" if value is None else str(value.value if isinstance(value, Shown) else value)


def _header_cell(sheet: Any, value: Any) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, value)
    cell.font, cell.fill = _HEADER_FONT, _HEADER_FILL
    return cell


def _shown_cell(sheet: Any, shown: Shown) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, shown.value)
    cell.number_format = shown.number_format
    return cell


def rows_of(table: pd.DataFrame) -> list[list[Any]]:
    """Return header and rows of ``table`` for `write_workbook`; NaN and ``""`` become blank cells."""
    columns = ([_plain(value) for value in table[name].tolist()] for name in table.columns)
    return [list(table.columns), *map(list, zip(*columns, strict=True))]


def matrix_of(latency: pd.DataFrame) -> list[list[Any]]:
    """Return a long ``latency`` table as a matrix: one row a site, one column a hub, blank where unknown.

    ``site`` and ``hub`` are categorical; their categories are the rows and columns.
    """
    sites, hubs = latency["site"].cat, latency["hub"].cat
    wide = np.full((len(sites.categories), len(hubs.categories)), None, dtype=object)
    wide[sites.codes, hubs.codes] = [_plain(value) for value in latency["rtt_ms"].tolist()]
    body = ([site, *row] for site, row in zip(sites.categories, wide.tolist(), strict=True))
    return [["site", *hubs.categories], *body]


def _plain(value: Any) -> Any:
    if value is None or value == "" or value != value:  # NaN is the one value unequal to itself
        return None
    return int(value) if isinstance(value, float) and value.is_integer() else value
