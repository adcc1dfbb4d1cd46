"""Files as programs export them, and hostile ones: what each must give; nothing raises, hangs, or leaves the archive."""

# ruff: noqa: E501 (tables read best with one case in a line)

import os
import re
import socket
import time
import zipfile

import openpyxl
import pytest

from planner.intake import inspect_fleet, read_fleet

NS = " ".join(
    f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"' for short in ("office", "table", "text")
)
SHEETS = {
    "Sites": "site;name;latency_budget_ms\n0001;Mühle, links;40\n0002;Birch;40,5\n",
    "Hubs": "hub;host_cost\nESK;1200\nROV;1200\n",
    "Latency": "site;ESK;ROV\n0001;12,5;31\n0002;14;29,5\n",
}


def folder_of(path, encode, change=lambda text: text):
    path.mkdir()
    for name, text in SHEETS.items():
        (path / f"{name}.csv").write_bytes(encode(change(text)))
    return path


ENCODINGS = [
    ("utf_8", lambda t: t.encode(), set()),
    ("utf_8_with_mark", lambda t: t.encode("utf-8-sig"), set()),
    ("utf_16_with_mark", lambda t: t.encode("utf-16"), set()),
    ("utf_16_big_end_first", lambda t: b"\xfe\xff" + t.encode("utf-16-be"), set()),
    ("utf_16_little_without_mark", lambda t: t.encode("utf-16-le"), set()),
    ("utf_16_big_without_mark", lambda t: t.encode("utf-16-be"), set()),
    ("windows_1252", lambda t: t.encode("cp1252"), {"csv_encoding"}),
    ("line_ends_of_windows", lambda t: t.replace("\n", "\r\n").encode(), set()),
    ("line_ends_of_old_macs", lambda t: t.replace("\n", "\r").encode(), set()),
    ("no_line_end_at_the_end", lambda t: t.rstrip().encode(), set()),
    ("blank_lines", lambda t: t.replace("\n", "\n\n").encode(), set()),
    ("tabs", lambda t: t.replace(";", "\t").encode(), set()),
    ("tabs_in_utf_16", lambda t: t.replace(";", "\t").encode("utf-16"), set()),
    ("bars", lambda t: t.replace(";", "|").encode(), set()),
    ("separator_stated", lambda t: ("sep=;\n" + t).encode(), set()),
    ("separator_stated_in_utf_16", lambda t: ("sep=;\r\n" + t).encode("utf-16"), set()),
    ("title_with_commas", lambda t: ("Fleet, as of May, final\n" + t).encode(), {"rows_above"}),
    ("all_cells_quoted", lambda t: re.sub(r"[^;\n]+", r'"\g<0>"', t).encode(), set()),
    ("separators_at_line_ends", lambda t: t.replace("\n", ";;\n").encode(), set()),
    ("soft_hyphens_and_marks", lambda t: t.replace("site", "\ufeffsi\u00adte").encode(), set()),
]


@pytest.mark.parametrize(("encode", "codes"), [c[1:] for c in ENCODINGS], ids=[c[0] for c in ENCODINGS])
def test_a_folder_as_programs_export_it(tmp_path, outcome, encode, codes):
    got = outcome(read_fleet, folder_of(tmp_path / "fleet", encode))
    assert codes | {"number_comma"} <= got.codes, got
    fleet = got.fleet
    assert fleet.site_ids == ("0001", "0002")
    assert fleet.sites["name"][0] == "Mühle, links"
    assert fleet.budgets_ms.tolist() == [40, 40.5]
    assert fleet.latency["rtt_ms"].tolist() == [12.5, 31, 14, 29.5]


def test_a_line_break_in_quotes_and_another_separator_in_a_file(tmp_path, outcome):
    path = folder_of(tmp_path / "fleet", str.encode)
    (path / "Sites.csv").write_text('site,name,latency_budget_ms\n0001,"Alder\nStreet; left",40\n0002,B,"40,5"\n')
    fleet = outcome(read_fleet, path).fleet
    assert fleet.sites["name"][0] == "Alder\nStreet; left"
    assert fleet.budgets_ms.tolist() == [40, 40.5]


def rewritten(source, target, change=lambda name, data: data, more=()):
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
        for name, data in more:
            new.writestr(name, data)
    return target


