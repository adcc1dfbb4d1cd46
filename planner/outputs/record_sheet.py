"""Hidden sheet Plan record: the whole plan as data, so that a workbook gives back what plan.json gives back.

Cells show 15 digits of a number and one line of a text, and proof, policy and findings are told in words. Column A
holds plan.json, compressed (zlib, RFC 1950) and in Base64 (RFC 4648), cut into cells that each begin with "z". What
people change on the other sheets counts: see `planner.outputs.shown`.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Iterable

from planner.outputs import headings
from planner.outputs.grid import Book
from planner.outputs.plan_json import plan_to_json
from planner.plan import Plan

_NOTE = "castingvote reads the plan back from this sheet. Please leave it as it is; change the other sheets instead."
_PIECE = 30_000  # characters; a cell holds 32,767
_MARK = "z"  # so that no piece looks like a number or a formula
_MOST_BYTES = 2**30


def write_record(book: Book, plan: Plan) -> None:
    """Add the sheet; nothing where the plan holds a number that JSON lacks."""
    try:
        text = plan_to_json(plan)
    except ValueError:
        return
    coded = base64.b64encode(zlib.compress(text.encode("ascii"), 9)).decode("ascii")
    sheet = book.new_sheet(headings.RECORD)
    pieces = (f"{_MARK}{coded[at : at + _PIECE]}" for at in range(0, len(coded), _PIECE))
    for piece in (_NOTE, *pieces):
        sheet.append([piece])
    sheet.sheet_state = "hidden"
    sheet.print_area = "Z1"  # LibreOffice prints hidden sheets too, but no empty cell


def from_record(cells: Iterable[object]) -> bytes:
    """Return the text of plan.json that column A holds; raises ValueError where the cells do not hold it whole."""
    pieces = [str(cell).strip() for cell in cells]
    coded = "".join(piece.removeprefix(_MARK) for piece in pieces if piece.startswith(_MARK))
    unpack = zlib.decompressobj()
    try:
        text = unpack.decompress(base64.b64decode(coded, validate=True), _MOST_BYTES)
    except (binascii.Error, zlib.error) as error:
        raise ValueError(str(error)) from error
    if not unpack.eof:
        raise ValueError("it is cut off, or too large")
    return text
