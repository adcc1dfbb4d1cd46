"""Intake against published facts about CSV and spreadsheet files; the source stands beside each."""

import datetime as dt
from pathlib import Path

import openpyxl
import pytest

from planner.intake import read_fleet
from planner.intake.csvfolder import read_csv
from planner.intake.findings import Findings, Place
from planner.intake.rawtable import MOST_COLUMNS, MOST_ROWS


@pytest.mark.parametrize(
    ("written", "records"),
    [
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx\r\n', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
        ("aaa, b ,ccc", [["aaa", " b ", "ccc"]]),
    ],
)
def test_csv_as_in_rfc_4180(written, records):
    """RFC 4180, section 2, items 4 to 7 (CSV-1, CSV-2)."""
    raw = read_csv(Path("Sites.csv"), written.encode(), Findings())
    assert raw is not None
    assert [list(row) for row in raw.cells] == records


def test_the_last_cell_of_a_sheet():
    """1,048,576 rows and 16,384 columns, XFD1048576: XlsxWriter's documentation (XL-1)."""
    assert Place(row=MOST_ROWS, column=MOST_COLUMNS).cell == "XFD1048576"


@pytest.mark.parametrize(
    ("serial", "moment"),
    [
        (41275.5, dt.datetime(2013, 1, 1, 12)),  # XlsxWriter's documentation, Working with dates (XL-5)
        (41275, dt.datetime(2013, 1, 1)),
    ],
)
def test_serial_dates(tmp_path, serial, moment):
    book = openpyxl.Workbook()
    sites, hubs, samples = book.active, book.create_sheet("Hubs"), book.create_sheet("Samples")
    sites.title = "Sites"
    for sheet, rows in (
        (sites, [["site", "latency_budget_ms"], ["s", 40]]),
        (hubs, [["hub"], ["h"]]),
        (samples, [["site", "hub", "at", "rtt_ms"], ["s", "h", serial, 5]]),
    ):
        for row in rows:
            sheet.append(row)
    samples["C2"].number_format = "yyyy-mm-dd hh:mm"
    book.save(tmp_path / "fleet.xlsx")
    assert read_fleet(tmp_path / "fleet.xlsx").samples["at"][0] == moment
