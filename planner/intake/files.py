"""A path -> raw sheets, whatever the kind of file; with the sources that the fleet rests on."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from planner.fleet import Source
from planner.intake.archive import workbook_kind
from planner.intake.csvfolder import ENDINGS, csv_files, read_csv
from planner.intake.encodings import is_utf8
from planner.intake.findings import Findings, Place
from planner.intake.ods import read_ods
from planner.intake.rawtable import RawSheet
from planner.intake.xlsx import read_xlsx

_PLAN_STARTS_WITHIN = 400  # bytes
_BESIDE = 20_000  # bytes of each file that help to tell the encoding of the others


@dataclass(slots=True)
class Reading:
    """What came of a path: the titles of all its sheets, the sheets that were wanted, and the files."""

    titles: list[tuple[str, str]] = field(default_factory=list)  # (file, title)
    sheets: list[RawSheet] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)


def read_sheets(path: Path, wanted: Callable[[str], bool], findings: Findings) -> Reading:
    """Return the sheets at ``path`` for whose titles ``wanted`` is true; trouble with files becomes findings."""
    try:
        if path.is_dir():
            return _read_folder(path, wanted, findings)
        if path.exists() and not path.is_file():  # a pipe would be waited for, a device never ends
            findings.add("file_unreadable", Place(path.name), reason="it is no ordinary file")
            return Reading()
        return _read_workbook(path, wanted, findings)
    except FileNotFoundError:
        findings.add("file_missing", Place(path.name))
    except OSError as error:
        findings.add("file_unreadable", Place(path.name), reason=error.strerror or type(error).__name__)
    return Reading()


def _read_workbook(path: Path, wanted: Callable[[str], bool], findings: Findings) -> Reading:
    if path.suffix.lower() in ENDINGS:
        return _read_texts([path], findings)
    if _is_plan_json(path):
        findings.add("fleet_is_plan", Place(path.name))
        return Reading()
    kind = workbook_kind(path, findings)
    if kind is None:
        return Reading()
    titles, sheets = (read_ods if kind == "ods" else read_xlsx)(path, wanted, findings)
    with path.open("rb") as file:
        source = Source(path.name, hashlib.file_digest(file, "sha256").hexdigest())
    return Reading([(path.name, title) for title in titles], sheets, [source])


def _is_plan_json(path: Path) -> bool:
    """Return whether a file is a plan.json of ours, told by how it begins."""
    with path.open("rb") as file:
        start = file.read(_PLAN_STARTS_WITHIN).lstrip()
    return start[:1] == b"{" and b'"headline"' in start and b'"format"' in start


def _read_folder(folder: Path, wanted: Callable[[str], bool], findings: Findings) -> Reading:
    paths = csv_files(folder)
    if not paths:
        findings.add("folder_empty", Place(folder.name))
    reading = _read_texts([path for path in paths if wanted(path.stem)], findings)
    reading.titles = [(path.name, path.stem) for path in paths]
    return reading


def _read_texts(paths: list[Path], findings: Findings) -> Reading:
    reading = Reading([(path.name, path.stem) for path in paths])
    contents = {path: path.read_bytes() for path in paths}
    beside = b"\n".join(data[:_BESIDE] for data in contents.values() if not is_utf8(data))
    for path, data in contents.items():
        reading.sources.append(Source(path.name, hashlib.sha256(data).hexdigest()))
        sheet = read_csv(path, data, findings, beside)
        if sheet is not None:
            reading.sheets.append(sheet)
    return reading
