"""Workbooks and CSV folders with random damage: findings or a fleet, never a traceback, never a hang.

The everyday run takes some dozens of cases; ``CASTINGVOTE_FUZZ=1000 pytest tests/intake/test_fuzz.py`` takes thousands.
"""

# ruff: noqa: E501 (tables read best with one case in a line)

import os
import time
import zipfile

import openpyxl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.columns import SETTINGS, SHEETS
from planner.intake import inspect_fleet, mapping_text
from planner.intake.messages import CATALOGUE
from planner.outputs import write_repaired

CASES = int(os.environ.get("CASTINGVOTE_FUZZ", "6"))
PATIENCE_S = 20
SETTING = settings(max_examples=CASES, deadline=None, suppress_health_check=list(HealthCheck))

_NASTY = (
    "1,234 1.234,5 <1 >9 ~7 0.018s 18ms 5% -1 1e999 nan #N/A #REF! #NV =1+1 +1 @x 0042 42 8.10 8.1 TRUE ja 否 x ✓ １２ "
    "31/03/2026 3/4/2026 2026-03-31 Sun_22:00-04:00 Total total sum n/a - ? ESK ROV 0001 0002 1 site hub rtt_ms setting "
    "\u0415SK A\u202eB A\u200bB <b> ;;; {} ms s one_way RTT(s) Latency"
)  # fmt: skip
NASTY = st.sampled_from(_NASTY.split())
NAMES = st.sampled_from(
    [name for sheet in SHEETS for column in sheet.columns for name in (column.name, *column.aliases[:1])]
    + [setting.name for setting in SETTINGS]
    + ["RTT [s]", "Distance miles", "one way", "lattitude", "Store", "Hub", "hosts", ""]
)
CELLS = st.one_of(
    NASTY, NAMES, st.none(), st.text(max_size=8), st.integers(-5, 10**6), st.floats(), st.booleans(),
    st.datetimes(), st.dates(), st.times(),
)  # fmt: skip
TITLES = st.one_of(
    st.sampled_from([s.name for s in SHEETS]), st.sampled_from(["Site list", "RTT 2026", "Sheet1", "hubs", "Stores"])
)
SELDOM = st.sampled_from([True, False, False, False])
MUTATIONS = st.lists(
    st.tuples(
        st.sampled_from(["cell", "header", "row", "column", "drop row", "drop column", "rename", "copy", "stack", "merge", "hide"]),
        st.integers(0, 3), st.integers(0, 6), st.integers(0, 7), CELLS, TITLES,
    ),
    min_size=1, max_size=8,
)  # fmt: skip


def mutate(rows, mutations):
    """Spoil rows, and return what is left to be done to the workbook itself."""
    later = []
    for what, of_sheet, i, j, value, title in mutations:
        name = list(rows)[of_sheet % len(rows)]
        sheet = rows[name]
        row = sheet[i % len(sheet)] if sheet else []
        if what in ("cell", "header"):
            row = sheet[0] if what == "header" and sheet else row
            row.extend([None] * (j + 1 - len(row)))
            row[j] = value
        elif what == "row":
            sheet.insert(i, [value] * (j % 4))
        elif what == "column":
            for each in sheet:
                each.insert(j, value)
        elif what == "drop row" and sheet:
            sheet.pop(i % len(sheet))
        elif what == "drop column":
            for each in sheet:
                del each[j : j + 1]
        elif what == "rename":
            rows[title] = rows.pop(name)
        elif what == "copy":
            rows.setdefault(title, [list(each) for each in sheet])
        elif what == "stack":
            sheet += [[], *[list(each) for each in rows[list(rows)[j % len(rows)]]]]
        else:
            later.append((what, name, i + 1, j + 1))
    return later


def damage(path, later):
    book = openpyxl.load_workbook(path)
    for what, name, i, j in later:
        if name not in book.sheetnames:
            continue
        if what == "merge":
            book[name].merge_cells(start_row=i, start_column=j, end_row=i + 1, end_column=j + 1)
        else:
            book[name].row_dimensions[i].hidden = True
    book.save(path)


