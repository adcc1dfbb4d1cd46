"""Folders of CSV files: encodings, separators, quoting, and text that pandas would take for missing."""

import pytest

from planner.intake import inspect_fleet, read_fleet
from planner.intake.csvfolder import read_csv
from planner.intake.dialect import separator_of
from planner.intake.findings import Findings


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_encodings_and_separators(read, rows, encoding, separator):
    rows["Sites"][1][1] = "Mühlweg; 3, left"
    got = read(rows, "csv", encoding=encoding, separator=separator)
    assert got.codes == set()
    assert got.fleet.sites["name"][0] == "Mühlweg; 3, left"


def test_windows_1252_is_read_with_a_warning(read, rows):
    rows["Sites"][1][1] = "Mühlweg – links"
    got = read(rows, "csv", encoding="cp1252")
    assert got.fleet.sites["name"][0] == "Mühlweg – links"
    assert (got.only("csv_encoding").severity, got.only("csv_encoding").file) == ("warning", "Sites.csv")


def test_bytes_of_no_encoding_name_their_line(read, rows, tmp_path, outcome):
    read(rows, "csv")
    (tmp_path / "fleet" / "Sites.csv").write_bytes(b"site,name\n0001,M\x81\n")
    got = outcome(read_fleet, tmp_path / "fleet")
    assert got.codes == {"csv_undecodable"}
    assert got.findings[0].message.startswith("Line 2 holds a byte (0x81)")


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b'site,name\n0001,"open', "csv_broken"),
        (b"site,name\n0001,a\x00b\n", "csv_broken"),
        (b"\xff\xfesit", "csv_broken"),
        (b"site\n" + b"x" * 1_100_000, "csv_broken"),
    ],
)
def test_broken_files(tmp_path, content, code):
    findings = Findings()
    assert read_csv(tmp_path / "Sites.csv", content, findings) is None
    assert [f.code for f in findings.result()] == [code]


def test_a_line_break_within_quotes_does_not_count_as_a_row(read, rows):
    rows["Sites"][1][1] = 'Alder\r\nStreet, "the old one"'
    rows["Sites"][3][6] = "-1"
    got = read(rows, "csv")
    assert got.only("number_limit").where == "Sites!G4"
    assert got.only("number_limit").file == "Sites.csv"


def test_texts_that_mean_missing_elsewhere_are_ids_here(read, rows):
    ids = ["NA", "None", "null", "n/a", "NaN", "TRUE", "1E5", "00123", "7.10", "-"]
    rows["Sites"] = [["site", "release", "latency_budget_ms"], *([name, "7.10", "40"] for name in ids)]
    rows["Latency"] = [["site", "ESK", "ROV"], *([name, "5", ""] for name in ids)]
    got = read(rows, "csv")
    assert got.codes == set()
    assert got.fleet.site_ids == tuple(ids)
    assert got.fleet.sites["release"].tolist() == ["7.10"] * len(ids)
    assert got.fleet.latency["site"].tolist() == ids


def test_numbers_are_text_by_nature_but_commas_are_not(read, rows):
    rows["Latency"][1][1] = "12,5"
    got = read(rows, "csv", separator=";")
    assert got.codes == {"number_comma"}
    assert got.fleet.latency["rtt_ms"][0] == 12.5


def test_a_decimal_comma_that_split_a_row_is_seen(read, rows, tmp_path, outcome):
    read(rows, "csv")
    (tmp_path / "fleet" / "Latency.csv").write_text("site,ESK,ROV\n0001,12,5,31\n")
    assert outcome(read_fleet, tmp_path / "fleet").only("header_blank").where == "Latency!D1"


def test_unknown_and_repeated_files(read, rows):
    rows["Remarks"] = [["x"]]
    rows["stores"] = [["site"], ["0009"]]
    got = read(rows, "csv")
    assert got.only("sheet_unknown").file == "Remarks.csv"
    assert got.only("sheet_repeated").file == "stores.csv"


def test_error_texts_are_errors_in_csv_too(read, rows):
    rows["Latency"][1][1] = "#N/A"
    rows["Sites"][1][5] = "#REF!"
    assert {(f.code, f.where) for f in read(rows, "csv").findings} == {
        ("cell_error", "Latency!B2"),
        ("cell_error", "Sites!F2"),
    }


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("decimal", [".", ","])
def test_a_matrix_splits_by_its_separator_whatever_its_decimals(separator, decimal):
    if separator == decimal:
        return
    lines = [separator.join(["Filiale", "ESK", "ROV", "LDS"])]
    lines += [
        separator.join([str(k), *(f"{k + 0.5 * j}".replace(".", decimal) for j in range(3))]) for k in range(1, 9)
    ]
    assert separator_of("\n".join(lines) + "\n")[0] == separator


def test_a_comma_within_words_and_a_title_above_mislead_nobody():
    text = "Filialen, Stand November\n\nNr;Name;ms\n1;Mühle, links;12,5\n2;Kirche, rechts;8\n3;Hof;7,25\n"
    assert separator_of(text)[0] == ";"
    text = 'site,zones,ms\n1,"power;fire",12.5\n2,power;north,8\n3,,7\n'
    assert separator_of(text)[0] == ","


# Names of the code pages: IANA's character sets (RFC 2978); the words are of the language of each.
@pytest.mark.parametrize(
    ("encoding", "name", "words"),
    [
        ("cp1252", "Windows-1252", "Geschäftsstelle;Größe;Straße Mühlweg – links;Überführung;Österreich;Köln"),
        ("cp1250", "Windows-1250", "Pobočka;Název;Údolní třída;Žižkov;Příkop;Český Těšín;Středočeský kraj"),
        ("cp1251", "Windows-1251", "Магазин;Название;Северная улица;Москва;Область;Регион;Задержка"),
        ("cp850", "850", "Geschäftsstelle;Größe;Straße Mühlweg;Überführung;Österreich;Köln;Schäferhöfe"),
        ("shift_jis", "Shift JIS", "店舗;地域;北海道の店舗;東京支店;大阪支店;遅延;名古屋営業所"),
    ],
)
def test_common_encodings_are_told_and_named(tmp_path, encoding, name, words):
    findings = Findings()
    sheet = read_csv(
        tmp_path / "a.csv", "\n".join(f"{k};{w}" for k, w in enumerate(words.split(";"))).encode(encoding), findings
    )
    assert [row[1] for row in sheet.cells] == words.split(";")
    (finding,) = findings.result()
    assert name in finding.message


def test_one_file_is_a_sheet_too(tmp_path):
    (tmp_path / "Sites.tsv").write_text("site\tclusters\n0042\t1\n")
    got = inspect_fleet(tmp_path / "Sites.tsv")
    assert "sheet_missing" in {f.code for f in got.findings}
    assert [layout.sheet for layout in got.layout] == ["Sites"]
