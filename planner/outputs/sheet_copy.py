"""A sheet of one workbook copied into another: cells, looks, lists to choose from, and how it is printed."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.workbook import Workbook
from openpyxl.worksheet.table import Table
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs.cellsafe import MAX_SHEET_NAME


def cells_of(sheet: Worksheet) -> Iterator[Cell | MergedCell]:
    """Yield the cells that a sheet has, row by row.

    Its rows would make one for each address: a word that somebody typed in the last row of all makes them millions.
    """
    held = sheet._cells
    for address in sorted(held):
        yield held[address]


def copied_sheet(book: Workbook, sheet: Worksheet) -> Worksheet:
    """Add a copy of ``sheet`` to ``book`` and return it. Pictures, charts and comments are left out."""
    mine: Worksheet = book.create_sheet(sheet.title[:MAX_SHEET_NAME])
    mine.sheet_state = sheet.sheet_state
    for area in sheet.merged_cells.ranges:
        mine.merge_cells(area.coord)
    for cell in cells_of(sheet):
        if cell.has_style or cell.value is not None:
            copy_cell(mine, cell)
    _copy_sizes(mine, sheet)
    _copy_view(mine, sheet)
    _copy_page(mine, sheet)
    _copy_lists(mine, sheet)
    return mine


def copy_cell(mine: Worksheet, cell: Cell | MergedCell) -> None:
    """Put value and look of a cell at its address in ``mine``; inside a merged range only the first cell has both."""
    target = mine[cell.coordinate]
    if not isinstance(target, Cell) or not isinstance(cell, Cell):
        return
    target.value = cell.value
    target.data_type = cell.data_type
    target.hyperlink = copy.copy(cell.hyperlink)
    copy_looks(target, cell)


def copy_looks(target: Cell, source: Cell) -> None:
    """Give a cell the looks of another."""
    target.number_format = source.number_format
    for look in ("font", "fill", "border", "alignment", "protection"):
        setattr(target, look, copy.copy(getattr(source, look)))


def _copy_sizes(mine: Worksheet, sheet: Worksheet) -> None:
    for letter, column in sheet.column_dimensions.items():
        mine.column_dimensions[letter].width = column.width
        mine.column_dimensions[letter].hidden = column.hidden
        mine.column_dimensions[letter].min, mine.column_dimensions[letter].max = column.min, column.max
    for number, row in sheet.row_dimensions.items():
        mine.row_dimensions[number].height = row.height
        mine.row_dimensions[number].hidden = row.hidden


def _copy_view(mine: Worksheet, sheet: Worksheet) -> None:
    mine.freeze_panes = sheet.freeze_panes
    mine.sheet_view.showGridLines = sheet.sheet_view.showGridLines
    mine.sheet_view.zoomScale = sheet.sheet_view.zoomScale
    mine.sheet_properties.tabColor = copy.copy(sheet.sheet_properties.tabColor)


def _copy_page(mine: Worksheet, sheet: Worksheet) -> None:
    for part in ("page_margins", "print_options"):
        setattr(mine, part, copy.copy(getattr(sheet, part)))
    for name in ("orientation", "paperSize", "fitToWidth", "fitToHeight", "scale"):
        setattr(mine.page_setup, name, getattr(sheet.page_setup, name))
    mine.sheet_properties.pageSetUpPr = copy.copy(sheet.sheet_properties.pageSetUpPr)
    for edge in ("oddHeader", "oddFooter"):
        for side in ("left", "center", "right"):
            text = getattr(getattr(sheet, edge), side).text
            getattr(getattr(mine, edge), side).text = text
    if sheet.print_title_rows:
        mine.print_title_rows = sheet.print_title_rows
    if sheet.print_area:
        mine.print_area = sheet.print_area
    for each in sheet.row_breaks.brk:
        mine.row_breaks.append(copy.copy(each))


def _copy_lists(mine: Worksheet, sheet: Worksheet) -> None:
    """Copy tables, lists to choose from and conditional looks."""
    assert mine.parent is not None
    taken = {name for other in mine.parent.worksheets for name in other.tables}
    for table in sheet.tables.values():
        if table.displayName not in taken:
            style = copy.copy(table.tableStyleInfo)
            mine.add_table(Table(displayName=table.displayName, ref=table.ref, tableStyleInfo=style))
    if sheet.auto_filter.ref:
        mine.auto_filter.ref = sheet.auto_filter.ref
    for validation in sheet.data_validations.dataValidation:
        mine.add_data_validation(copy.copy(validation))
    for area in sheet.conditional_formatting:
        for rule in area.rules:
            mine.conditional_formatting.add(str(area.sqref), copy.copy(rule))


def sheet_of(book: Workbook, title: str) -> Worksheet | None:
    """Return the sheet with a title, letter case and blanks around it aside; None where there is none."""
    return next((s for s in book.worksheets if s.title.strip().casefold() == title.strip().casefold()), None)


def single_cell(sheet: Worksheet, address: str) -> Any:
    """Return a cell that can be written: where it is the covered part of merged cells, these are parted."""
    if isinstance(sheet[address], MergedCell):
        for area in [area for area in sheet.merged_cells.ranges if address in area]:
            sheet.unmerge_cells(area.coord)
    return sheet[address]
