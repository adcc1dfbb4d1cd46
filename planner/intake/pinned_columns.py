"""Columns and units where a mapping says what they are."""

from openpyxl.utils import get_column_letter

from planner.columns import Column
from planner.intake.headers import header_text
from planner.intake.names import plain
from planner.intake.rawtable import RawTable
from planner.intake.units import Stated, unit_named, way_named


def pinned_position(table: RawTable, header: str) -> int | None:
    """Return the position, from 0, of the column that a mapping names by its header or letter; None if not just one."""
    letter = header[1:].upper() if header.startswith("=") else ""
    names = [plain(header_text(name)) for name in table.headers]
    at = [
        p for p, name in enumerate(names) if (get_column_letter(p + 1) == letter if letter else name == plain(header))
    ]
    return at[0] if len(at) == 1 else None


def stated_by_pins(table: RawTable, column: Column) -> Stated | None:
    """Return the unit and direction that a mapping states of a column; None where it says nothing of it."""
    return None if table.pins is None else stated_as(table.pins.units.get(column.name, ""), column)


def stated_as(text: str, column: Column) -> Stated | None:
    """Return the unit and direction that a text of a mapping states, if ``column`` can be stated so; else None."""
    words = text.split(" ", 1)
    stated = Stated(unit_named(words[0]), way_named(words[1] if len(words) > 1 else words[0])) if text else None
    return stated if stated is not None and stated.fits(column) else None
