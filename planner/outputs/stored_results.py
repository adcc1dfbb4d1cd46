"""Stored results of formulas: openpyxl writes formulas without them, so whoever does not calculate would see blanks."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping
from html import escape
from io import BytesIO

# A formula cell as openpyxl writes it: address, style, formula and an empty value.
_BLANK_RESULT = re.compile(r'<c r="([A-Z]+\d+)"((?: s="\d+")?)>(<f>[^<]*</f>)<v ?/?>(?:</v>)?</c>')


def with_results(workbook: bytes, sheet_path: str, results: Mapping[str, str]) -> bytes:
    """Return ``workbook`` (the bytes of an .xlsx) with the text results of one sheet's formulas filled in.

    ``sheet_path`` names the sheet's part of the archive; ``results`` maps cell addresses to texts. Spreadsheet programs
    work the formulas out anew; file previews, protected views and pandas show what is stored.
    """

    def filled(match: re.Match[str]) -> str:
        address, style, formula = match.groups()
        if address not in results:
            return match[0]
        return f'<c r="{address}"{style} t="str">{formula}<v>{escape(results[address])}</v></c>'

    target = BytesIO()
    with zipfile.ZipFile(BytesIO(workbook)) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy:
        for part in source.infolist():
            data = source.read(part)
            if part.filename == sheet_path:
                data = _BLANK_RESULT.sub(filled, data.decode()).encode()
            copy.writestr(part, data, zipfile.ZIP_DEFLATED)
    return target.getvalue()
