"""The plan workbook against published limits of the file format and of contrast.

Sources: XlsxWriter's documentation for the format (sheet size, text, sheet names, dates); W3C, WCAG 2.2, success
criteria 1.4.3 and 1.4.11 for contrast; M. Okabe and K. Ito, Color Universal Design (2002, revised 2008) for colours;
OWASP, CSV Injection, and OWASP ASVS 5.0, requirement 1.2.10, for text that a program may take for a formula.
"""

import datetime as dt
import re
import zipfile

import openpyxl
import pandas as pd
import pytest

from planner import columns
from planner.errors import InputError
from planner.fleet import Fleet, typed_table
from planner.outputs import cellsafe, styles, write_template, write_workbook
from planner.outputs.grid import Book, Field, write_table
from planner.plan import Assignment, Host, Plan


def written(tmp_path, **own):
    """Write a plan for as many sites as the user's own columns have values; return its path."""
    number = len(next(iter(own.values())))
    ids = [f"s{n}" for n in range(number)]
    fleet = Fleet(
        typed_table(columns.SITES, {"site": ids, **own}), typed_table(columns.HUBS, {"hub": ["E"], "pool": ["E"]})
    )
    assignments = tuple(Assignment(site, "E-1", "E", 1, 5.0, 40.0, "measured") for site in ids)
    plan = Plan("optimal", "hosts", 1, 1, (Host("E-1", "E", "E", "8", number, 64, 64, True),), assignments)
    write_workbook(fleet, plan, tmp_path / "plan.xlsx")
    return tmp_path / "plan.xlsx"


# XL-1: sheet size.


def test_sheet_holds_1048576_rows_and_16384_columns():
    assert (cellsafe.MAX_ROWS, cellsafe.MAX_COLUMNS) == (1_048_576, 16_384)


def test_column_beyond_the_last_is_refused():
    """XL-4: openpyxl alone lets column 16,385 through."""
    with pytest.raises(InputError, match="16,385 columns do not fit"):
        write_table(Book(), "Wide", [Field(f"c{n}") for n in range(16_385)], [])


def test_row_beyond_the_last_is_refused(monkeypatch):
    monkeypatch.setattr(cellsafe, "MAX_ROWS", 4)  # a million real rows would take minutes
    write_table(Book(), "Just fits", [Field("a")], [("x",)] * 3)
    with pytest.raises(InputError, match="more than 3 rows do not fit"):
        write_table(Book(), "Tall", [Field("a")], [("x",)] * 4)


# XL-2: text in a cell.


@pytest.mark.parametrize(("length", "is_cut"), [(32_767, False), (32_768, True)])
def test_text_of_32767_characters_is_kept_and_one_more_is_cut_with_a_note(length, is_cut):
    safe = cellsafe.safe_text("x" * length)
    assert len(safe) == 32_767
    assert safe.endswith("[cut: 32,768 characters]") == is_cut


def test_limit_counts_utf_16_units():
    """Spreadsheet programs count an emoji as two (from memory, no source read)."""
    assert cellsafe.safe_text("🏪" * 16_383) == "🏪" * 16_383
    cut = cellsafe.safe_text("🏪" * 16_384)
    assert len(cut.encode("utf-16-le")) // 2 <= 32_767
    assert cut.endswith("[cut: 16,384 characters]")


# XL-3 and XL-4: sheet names.


@pytest.mark.parametrize(
    ("wanted", "name"),
    [
        ("a" * 32, "a" * 31),
        ("[a]:b*c?d/e\\f", "-a--b-c-d-e-f"),
        ("'quoted'", "quoted"),
        ("a" * 30 + "'b", "a" * 30),
        ("", "Sheet"),
        ("''", "Sheet"),
    ],
)
def test_sheet_name_that_would_be_refused_is_mended(wanted, name):
    assert cellsafe.sheet_name(wanted) == name


def test_sheet_names_differ_in_more_than_letter_case():
    name = cellsafe.sheet_name("A" * 40, ["a" * 31])
    assert name == "A" * 27 + " (2)"
    assert len(name) <= 31


def test_sheet_names_of_our_workbooks_need_no_mending(tmp_path):
    write_template(tmp_path / "fleet.xlsx")
    for path in (written(tmp_path, owner=["x"]), tmp_path / "fleet.xlsx"):
        names = openpyxl.load_workbook(path).sheetnames
        assert [cellsafe.sheet_name(name) for name in names] == names


