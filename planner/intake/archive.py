"""Guards before any library opens a workbook: type, password, size. All .xlsx, .xlsm and .ods files are zip archives.

A workbook may claim little and unpack to much, or place one cell in the last corner of a sheet. Libraries allocate for
both, so both are refused here.
"""

import lzma
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Literal
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException

from planner.intake.findings import Findings, Place

WorkbookKind = Literal["xlsx", "ods"]

_MOST_MEMBER_BYTES = 1_000_000_000
_MOST_RATIO = 200
_RATIO_COUNTS_FROM_BYTES = 50_000_000
_MOST_TOTAL_BYTES = 2_000_000_000
_MOST_MEMBERS = 10_000

_ZIP_MAGIC = b"PK\x03\x04"
_OLE_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ODS_TYPE = b"application/vnd.oasis.opendocument.spreadsheet"

# What reading a damaged or hostile archive raises, names of parts and compression methods included.
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    EOFError,
    KeyError,
    ParseError,
    DefusedXmlException,
    NotImplementedError,
    OverflowError,
    RecursionError,
    RuntimeError,
    ValueError,
)


def workbook_kind(path: Path, findings: Findings) -> WorkbookKind | None:
    """Return the kind of workbook, by content rather than by name; None, with a finding, if it must not be read."""
    place = Place(path.name)
    with path.open("rb") as file:
        start = file.read(len(_OLE_MAGIC))
        if start == _OLE_MAGIC:
            # Password-protected .xlsx files and the old .xls are both of this kind.
            locked = "EncryptedPackage".encode("utf-16-le") in start + file.read()
            findings.add("file_encrypted" if locked else "file_type", place, reason="it is an old binary workbook")
            return None
    if not start.startswith(_ZIP_MAGIC):
        reason = "it is empty" if not start else "it is a CSV or another kind of file"
        findings.add("file_type", place, reason=reason)
        return None
    try:
        with zipfile.ZipFile(path) as archive:
            return _kind(archive, place, findings) if _sizes_are_sane(archive, place, findings) else None
    except DAMAGE as error:
        findings.add("file_damaged", place, reason=error or type(error).__name__)
        return None


def _kind(archive: zipfile.ZipFile, place: Place, findings: Findings) -> WorkbookKind | None:
    names = set(archive.namelist())
    if "mimetype" in names and archive.read("mimetype").strip().startswith(_ODS_TYPE):
        if b"encryption-data" in archive.read("META-INF/manifest.xml"):
            findings.add("file_encrypted", place)
            return None
        return "ods"
    if "xl/workbook.bin" in names:
        findings.add("file_type", place, reason="it is a binary workbook")
        return None
    if "[Content_Types].xml" in names and any(name.startswith("xl/") for name in names):
        return "xlsx"
    findings.add("file_type", place, reason="it is another kind of archive")
    return None


def _sizes_are_sane(archive: zipfile.ZipFile, place: Place, findings: Findings) -> bool:
    total = 0
    if len(archive.infolist()) > _MOST_MEMBERS:
        findings.add("file_too_big", place, reason=f"it has more than {_MOST_MEMBERS:,} parts")
        return False
    for member in archive.infolist():
        total += member.file_size
        ratio = member.file_size / max(member.compress_size, 1)
        suspicious = member.file_size > _RATIO_COUNTS_FROM_BYTES and ratio > _MOST_RATIO
        if suspicious or member.file_size > _MOST_MEMBER_BYTES or total > _MOST_TOTAL_BYTES:
            size = f"{member.file_size / 1e6:.0f} MB, {ratio:.0f} times its packed size"
            findings.add("file_too_big", place, reason=f'its part "{member.filename}" unpacks to {size}')
            return False
        if member.flag_bits & 1:
            findings.add("file_encrypted", place)
            return False
    return True
