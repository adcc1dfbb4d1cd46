"""Files that are no sound workbook: each gives one clear finding, and never a traceback."""

import re
import warnings
import zipfile

import pytest

from planner.intake import read_fleet


def refused(outcome, path):
    """The one finding of a file that cannot be read."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        got = outcome(read_fleet, path)
    (finding,) = got.findings
    assert finding.severity == "error"
    assert finding.file == path.name
    assert finding.where == ""
    return finding.code


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("nothing.xlsx", b"", "file_type"),
        ("text.xlsx", b"site,hub\n1,2\n", "file_type"),
        ("page.xlsx", b"<html><table></table></html>", "file_type"),
        ("old.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "Workbook".encode("utf-16-le"), "file_type"),
        (
            "locked.xlsx",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
            "file_encrypted",
        ),
        ("cut.xlsx", b"PK\x03\x04 and then nothing of use", "file_damaged"),
    ],
)
def test_a_file_that_is_no_workbook(tmp_path, outcome, name, content, code):
    path = tmp_path / name
    path.write_bytes(content)
    assert refused(outcome, path) == code


def test_a_missing_file_and_an_empty_folder(tmp_path, outcome):
    assert refused(outcome, tmp_path / "none.xlsx") == "file_missing"
    (tmp_path / "empty").mkdir()
    assert refused(outcome, tmp_path / "empty") == "folder_empty"


def test_a_path_that_cannot_be_opened(fleet_path, outcome):
    assert refused(outcome, fleet_path / "inside a file") == "file_unreadable"


def zip_of(path, members, **options):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data, **options)
    return path


def test_other_archives(tmp_path, outcome):
    assert refused(outcome, zip_of(tmp_path / "any.xlsx", {"readme.txt": "hello"})) == "file_type"
    assert refused(outcome, zip_of(tmp_path / "b.xlsb", {"xl/workbook.bin": b"\0"})) == "file_type"
    broken = {"[Content_Types].xml": "<Types/>", "xl/workbook.xml": "<workbook"}
    assert refused(outcome, zip_of(tmp_path / "broken.xlsx", broken)) == "file_damaged"


def ods(tmp_path, content, manifest="<manifest/>"):
    mimetype = "application/vnd.oasis.opendocument.spreadsheet"
    return zip_of(
        tmp_path / "fleet.ods", {"mimetype": mimetype, "META-INF/manifest.xml": manifest, "content.xml": content}
    )


def test_an_ods_with_a_password(tmp_path, outcome):
    path = ods(tmp_path, b"\x01\x02", '<manifest:encryption-data xmlns:manifest="m"/>')
    assert refused(outcome, path) == "file_encrypted"


def test_an_ods_that_is_no_xml_or_a_bomb(tmp_path, outcome):
    assert refused(outcome, ods(tmp_path, "<office:document-content")) == "file_damaged"
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]><x>&b;</x>'
    assert refused(outcome, ods(tmp_path, bomb)) == "file_damaged"


def test_a_cut_workbook(fleet_path, outcome):
    fleet_path.write_bytes(fleet_path.read_bytes()[:-2000])
    assert refused(outcome, fleet_path) == "file_damaged"


def test_a_flipped_bit_in_a_sheet(fleet_path, outcome):
    with zipfile.ZipFile(fleet_path) as archive:
        member = archive.getinfo("xl/worksheets/sheet1.xml")
    data = bytearray(fleet_path.read_bytes())
    data[member.header_offset + 80] ^= 0x55
    fleet_path.write_bytes(data)
    assert refused(outcome, fleet_path) == "file_damaged"


def test_a_member_that_unpacks_enormously(fleet_path, outcome):
    with zipfile.ZipFile(fleet_path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/image.bin", b"\0" * 60_000_000)
    assert refused(outcome, fleet_path) == "file_too_big"


def test_a_member_that_claims_less_than_it_holds(fleet_path, outcome):
    """The sizes in the archive's directory are lies; a library that trusts them would unpack what is really there."""
    with zipfile.ZipFile(fleet_path) as archive:
        size = archive.getinfo("xl/worksheets/sheet1.xml").file_size
    true, false = size.to_bytes(4, "little"), (10).to_bytes(4, "little")
    data = fleet_path.read_bytes()
    assert true in data
    fleet_path.write_bytes(data.replace(true, false))
    assert refused(outcome, fleet_path) == "file_damaged"


def test_an_entity_bomb_in_a_sheet_is_not_expanded(fleet_path, tmp_path, outcome):
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]>'
    with zipfile.ZipFile(fleet_path) as old, zipfile.ZipFile(tmp_path / "bomb.xlsx", "w") as new:
        for name in old.namelist():
            data = old.read(name).decode()
            if name.endswith("sheet1.xml"):
                data = bomb + re.sub("<v>40</v>", "<v>&b;</v>", data, count=1)
            new.writestr(name, data)
    got = outcome(read_fleet, tmp_path / "bomb.xlsx")
    assert got.fleet is None
