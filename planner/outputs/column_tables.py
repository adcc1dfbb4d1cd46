"""The input columns as Markdown: ``python -m planner.outputs.column_tables README.md`` brings a file up to date."""

from __future__ import annotations

import sys
from pathlib import Path

from planner import columns
from planner.columns import Column, Sheet
from planner.outputs.atomic import write_text
from planner.outputs.explanation import blank_means
from planner.outputs.validation import expected

BEGIN = "<!-- columns -->"
END = "<!-- /columns -->"


def column_tables() -> str:
    """Return a heading and a table in Markdown for each sheet of the fleet workbook, settings for Policy."""
    return "\n\n".join(_section(sheet) for sheet in columns.SHEETS)


def with_tables(text: str) -> str:
    """Return ``text`` with `column_tables` between its two markers; raises ValueError unless each stands there once."""
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise ValueError(f"the lines {BEGIN} and {END} must stand in the file, in this order, once each")
    before, _, rest = text.partition(BEGIN)
    return f"{before}{BEGIN}\n\n{column_tables()}\n\n{END}{rest.partition(END)[2]}"


def main(path: Path) -> None:
    """Rewrite the part of the file between the markers."""
    write_text(path, with_tables(path.read_text(encoding="utf-8")))


def _section(sheet: Sheet) -> str:
    needed = "required" if sheet.required else "optional"
    # Settings are the rows of their sheet, and of more interest than its two columns.
    listed = columns.SETTINGS if sheet is columns.POLICY else sheet.columns
    first = "setting" if sheet is columns.POLICY else "column"
    rows = [f"| {first} | what to enter | blank means | meaning |", "| --- | --- | --- | --- |", *map(_row, listed)]
    return f"### {sheet.name} ({needed})\n\n{sheet.meaning[0].upper()}{sheet.meaning[1:]}.\n\n" + "\n".join(rows)


def _row(column: Column) -> str:
    enter = f"{expected(column)} ({column.unit})" if column.unit else expected(column)
    blank = "" if column.required or column.default is None else blank_means(column)
    cells = (f"`{column.name}`{' *' if column.required else ''}", enter, blank, column.meaning)
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


if __name__ == "__main__":
    main(Path(sys.argv[1]))
