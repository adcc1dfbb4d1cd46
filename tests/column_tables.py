"""Every input column and setting as Markdown, read from the table of columns."""

from planner import columns
from planner.outputs.explanation import blank_means
from planner.outputs.validation import expected


def column_tables():
    """Return a heading and a table in Markdown for each sheet of the fleet workbook, settings for Policy."""
    return "\n\n".join(_section(sheet) for sheet in columns.SHEETS)


def _section(sheet):
    needed = "required" if sheet.required else "optional"
    # Settings are the rows of their sheet, and of more interest than its two columns.
    listed = columns.SETTINGS if sheet is columns.POLICY else sheet.columns
    first = "setting" if sheet is columns.POLICY else "column"
    rows = [f"| {first} | what to enter | blank means | meaning |", "| --- | --- | --- | --- |", *map(_row, listed)]
    return f"## {sheet.name} ({needed})\n\n{sheet.meaning[0].upper()}{sheet.meaning[1:]}.\n\n" + "\n".join(rows)


def _row(column):
    enter = f"{expected(column)} ({column.unit})" if column.unit else expected(column)
    blank = "" if column.required or column.default is None else blank_means(column)
    cells = (f"`{column.name}`{' *' if column.required else ''}", enter, blank, column.meaning)
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"