def in_part(ending, old, new):
    return lambda name, data: data.replace(old, new, 1) if name.endswith(ending) else data


BOMB = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'
OUTSIDE = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
MACRO = ("xl/vbaProject.bin", b"\xd0\xcf\x11\xe0 Sub Workbook_Open() ...")
LINK = (
    "xl/externalLinks/externalLink1.xml",
    b'<externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><ddeLink ddeService="cmd" '
    b'ddeTopic="/c calc"/></externalLink>',
)


def before_root(ending, text):
    return lambda name, data: (
        re.sub(rb"^(<\?xml[^>]*\?>)?", lambda m: m[0] + text, data) if name.endswith(ending) else data
    )


def nested(times, ending, end):
    return in_part(ending, end, b"<a>" * times + b"</a>" * times + end)


BLANK_ROWS = b"".join(b'<row r="%d"><c r="A%d" s="1"/><c r="B%d" s="1"/></row>' % (i, i, i) for i in range(9, 99_999))

# (situation, change of each part, further parts, the code of the refusal, empty where the fleet is read)
HOSTILE = [
    ("entity_bomb_in_a_sheet", before_root("sheet1.xml", BOMB), (), "file_damaged"),
    ("entity_bomb_in_the_styles", before_root("styles.xml", BOMB), (), "file_damaged"),
    ("entity_bomb_in_the_workbook", before_root("workbook.xml", BOMB), (), "file_damaged"),
    ("entity_bomb_in_the_types", before_root("[Content_Types].xml", BOMB), (), "file_damaged"),
    ("entity_from_a_file", before_root("sheet1.xml", OUTSIDE), (), "file_damaged"),
    ("names_that_lead_out", None, [("../../../../tmp/evil.txt", b"x"), ("/etc/evil", b"x"), ("..\\evil", b"x")], ""),
    ("relation_that_leads_out", in_part(".rels", b"/xl/worksheets/sheet1.xml", b"../../../../../etc/passwd"), (), "file_damaged"),
    ("ten_thousand_parts", None, [(f"xl/media/{i}.txt", b"") for i in range(10_001)], "file_too_big"),
    ("a_part_that_unpacks_enormously", None, [("xl/media/a.bin", b"\0" * 60_000_000)], "file_too_big"),
    ("macros", None, [MACRO], ""),
    ("external_links_and_dde", None, [LINK], ""),
    ("deep_nesting_in_a_sheet", nested(50_000, "sheet1.xml", b"</worksheet>"), (), ""),
    ("deep_nesting_in_the_workbook", nested(50_000, "workbook.xml", b"</workbook>"), (), ""),
    ("deep_nesting_in_the_styles", nested(50_000, "styles.xml", b"</styleSheet>"), (), ""),
    ("a_hundred_thousand_blank_styled_rows", in_part("sheet1.xml", b"</sheetData>", BLANK_ROWS + b"</sheetData>"), (), ""),
    ("a_sheet_that_ends_early", in_part("sheet1.xml", b"</worksheet>", b""), (), "any"),
    ("an_empty_sheet_part", lambda n, d: b"" if n.endswith("sheet1.xml") else d, (), "any"),
    ("binary_in_a_sheet_part", lambda n, d: bytes(range(256)) * 9 if n.endswith("sheet1.xml") else d, (), "any"),
    ("utf_16_parts", lambda n, d: d.decode().encode("utf-16") if n.endswith("sheet1.xml") else d, (), "file_damaged"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "more", "code"), [c[1:] for c in HOSTILE], ids=[c[0] for c in HOSTILE])
def test_a_hostile_workbook(fleet_path, tmp_path, outcome, monkeypatch, change, more, code):
    def no_network(*arguments, **options):
        raise AssertionError("the network was used")

    monkeypatch.setattr(socket, "socket", no_network)
    monkeypatch.setattr(os, "system", no_network)
    path = rewritten(fleet_path, tmp_path / "hostile.xlsx", change or (lambda name, data: data), more)
    before = sorted(p for p in tmp_path.rglob("*"))
    start = time.monotonic()
    got = outcome(read_fleet, path)
    assert time.monotonic() - start < 20
    assert sorted(p for p in tmp_path.rglob("*")) == before
    if code == "":
        assert got.fleet is not None, got
        assert got.fleet.site_ids == ("0001", "0002", "0003")
    elif code != "any":
        assert got.codes == {code}, got


