"""A path -> raw sheets, whatever the kind of file; with the sources that the fleet rests on."""

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from planner.fleet import Source
from planner.intake.archive import workbook_kind
from planner.intake.csvfolder import ENDINGS, csv_files, read_csv
from planner.intake.doors import ENDINGS as DOORS
from planner.intake.doors import NO_QUERIES, database_sheets, sheets_of
from planner.intake.encodings import is_utf8
from planner.intake.findings import Findings, Place
from planner.intake.rawtable import RawSheet
from planner.intake.xlsx import read_xlsx

_PLAN_STARTS_WITHIN = 400  # bytes
_URL = re.compile(r"([a-z][a-z0-9]+(?:\+[a-z0-9_]+)?):(/{1,4})(?!/)(.+)", re.ASCII)
_BESIDE = 20_000  # bytes of each file that help to tell the encoding of the others


@dataclass(slots=True)
class Reading:
    """What came of a path: the titles of all its sheets, the sheets that were wanted, and the files."""

    titles: list[tuple[str, str]] = field(default_factory=list)  # (file, title)
    sheets: list[RawSheet] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)


def read_sheets(
    path: str | Path, wanted: Callable[[str], bool], findings: Findings, queries: Mapping[str, str] = NO_QUERIES
) -> Reading:
    """Return the sheets at ``path`` for whose titles ``wanted`` is true; trouble with files becomes findings.

    ``path`` may be the URL of a database, and ``queries`` what is asked of it for each sheet instead of its tables.
    """
    if (url := url_of(path)) is not None:
        sheets, source = database_sheets(url, queries, findings)
        titles = [(sheet.file, sheet.title) for sheet in sheets]
        return Reading(titles, [s for s in sheets if wanted(s.title)], [] if source is None else [source])
    path = Path(path).absolute()
    try:
        if path.is_dir():
            return _read_folder(path, wanted, findings)
        if path.exists() and not path.is_file():  # a pipe would be waited for, a device never ends
            findings.add("file_unreadable", Place(path.name), reason="it is not an ordinary file")
            return Reading()
        return _read_workbook(path, wanted, findings, queries)
    except FileNotFoundError:
        findings.add("file_missing", Place(path.name))
    except OSError as error:
        findings.add("file_unreadable", Place(path.name), reason=error.strerror or type(error).__name__)
    return Reading()


def url_of(path: str | Path) -> str | None:
    """Return ``path`` as the URL of a database; None if it is none. A Path has lost a slash, which is given back."""
    match = _URL.fullmatch(str(path))
    if match is None or (isinstance(path, Path) and path.exists()):
        return None
    scheme, slashes, rest = match.groups()
    if slashes != "/":
        return str(path)
    if scheme.startswith("sqlite"):
        return f"{scheme}:///{rest}" if Path(rest).exists() else f"{scheme}:////{rest}"
    return f"{scheme}://{rest}"


def _read_workbook(
    path: Path, wanted: Callable[[str], bool], findings: Findings, queries: Mapping[str, str]
) -> Reading:
    if path.suffix.lower() in ENDINGS:
        return _read_texts([path], findings)
    if _is_plan_json(path):
        findings.add("fleet_is_plan", Place(path.name))
        return Reading()
    sheets = sheets_of(path, findings, queries)
    if sheets is not None:
        reading = Reading([(path.name, sheet.title) for sheet in sheets], [s for s in sheets if wanted(s.title)])
        reading.sources.append(Source(path.name, hashlib.sha256(path.read_bytes()).hexdigest()))
        return reading
    kind = workbook_kind(path, findings)
    if kind is None:
        return Reading()
    read = read_xlsx
    if kind == "ods":
        from planner.intake.ods import read_ods as read
    titles, sheets = read(path, wanted, findings)
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
    others = sorted(p for p in folder.iterdir() if p.suffix.lower() in DOORS and p.is_file() and p.name[0] != ".")
    if not paths and not others:
        findings.add("folder_empty", Place(folder.name))
    reading = _read_texts([path for path in paths if wanted(path.stem)], findings)
    reading.titles = [(path.name, path.stem) for path in paths]
    for path in others:
        if not _is_plan_json(path):
            more = _read_workbook(path, wanted, findings, NO_QUERIES)
            reading.titles += more.titles
            reading.sheets += more.sheets
            reading.sources += more.sources
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
