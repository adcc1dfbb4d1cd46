"""A folder of .csv files named after the sheets. Every cell is text, so 8.10 and 0042 arrive as they were typed.

Quoting as in RFC 4180; `dialect` finds the separator (comma, semicolon, tab or bar) and `encodings` the encoding. Rows
are counted as a spreadsheet program shows them: a line break within quotes does not begin a new one.
"""

import csv
import io
from pathlib import Path

from planner.intake.dialect import separator_of
from planner.intake.encodings import decoded
from planner.intake.findings import Findings, Place
from planner.intake.rawtable import MOST_CELLS, MOST_COLUMNS, RawSheet

ENDINGS = (".csv", ".tsv")
_LONGEST_FIELD = 1_000_000


def csv_files(folder: Path) -> list[Path]:
    """Return the .csv and .tsv files of a folder, in order of their names."""
    return sorted(p for p in folder.iterdir() if p.suffix.lower() in ENDINGS and p.is_file() and p.name[0] != ".")


def read_csv(path: Path, data: bytes, findings: Findings, others: bytes = b"") -> RawSheet | None:
    """Return the cells of a CSV file with content ``data``; None, with a finding, if it cannot be read.

    ``others`` is text of files beside it, by which its encoding may be told.
    """
    text = decoded(data, Place(path.name), findings, others)
    if text is None:
        return None
    rows, cells = [], 0
    usual_limit = csv.field_size_limit(_LONGEST_FIELD)
    try:
        separator, text = separator_of(text)
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
