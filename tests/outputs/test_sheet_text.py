"""Rows written as text: the same file as openpyxl makes of the same cells, and what readers find in it."""

import datetime as dt
import re
import sys
import zipfile
from io import BytesIO

import openpyxl
from hypothesis import example, given, settings
from hypothesis import strategies as st
from openpyxl.cell.cell import Cell

from planner.outputs import cellsafe, styles
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.sheet_text import Formula, Styled

LOOKS = (styles.TEXT, styles.COUNT, styles.MS, styles.ANY, styles.DATE, styles.MOMENT)
texts = st.text(st.characters(), max_size=12) | st.sampled_from(
    [
        "",
        " ",
        " blanks ",
        "=1+1",
        "+49",
        "-",
        "@x",
        "#N/A",
        "a\nb",
        "a\r\nb",
        "_x0041_",
        "<&>\"'",
        "0042",
        "\x00",
        "\ufffe",
    ]
)
numbers = st.integers(-(2**53), 2**53) | st.floats() | st.booleans()
moments = st.datetimes(dt.datetime(1900, 3, 1), dt.datetime(9999, 1, 1)) | st.dates(dt.date(1900, 3, 1)) | st.times()
values = [*[st.none() | texts | numbers | moments] * 4, *[st.none() | texts | moments] * 2]
tables = st.lists(st.tuples(*values), min_size=1, max_size=30)


def part(book):
    with zipfile.ZipFile(BytesIO(book)) as archive:
        return archive.read("xl/worksheets/sheet1.xml").decode()


def looks_of(book, sheet):
    """What each cell shows and how, as openpyxl reads it back."""
    read = openpyxl.load_workbook(BytesIO(book))[sheet]
    return [
        (cell.coordinate, cell.value, cell.data_type, cell.style, cell.number_format, bool(cell.quotePrefix))
        for row in read.iter_rows()
        for cell in row
    ]


def by_openpyxl(rows):
    book = Book()
    sheet = book.new_sheet("Rows")
    for row in [("heading",) * len(LOOKS), *rows]:
        cells = []
        for value, look in zip(row, LOOKS, strict=True):
            of_text = isinstance(value, str) and value and look == styles.ANY
            cell = Cell(sheet, 1, 1, style_array=book.looks[styles.TEXT if of_text else look])
            cellsafe.put(cell, value)
            cells.append(cell)
        sheet.append(cells)
    return book.to_bytes()


def as_text(rows):
    book = Book()
    sheet = book.new_sheet("Rows")
    book.append(sheet, [("heading",) * len(LOOKS)], LOOKS)
    body = book.append(sheet, rows, LOOKS)
    assert body.last == 1 + len(rows)
    return book.to_bytes()


@settings(max_examples=10, deadline=None)
@given(tables)
@example([(sys.float_info.max, -sys.float_info.max, None, None, None, None)])
def test_rows_are_those_that_openpyxl_writes(rows):
    ours, theirs = as_text(rows), by_openpyxl(rows)
    # The numbers of styles are given in the order in which they are first used.
    without = [re.sub(r' s="\d+"', "", part(book)) for book in (ours, theirs)]
    assert without[0] == without[1]
    assert looks_of(ours, "Rows") == looks_of(theirs, "Rows")


def test_rows_below_a_table_are_as_tall_as_their_text_and_belong_to_it():
    book = Book()
    rows = [("a\nb\nc", 1), ("x", Styled("two", styles.TEXT)), ("y", Formula("=1+1", "2"))]
    write_table(book, "Rows", [Field("text"), Field("number", styles.COUNT)], rows)
    read = openpyxl.load_workbook(BytesIO(book.to_bytes()))["Rows"]
    assert [[cell.value for cell in row] for row in read.iter_rows()] == [
        ["text", "number"],
        ["a\nb\nc", 1],
        ["x", "two"],
        ["y", "=1+1"],
    ]
    assert read.dimensions == read.tables["Rows"].ref == "A1:B4"
    assert [column.name for column in read.tables["Rows"].tableColumns] == ["text", "number"]
    assert read.row_dimensions[2].height == styles.row_height(3)
    assert read.row_dimensions[3].height is None
    assert read["B3"].style == styles.TEXT
    stored = openpyxl.load_workbook(BytesIO(book.to_bytes()), data_only=True)["Rows"]
    assert stored["B4"].value == "2"
