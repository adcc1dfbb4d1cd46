"""What was matched with what, kept for those who ask, and told where it changes what is read."""

from planner.columns import POLICY, SHEETS, Column, Sheet
from planner.intake.findings import Findings, show
from planner.intake.headers import header_text
from planner.intake.layout import Matched, SheetLayout
from planner.intake.names import plain
from planner.intake.rawtable import RawTable
from planner.intake.units import Stated, unit_of, way_of


def report_unit(table: RawTable, position: int, column: Column, stated: Stated, findings: Findings) -> None:
    """Make a finding of what the unit and direction that a header states do to the values."""
    wanted, place = unit_of(column), table.header_place(position)
    words = {"header": show(header_text(table.headers[position])), "stated": str(stated)}
    if stated.unit is not None and wanted is not None and stated.unit.size != wanted.size:
        factor = f"{stated.unit.size / wanted.size:.10g}"
        code = "unit_bytes" if "B" in stated.unit.sign else "unit_converted"
        findings.add(code, place, column.name, unit=stated.unit.sign, wanted=wanted.sign, factor=factor, **words)
    if stated.way and stated.way != way_of(column):
        code = "way_doubled" if stated.way == "one way" else "way_halved"
        findings.add(code, place, column.name, **words)


def record_layout(
    table: RawTable, sheet: Sheet, columns: tuple[Matched, ...], own: tuple[str, ...], findings: Findings
) -> None:
    """Keep where a sheet and its columns were found, with a finding for headers that are not the columns' own names."""
    if sheet not in SHEETS:
        return
    first = table.header_row - table.header_rows + 1
    layout = SheetLayout(sheet.name, table.file, table.title, first, table.header_rows, columns, own)
    findings.layout.append(layout)
    other = [f"{show(m.header)} = {m.column}" for m in columns if plain(m.header) != m.column]
    if other and sheet is not POLICY and not (table.pins is not None and table.pins.only):
        findings.add("columns_matched", table.place(), row=table.header_row, columns=", ".join(other))
