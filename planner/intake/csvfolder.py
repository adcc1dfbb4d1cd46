"""A folder of .csv files named after the sheets. Every cell is text, so 8.10 and 0042 arrive as they were typed.

Quoting as in RFC 4180; the separator (comma, semicolon or tab) is the one that the header uses most. Rows are counted
as a spreadsheet program shows them: a line break within quotes does not begin a new one.
"""

import csv
import io
from pathlib import Path

from planner.intake.findings import Findings, Place
from planner.intake.rawtable import MOST_CELLS, RawSheet

_SEPARATORS = ",;\t"
_LONGEST_FIELD = 1_000_000
_BYTE_ORDER_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}


def csv_files(folder: Path) -> list[Path]:
    """Return the .csv files of a folder, in order of their names."""
    return sorted(p for p in folder.iterdir() if p.suffix.lower() == ".csv" and p.is_file() and p.name[0] != ".")


def read_csv(path: Path, data: bytes, findings: Findings) -> RawSheet | None:
    """Return the cells of a CSV file with content ``data``; None, with a finding, if it cannot be read."""
    text = _decoded(data, Place(path.name), findings)
    if text is None:
        return None
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    rows, cells = [], 0
    usual_limit = csv.field_size_limit(_LONGEST_FIELD)
    try:
        for row in reader:
            rows.append(row)
            cells += len(row)
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


def _separator(text: str) -> str:
    """Return the separator that stands most often in the first line with content, outside quotation marks."""
    line = next((line for line in text.splitlines() if line.strip()), "")
    bare = "".join(line.split('"')[::2])
    return max(_SEPARATORS, key=bare.count)
