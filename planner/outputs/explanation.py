"""What each column of the fleet workbook means, for the first sheet of the template and the notes on headings."""

from __future__ import annotations

from collections.abc import Iterator

from planner import columns
from planner.columns import Column, Sheet
from planner.outputs import styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.validation import expected

SHEET = "How to fill in"

_FIELDS = (
    Field("sheet", least=10),
    Field("column", least=20),
    Field("needed", least=10),
    Field("meaning", least=40, most=75),
    Field("what to enter", least=24, most=34),
    Field("unit", least=12, most=18),
    Field("blank means", least=12, most=20),
    Field("example, not read", styles.SETTING, least=18),
    Field("also understood as", least=20, most=60),
)


def write_explanation(book: Book) -> None:
    """Add the sheet: one row for each sheet of the fleet workbook, and one for each of its columns and settings."""
    rows = list(_rows())
    page = write_table(book, SHEET, _FIELDS, rows)
    page.sheet_properties.tabColor = styles.BLUE
    area = f"C2:C{1 + len(rows)}"
    page.conditional_formatting.add(area, styles.when('LEFT($C2,3)="yes"', "note"))


def explain(column: Column) -> list[str]:
    """Return the lines of the note on a heading: meaning, what to enter, and what a blank means."""
    unit = f" ({column.unit})" if column.unit else ""
    example = f"Example: {column.example}" if column.example != "" else ""
    blank = "Required." if column.required else f"Blank: {blank_means(column)}"
    return [line for line in (f"{column.meaning}{unit}", f"Enter: {expected(column)}", blank, example) if line]


def blank_means(column: Column) -> str:
    """Return what a blank cell stands for."""
    if column.required:
        return "not allowed"
    if column.default is None:
        return "nothing is assumed"
    if column.default == "policy":
        return f"as in Policy: {column.name}"
    return f"{column.default:g}" if isinstance(column.default, float) else str(column.default)


def _rows() -> Iterator[tuple[Value, ...]]:
    for sheet in columns.SHEETS:
        needed = "yes" if sheet.required else "no"
        yield (sheet.name, "(the sheet)", needed, sheet.meaning, _advice(sheet), "", "", "", ", ".join(sheet.aliases))
        # Settings are the rows of their sheet, and of more interest than its two columns.
        for column in columns.SETTINGS if sheet is columns.POLICY else sheet.columns:
            yield _row(sheet, column)


def _advice(sheet: Sheet) -> str:
    if sheet is columns.LATENCY:
        return "a list of pairs as headed here; or a matrix: first column site, then one column for each hub id"
    if sheet is columns.POLICY:
        return "one setting in each row; delete what you leave at its default"
    return "headings in row 1 stay; delete columns that you do not need"


def _row(sheet: Sheet, column: Column) -> tuple[Value, ...]:
    # Only within a sheet that is used at all.
    needed = ("yes" if sheet.required else "yes, if used") if column.required else "no"
    return (
        sheet.name,
        column.name,
        needed,
        column.meaning,
        expected(column),
        column.unit,
        blank_means(column),
        column.example,
        ", ".join(column.aliases),
    )
