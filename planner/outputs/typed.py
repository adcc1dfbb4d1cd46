"""What people typed into a workbook that is to be replaced: nobody's work is to vanish unasked."""

from __future__ import annotations

import re
import shutil
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import openpyxl
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import headings
from planner.outputs.atomic import replacing

WRITER = "castingvote"
"""Who saved a workbook last, as its properties tell; other programs put their user there, or nobody."""

_TEAM = (
    *(headings.PROGRESS, headings.DATE, headings.INITIALS, headings.REMARKS, headings.STANDS_ON),
    *(headings.RTT_AFTER, headings.VOTES_SEEN),
)
_AS_WRITTEN = ("open", "not needed")  # the status of a row that nobody has touched


def typed_into(path: Path) -> str:
    """Return in words what the file at ``path`` holds that a new one would not; blank where there is nothing."""
    if not path.is_file() or not path.stat().st_size:
        return ""
    try:
        with path.open("rb") as file, warnings.catch_warnings():  # openpyxl would leave a damaged file open
            warnings.simplefilter("ignore", UserWarning)  # what other programs add and openpyxl leaves out
            return _in_words(openpyxl.load_workbook(file, read_only=True)) or _saved_elsewhere(path)
    except Exception:  # what damaged and foreign files make a library raise has no end
        return "it is no workbook that castingvote wrote"


def keep_copy(path: Path) -> Path:
    """Copy the file at ``path`` beside it under a name that is free, and return that."""
    number = 1
    while (kept := path.with_name(f"{path.stem}.kept-{number}{path.suffix}")).exists():
        number += 1
    with replacing(kept) as temporary:
        shutil.copy2(path, temporary)
    return kept


def _in_words(workbook: Workbook) -> str:
    if not (workbook.properties.creator or "").startswith(WRITER):
        return "castingvote did not write it"
    typed = [
        f"{', '.join(f'{number:,} {name}' for name, number in cells.items())} on sheet {sheet.title}"
        for sheet in workbook.worksheets
        if (cells := Counter(_typed(sheet)))
    ]
    if typed:
        return f"people have filled in {'; '.join(typed)}"
    if workbook.properties.lastModifiedBy != WRITER:
        by = workbook.properties.lastModifiedBy or "another program"
        return f"{by} has saved it since castingvote wrote it"
    return ""


def _saved_elsewhere(path: Path) -> str:
    """Return which program has saved the workbook since, as its properties tell: not all put their user there."""
    with zipfile.ZipFile(path) as parts:
        found = re.search(r"<Application>([^<]*)", parts.read("docProps/app.xml").decode())
    program = found[1] if found else "another program"
    # openpyxl calls itself by the name of the format, and so does the program that it is of, which states its user.
    return (
        ""
        if program.startswith("Microsoft Excel")
        else f"{program.split('/')[0]} has saved it since castingvote wrote it"
    )


def _typed(sheet: Worksheet) -> Iterator[str]:
    """Yield the column of each cell that the team has filled in."""
    rows = sheet.iter_rows(values_only=True)
    heads = [str(head).strip() for head in next(rows, ())]
    if sheet.title == headings.APPROVAL and "name" in heads:
        yield from ("approval" for row in rows if str(row[heads.index("name")] or "").strip())
        return
    columns = [(heads.index(name), name) for name in _TEAM if name in heads]
    if headings.PROGRESS not in heads or headings.INITIALS not in heads:
        return
    for row in rows:
        for index, name in columns:
            value = row[index] if index < len(row) else None
            text = "" if value is None else str(value).strip()
            if text and not (name == headings.PROGRESS and text in _AS_WRITTEN):
                yield name