def survive(path, tmp_path, written):
    """Read, check what comes, and where a fleet comes write it and what was found, and read both again."""
    start = time.monotonic()
    inspection = inspect_fleet(path)
    assert time.monotonic() - start < PATIENCE_S
    for finding in inspection.findings:
        assert finding.code in CATALOGUE
        assert "{" not in finding.message.replace("{}", "") or '"' in finding.message
    assert (inspection.fleet is None) == any(f.severity == "error" for f in inspection.findings)
    (tmp_path / "m.toml").write_text(mapping_text(inspection.layout), encoding="utf-8")
    again = inspect_fleet(path, tmp_path / "m.toml")
    assert not any(f.code in ("mapping_broken", "mapping_unknown") for f in again.findings), again.findings
    if inspection.fleet is not None and written:
        write_repaired(inspection.fleet, tmp_path / "repaired.xlsx")
        assert inspect_fleet(tmp_path / "repaired.xlsx").fleet is not None


def xlsx_safe(rows):
    return {
        title: [
            [openpyxl.cell.cell.ILLEGAL_CHARACTERS_RE.sub("", v) if isinstance(v, str) else v for v in row]
            for row in sheet
        ]
        for title, sheet in rows.items()
    }


@given(MUTATIONS, SELDOM)
@SETTING
def test_spoilt_workbooks(tmp_path, sound_fleet, writers, mutations, written):
    rows = sound_fleet()
    later = mutate(rows, mutations)
    path = writers["xlsx"](tmp_path / "fleet.xlsx", xlsx_safe(rows))
    if later:
        damage(path, later)
    survive(path, tmp_path, written)


@given(MUTATIONS, st.sampled_from(",;\t|"), st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]), SELDOM)
@SETTING
def test_spoilt_folders(tmp_path_factory, sound_fleet, writers, mutations, separator, encoding, written):
    rows = sound_fleet()
    mutate(rows, mutations)
    folder = tmp_path_factory.mktemp("fuzz")
    encodable = {
        title: [
            [str(v).encode(encoding, "replace").decode(encoding) if isinstance(v, str) else v for v in row]
            for row in sheet
        ]
        for title, sheet in rows.items()
    }
    encodable = {
        title: [[v.encode("utf-8", "replace").decode() if isinstance(v, str) else v for v in row] for row in sheet]
        for title, sheet in encodable.items()
    }
    survive(writers["csv"](folder / "fleet", encodable, separator=separator, encoding=encoding), folder, written)


@given(
    st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=5)), min_size=1, max_size=6),
    st.sampled_from(["xlsx", "ods", "csv", "toml"]),
)
@SETTING
def test_spoilt_bytes(tmp_path_factory, sound_fleet, writers, edits, kind):
    folder = tmp_path_factory.mktemp("bytes")
    fleet = writers["xlsx" if kind == "toml" else kind](
        folder / ("fleet" if kind == "csv" else f"fleet.{kind}"), sound_fleet()
    )
    target = {"csv": fleet / "Sites.csv", "toml": folder / "m.toml"}.get(kind, fleet)
    if kind == "toml":
        target.write_text(mapping_text(inspect_fleet(fleet).layout))
    data = bytearray(target.read_bytes())
    for at, new in edits:
        position = int(at * len(data))
        data[position : position + len(new)] = new
    target.write_bytes(data)
    inspect_fleet(fleet, target if kind == "toml" else None)


PARTS = ["xl/workbook.xml", "xl/styles.xml", "xl/sharedStrings.xml", "xl/worksheets/sheet1.xml", "xl/worksheets/sheet3.xml",
         "xl/_rels/workbook.xml.rels", "[Content_Types].xml"]  # fmt: skip


@given(
    st.sampled_from(PARTS),
    st.lists(
        st.tuples(
            st.floats(0, 1),
            st.integers(0, 40),
            st.sampled_from(
                [b"", b"<", b">", b'"', b"99999999", b"<v>", b"</c>", b"&x;", b't="e"', b'r="ZZZ9"', b"\xff"]
            ),
        ),
        min_size=1,
        max_size=4,
    ),
)
@SETTING
def test_spoilt_parts_of_a_workbook(tmp_path_factory, sound_fleet, writers, part, edits):
    folder = tmp_path_factory.mktemp("parts")
    path = writers["xlsx"](folder / "sound.xlsx", sound_fleet())
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(folder / "fleet.xlsx", "w") as new:
        for name in old.namelist():
            data = old.read(name)
            for at, length, text in edits if name == part else ():
                position = int(at * len(data))
                data = data[:position] + text + data[position + length :]
            new.writestr(name, data)
    start = time.monotonic()
    inspect_fleet(folder / "fleet.xlsx")
    assert time.monotonic() - start < PATIENCE_S
