"""A folder of .csv files named after the sheets. Every cell is text, so 8.10 and 0042 arrive as they were typed.

Quoting as in RFC 4180; the separator (comma, semicolon, tab or bar) is the one that splits the lines most evenly. Rows
are counted as a spreadsheet program shows them: a line break within quotes does not begin a new one.
"""

import csv
import io
import re
from collections import Counter
from itertools import islice
from pathlib import Path

from planner.intake.findings import Findings, Place
from planner.intake.rawtable import MOST_CELLS, MOST_COLUMNS, RawSheet

_SEPARATORS = ",;\t|"
_SAMPLE_CHARACTERS, _SAMPLE_ROWS = 100_000, 30
_LONGEST_FIELD = 1_000_000
_SAMPLE_BYTES, _MOSTLY = 10_000, 0.7
_BYTE_ORDER_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}


def csv_files(folder: Path) -> list[Path]:
    """Return the .csv files of a folder, in order of their names."""
    return sorted(p for p in folder.iterdir() if p.suffix.lower() == ".csv" and p.is_file() and p.name[0] != ".")


def read_csv(path: Path, data: bytes, findings: Findings) -> RawSheet | None:
    """Return the cells of a CSV file with content ``data``; None, with a finding, if it cannot be read."""
    text = _decoded(data, Place(path.name), findings)
    if text is None:
        return None
    rows, cells = [], 0
    usual_limit = csv.field_size_limit(_LONGEST_FIELD)
    try:
        separator, text = _separator(text)
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        for row in reader:
            rows.append(row)
            cells += len(row)
            if len(row) > MOST_COLUMNS:
                findings.add("file_too_big", Place(path.name), reason=f"line {reader.line_num} has {len(row):,} cells")
                return None
            if cells > MOST_CELLS:
                findings.add("file_too_big", Place(path.name), reason=f"it has more than {MOST_CELLS} cells")
                return None
    except csv.Error as error:
        findings.add("csv_broken", Place(path.name), reason=f"{error}, in line {reader.line_num}")
        return None
    finally:
        csv.field_size_limit(usual_limit)
    return RawSheet(path.name, path.stem, rows, text_only=True)


def _decoded(data: bytes, place: Place, findings: Findings) -> str | None:
    encoding = next((name for mark, name in _BYTE_ORDER_MARKS.items() if data.startswith(mark)), "utf-8")
    if encoding == "utf-8" and b"\0" in data[:_SAMPLE_BYTES]:
        encoding = _unmarked(data[:_SAMPLE_BYTES])
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as unicode_error:
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            findings.add("csv_undecodable", place, line=line, byte=data[error.start])
            return None
        if encoding != "utf-8":
            findings.add(
                "csv_broken", place, reason=f"it says that it is {encoding}, but it is not: {unicode_error.reason}"
            )
            return None
        findings.add("csv_encoding", place)
    if "\0" in text:
        findings.add("csv_broken", place, reason="it holds null characters, so it is no text")
        return None
    return text


def _unmarked(start: bytes) -> str:
    """Return which UTF-16 text without a mark is: of Latin letters and digits every other byte is nought."""
    noughts = [start[parity::2].count(0) / max(len(start[parity::2]), 1) for parity in (0, 1)]
    if max(noughts) > _MOSTLY and min(noughts) < 1 - _MOSTLY:
        return "utf-16-be" if noughts[0] > noughts[1] else "utf-16-le"
    return "utf-8"


def _separator(text: str) -> tuple[str, str]:
    """Return the separator and the text below a line that states it (``sep=;``), if there is one.

    Else it is the one that splits most of the first lines into the same number of cells, and into most cells.
    """
    stated = re.match(r"\ufeff?\"?sep=(.)\"?\r?\n", text, re.IGNORECASE)
    if stated:
        return stated[1], "\n" + text[stated.end() :]  # the line counts as a row
    start = text[:_SAMPLE_CHARACTERS]

    def evenness(separator: str) -> tuple[float, int]:
        rows = islice(csv.reader(io.StringIO(start, newline=""), delimiter=separator), _SAMPLE_ROWS)
        widths = Counter(len(row) for row in rows if any(cell.strip() for cell in row))
        several = {width: number for width, number in widths.items() if width > 1}
        if not several:
            return 0.0, 0
        usual = max(several, key=lambda width: (several[width], width))
        return round(several[usual] / widths.total(), 1), usual

    return max(_SEPARATORS, key=evenness), text
