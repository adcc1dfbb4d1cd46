"""Validations that a spreadsheet program keeps in an extension of the sheet, which openpyxl leaves out.

Excel writes a validation there when it refers to another sheet, as the drop-down of hosts does (Microsoft, [MS-XLSX]:
CT_DataValidation of the namespace 2009/9/main). Written as a plain validation it means the same.
"""

from __future__ import annotations

import os
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from typing import Any
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import fromstring
from openpyxl.reader.workbook import WorkbookParser
from openpyxl.workbook import Workbook
from openpyxl.worksheet.datavalidation import DataValidation

_EXTENDED = "{http://schemas.microsoft.com/office/spreadsheetml/2009/9/main}"
_CELLS = "{http://schemas.microsoft.com/office/excel/2006/main}"
_WORKBOOK = "xl/workbook.xml"  # where every program that is known to us puts it
_LONGEST_LIST = 257  # Excel takes a list of up to 255 characters between its quotation marks


def carry_over(source: str | os.PathLike[str], workbook: Workbook) -> None:
    """Add the validations in extensions of the file ``source`` to ``workbook``, which was loaded from it."""
    with zipfile.ZipFile(source) as archive:
        if _WORKBOOK not in archive.namelist():
            return
        parser = WorkbookParser(archive, _WORKBOOK)
        parser.parse()
        for sheet, relation in parser.find_sheets():
            data = archive.read(relation.target) if sheet.name in workbook.sheetnames else b""
            for validation in _validations(data):
                workbook[sheet.name].add_data_validation(validation)


def _validations(data: bytes) -> Iterator[DataValidation]:
    if _EXTENDED.strip("{}").encode() not in data:
        return
    for element in fromstring(data).iter(f"{_EXTENDED}dataValidation"):
        formulas = [_formula(element, number) for number in (1, 2)]
        if any(text.startswith('"') and len(text) > _LONGEST_LIST for text in formulas):
            continue
        known: dict[str, Any] = {name: value for name, value in element.attrib.items() if not name.startswith("{")}
        with suppress(TypeError, ValueError):  # another program's attributes
            validation = DataValidation(formula1=formulas[0] or None, formula2=formulas[1] or None, **known)
            for area in (element.findtext(f"{_CELLS}sqref") or "").split():
                validation.add(area)
            if validation.sqref:
                yield validation


def _formula(element: Element, number: int) -> str:
    return element.findtext(f"{_EXTENDED}formula{number}/{_CELLS}f") or ""
