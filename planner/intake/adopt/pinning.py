"""What was guessed -> what a mapping file says of it."""

from collections.abc import Mapping, Sequence

from openpyxl.utils import get_column_letter

from planner.intake.adopt.columns import ColumnGuess
from planner.intake.adopt.entities import Table
from planner.intake.adopt.profile import Profile
from planner.intake.layout import SheetPins
from planner.intake.names import plain


def base_pins(table: Table, columns: Sequence[ColumnGuess], units: Mapping[str, str] | None = None) -> SheetPins:
    """Return what a mapping says of a table of which ``columns`` are known."""
    block = table.block
    return SheetPins(
        title=block.raw.title,
        also=tuple(b.raw.title for b in block.more),
        header_row=block.row + 1,
        header_rows=block.header_rows,
        columns={c.name: pinned_name(c.profile) for c in columns},
        units=units or {},
        only=True,
    )


def pinned_name(profile: Profile) -> str:
    """Return a column as a mapping names it: by its header where that is plain and its own, else by its letter."""
    names = [plain(name) for name in profile.block.names]
    header = profile.header
    once = names.count(plain(header)) == 1 and plain(header) and not header.startswith("=")
    return header if once and profile.block.header_rows == 1 else _letter(profile)


def _letter(profile: Profile) -> str:
    return f"={get_column_letter(profile.column + 1)}"