# XL-5: serial dates of the 1900 system.


def test_dates_are_stored_as_the_published_serial_numbers(tmp_path):
    days = [dt.datetime(2013, 1, 1, 12), dt.datetime(1900, 3, 1), dt.datetime(1900, 2, 28)]
    path = written(tmp_path, seen=pd.Series(days, dtype=object))
    with zipfile.ZipFile(path) as archive:
        xml = archive.read("xl/worksheets/sheet4.xml").decode()
    heads = {cell.value: cell.column_letter for cell in openpyxl.load_workbook(path)["Assignments"][1]}
    cells = dict(re.findall(rf'<c r="{heads["seen"]}(\d)"[^>]*>(.*?)</c>', xml))
    assert cells["2"] == "<v>41275.5</v>"
    assert cells["3"] == "<v>61</v>"
    assert "1900-02-28" in cells["4"]  # as text: programs disagree about days before March 1900


# CSV-3: the union of both lists of first characters, here in cells instead of CSV.


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\0"])
def test_text_that_begins_like_a_formula_is_stored_as_text(tmp_path, start):
    path = written(tmp_path, owner=[f"{start}1+2"], note=[f"{start}SUM(A1)"])
    with zipfile.ZipFile(path) as archive:
        xml = archive.read("xl/worksheets/sheet4.xml").decode()
    assert "<f>" not in xml
    sheet = openpyxl.load_workbook(path)["Assignments"]
    (note,) = [cell for cell in sheet[2] if isinstance(cell.value, str) and cell.value.endswith("SUM(A1)")]
    assert note.data_type == "s"


# UI-1 to UI-4: contrast and colours.


def contrast(one, other):
    """Contrast ratio as WCAG 2.2 defines it; colours as RRGGBB."""

    def luminance(colour):
        channels = [int(colour[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize(
    ("colour", "ratio"),
    [("000000", 21), ("767676", 4.5422), ("777777", 4.4781), ("0000FF", 8.5925), ("FF0000", 3.9985)],
)
def test_contrast_formula_gives_the_known_ratios(colour, ratio):
    """UI-2, derived values."""
    assert contrast(colour, "FFFFFF") == pytest.approx(ratio, abs=5e-5)


def test_colours_are_those_of_okabe_and_ito():
    found = (
        styles.BLACK,
        styles.ORANGE,
        styles.SKY_BLUE,
        styles.BLUISH_GREEN,
        styles.YELLOW,
        styles.BLUE,
        styles.VERMILLION,
    )
    assert found == ("000000", "E69F00", "56B4E9", "009E73", "F0E442", "0072B2", "D55E00")


def rgb(colour):
    return colour.rgb[-6:] if colour is not None and isinstance(colour.rgb, str) else None


def test_all_text_on_its_fill_reaches_4_5_to_1(tmp_path):
    write_template(tmp_path / "fleet.xlsx")
    for path in (written(tmp_path, owner=["x"], own=["y"]), tmp_path / "fleet.xlsx"):
        for sheet in openpyxl.load_workbook(path):
            for row in sheet.iter_rows():
                for cell in row:
                    if cell.value is not None:
                        back = rgb(cell.fill.start_color) if cell.fill.fill_type == "solid" else "FFFFFF"
                        assert contrast(rgb(cell.font.color) or "000000", back) >= 4.5, (sheet.title, cell.coordinate)


@pytest.mark.parametrize("colour", [*styles.PALE.values(), styles.BAR])
def test_black_on_every_conditional_fill_reaches_4_5_to_1(colour):
    assert contrast("000000", colour) >= 4.5


def test_bar_stands_out_from_the_page():
    """WCAG 2.2, 1.4.11: 3 to 1 for what is not text."""
    assert contrast(styles.BAR, "FFFFFF") >= 3


def test_colour_is_never_the_only_cue(tmp_path):
    """UI-4: every conditional fill depends on a word in the very cell that it fills."""
    for sheet in openpyxl.load_workbook(written(tmp_path, owner=["x"])):
        for area in sheet.conditional_formatting:
            letter = str(area.sqref).split(":")[0].rstrip("0123456789")
            for rule in area.rules:
                if rule.type != "dataBar":  # a bar repeats the number that stands on it
                    assert re.search(rf'\${letter}2\b.*="[a-z ]+"', rule.formula[0])
