"""Small workbooks made by code: a sound fleet of three sites and two hubs, and ways to write and to spoil it."""

import csv
import datetime as dt
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import openpyxl
import pytest
from openpyxl.cell.cell import ERROR_CODES

from planner.errors import InputError
from planner.intake import read_fleet

_ODS_NAMESPACES = " ".join(
    f'xmlns:{short}="{uri}"'
    for short, uri in {
        **{
            short: f"urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"
            for short in ("office", "table", "text", "style")
        },
        "number": "urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0",
        "calcext": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
    }.items()
)


def sound_rows():
    """Rows of a fleet without a finding; numbers as a spreadsheet holds them, releases and ids as text."""
    return {
        "Sites": [
            ["site", "name", "region", "latitude", "longitude", "release", "latency_budget_ms"],
            ["0001", "Alder Street", "North", 54.9, -1.6, "8.2", 40],
            ["0002", "Birch Lane", "North", 54.5, -1.2, "8.10", 40],
            ["0003", "Cedar Road", "South", 51.4, -0.3, "8.2", 40],
        ],
        "Hubs": [
            ["hub", "max_hosts", "existing_hosts", "host_release", "host_cost"],
            ["ESK", 4, 1, "8.10", 1200],
            ["ROV", 4, 1, "8.10", 1200],
        ],
        "Latency": [["site", "ESK", "ROV"], ["0001", 12.5, 31], ["0002", 14, 29.5], ["0003", 33, 8.25]],
        "Policy": [["setting", "value"], ["cluster_cap", 64], ["reserve_percent", 10]],
    }


def write_xlsx(path, sheets):
    """Write rows to a workbook; a pair (value, number format) is a formatted cell."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for i, row in enumerate(rows, 1):
            for j, value in enumerate(row, 1):
                value, number_format = value if isinstance(value, tuple) else (value, None)
                if value is None:
                    continue
                cell = sheet.cell(i, j, value)
                if number_format:
                    cell.number_format = number_format
                if value in ERROR_CODES:
                    cell.data_type = "e"
    book.save(path)
    return path


def write_csv(folder, sheets, separator=",", encoding="utf-8"):
    folder.mkdir(exist_ok=True)
    for title, rows in sheets.items():
        with (folder / f"{title}.csv").open("w", newline="", encoding=encoding) as file:
            csv.writer(file, delimiter=separator).writerows([["" if v is None else v for v in row] for row in rows])
    return folder


def _ods_cell(value):
    if value is None:
        return "<table:table-cell/>"
    if isinstance(value, str) and value.startswith("<"):
        return value
    if isinstance(value, bool):
        kind, text = f'boolean" office:boolean-value="{str(value).lower()}', str(value).upper()
    elif isinstance(value, int | float):
        kind, text = f'float" office:value="{value}', str(value)
    elif isinstance(value, dt.date):
        kind, text = f'date" office:date-value="{value.isoformat()}', value.strftime("%d/%m/%y")
    else:
        kind, text = "string", value
    return f'<table:table-cell office:value-type="{kind}"><text:p>{escape(text)}</text:p></table:table-cell>'


def write_ods(path, sheets, styles=""):
    """Write rows to a minimal .ods; a text that starts with ``<`` is a cell's own XML."""
    tables = "".join(
        f"<table:table table:name={quoteattr(title)}>"
        + "".join(
            f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" if isinstance(row, list) else row
            for row in rows
        )
        + "</table:table>"
        for title, rows in sheets.items()
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {_ODS_NAMESPACES}>'
        f"<office:automatic-styles>{styles}</office:automatic-styles>"
        f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr("content.xml", content)
    return path


class Outcome:
    """What reading gave: a fleet or not, and in either case the findings."""

    def __init__(self, read, *arguments, **words):
        self.fleet = None
        try:
            self.fleet = read(*arguments, **words)
            self.findings = self.fleet.findings
        except InputError as error:
            self.findings = error.findings
            assert any(f.severity == "error" for f in self.findings)

    def __repr__(self):
        return "\n".join(f"{f.severity} {f.code} {f}" for f in self.findings) or "no findings"

    @property
    def codes(self):
        return {finding.code for finding in self.findings}

    def of(self, code):
        return [finding for finding in self.findings if finding.code == code]

    def only(self, code):
        """The one finding of a code."""
        (finding,) = self.of(code)
        return finding


@pytest.fixture
def rows():
    return sound_rows()


@pytest.fixture
def read(tmp_path):
    """Write rows as a workbook, .xlsx unless told otherwise, read it, and return the `Outcome`."""

    def write_and_read(sheets, kind="xlsx", **options):
        if kind == "csv":
            return Outcome(read_fleet, write_csv(tmp_path / "fleet", sheets, **options))
        write = write_ods if kind == "ods" else write_xlsx
        return Outcome(read_fleet, write(tmp_path / f"fleet.{kind}", sheets, **options))

    return write_and_read


@pytest.fixture
def outcome():
    return Outcome


@pytest.fixture(scope="session")
def sound_fleet():
    return sound_rows


@pytest.fixture(scope="session")
def writers():
    return {"xlsx": write_xlsx, "csv": write_csv, "ods": write_ods}


@pytest.fixture
def fleet_path(tmp_path, rows) -> Path:
    return write_xlsx(tmp_path / "fleet.xlsx", rows)
