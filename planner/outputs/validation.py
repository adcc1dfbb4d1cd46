"""Drop-downs and limits for cells that people fill in. They warn and do not forbid: intake knows more ways to write."""

from __future__ import annotations

from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from planner.columns.kinds import Column, plain

_KINDS = {
    "id": "text",
    "ids": "text, several with ;",
    "text": "text",
    "whole": "whole number",
    "number": "number",
    "release": "version text such as 8.10",
    "date": "date",
    "moment": "date and time",
    "choice": "one of the choices",
    "timezone": "time zone such as Europe/London",
    "window": "such as Sun 22:00-04:00, several with ;",
}
_FIRST_DAY = "1"  # 1900-01-01: any date at all


def add_validation(sheet: Worksheet, column: Column, area: str) -> None:
    """Offer the choices of ``column`` in ``area`` of ``sheet``, or warn of values beyond its limits."""
    validation = _validation(column)
    if validation is None:
        return
    validation.allow_blank = True
    validation.errorStyle = "warning"
    validation.showErrorMessage = True
    validation.errorTitle = column.name
    validation.error = f"Expected: {expected(column)}."
    validation.add(area)
    sheet.add_data_validation(validation)


def expected(column: Column) -> str:
    """Return in words what a cell of ``column`` may hold, for example ``"whole number, at least 1"``."""
    if column.choices:
        return ", ".join(column.choices)
    least = f"{'above' if column.least_excluded else 'at least'} {column.least:g}" if column.least is not None else ""
    most = f"at most {plain(column.most)}" if column.most is not None else ""
    return ", ".join(part for part in (_KINDS[column.kind], least, most) if part)


def _validation(column: Column) -> DataValidation | None:
    if column.choices:
        return DataValidation("list", formula1=f'"{",".join(column.choices)}"')
    if column.kind in ("date", "moment"):
        return DataValidation("date", operator="greaterThanOrEqual", formula1=_FIRST_DAY)
    if column.kind not in ("whole", "number") or column.least is None:
        return None
    validation = DataValidation("whole" if column.kind == "whole" else "decimal", formula1=f"{column.least:g}")
    if column.most is not None and not column.least_excluded:
        validation.operator, validation.formula2 = "between", plain(column.most)
    else:
        validation.operator = "greaterThan" if column.least_excluded else "greaterThanOrEqual"
    return validation