def ods(path, cells):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            f"<office:document-content {NS}><office:body><office:spreadsheet>"
            f'<table:table table:name="Sites"><table:table-row>{cells}</table:table-row></table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    return path


def text_cell(inside):
    return f'<table:table-cell office:value-type="string"><text:p>{inside}</text:p></table:table-cell>'


ODS = [
    ("nested_spans", text_cell("<text:span>" * 50_000 + "x" + "</text:span>" * 50_000), "file_damaged"),
    ("nested_groups", "<table:table-row-group>" * 9_000 + "</table:table-row-group>" * 9_000, "column_missing"),
    ("blanks_without_end", text_cell('<text:s text:c="999999999"/>' * 9_000), "column_missing"),
    (
        "columns_without_end",
        f'<table:table-cell table:number-columns-repeated="999999999"/>{text_cell("x")}',
        "file_too_big",
    ),
    ("repeats_that_are_no_number", '<table:table-cell table:number-columns-repeated="many"/>', "file_damaged"),
    ("link_to_elsewhere", text_cell('<text:a href="http://192.0.2.1/x">site</text:a>'), "sheet_empty"),
]


@pytest.mark.parametrize(("cells", "code"), [c[1:] for c in ODS], ids=[c[0] for c in ODS])
def test_a_hostile_ods(tmp_path, outcome, cells, code):
    assert code in outcome(read_fleet, ods(tmp_path / "fleet.ods", cells)).codes


LONG = {
    "digits": "1" * 100_000,
    "grouped": ",".join("1" * 50_000),
    "spaced": "1 " * 50_000,
    "brackets": "(" * 100_000,
    "quotes": "'" * 100_000,
    "overrides": "\u202e" * 100_000,
    "windows": "Sun 22:00-04:00;" * 6_000,
    "letters": "a" * 100_000,
}


@pytest.mark.parametrize("text", LONG.values(), ids=LONG)
def test_cells_of_a_hundred_thousand_characters(read, rows, text):
    rows["Sites"][0] += ["clusters", "own_tie_breaker", "window", "opens", "zone", "timezone", "pinned_hub", text]
    rows["Sites"][1] = [text] * len(rows["Sites"][0])
    rows["Latency"][1][1] = text
    start = time.monotonic()
    got = read(rows, "csv")
    assert time.monotonic() - start < 20
    assert all(len(f.message) < 1000 for f in got.findings)


def test_a_pipe_is_not_waited_for(tmp_path, outcome):
    os.mkfifo(tmp_path / "pipe.xlsx")
    assert outcome(read_fleet, tmp_path / "pipe.xlsx").codes == {"file_unreadable"}


def test_files_in_a_folder_that_are_no_sheets_are_named(tmp_path, outcome):
    path = folder_of(tmp_path / "fleet", str.encode)
    (path / "Notes.csv").write_text("a;b\n")
    (path / ".Hidden.csv").write_text("a;b\n")
    (path / "other.txt").write_text("a;b\n")
    assert [f.file for f in outcome(read_fleet, path).of("sheet_unknown")] == ["Notes.csv"]


def test_an_inspection_names_what_was_found(tmp_path):
    inspection = inspect_fleet(folder_of(tmp_path / "fleet", str.encode))
    assert {(sheet.sheet, sheet.header_row) for sheet in inspection.layout} == {
        ("Sites", 1),
        ("Hubs", 1),
        ("Latency", 1),
    }
    (sites,) = [sheet for sheet in inspection.layout if sheet.sheet == "Sites"]
    assert [(m.column, m.letter, m.how) for m in sites.columns] == [
        ("site", "A", "name"),
        ("name", "B", "name"),
        ("latency_budget_ms", "C", "name"),
    ]


def test_a_chart_and_a_hidden_macro_sheet_are_no_trouble(fleet_path, outcome):
    book = openpyxl.load_workbook(fleet_path)
    book.create_chartsheet("Chart")
    book.create_sheet("Macro1").sheet_state = "veryHidden"
    book.save(fleet_path)
    assert outcome(read_fleet, fleet_path).codes == {"sheet_unknown"}
