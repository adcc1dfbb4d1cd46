"""Bring the generated parts of the manual up to date: ``python -m tests.reference``."""

from pathlib import Path

from tests.column_tables import column_tables
from tests.command_tables import command_tables

ROOT = Path(__file__).parents[1]
REFERENCE = ROOT / "planner" / "manual" / "reference"
BEGIN, END = "<!-- generated -->", "<!-- /generated -->"
PAGES = {REFERENCE / "columns.md": column_tables, REFERENCE / "commands.md": command_tables}


def with_generated(text, generated):
    """Return ``text`` with ``generated`` between its two markers; ValueError unless each is there once."""
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise ValueError(f"the lines {BEGIN} and {END} must stand in the file, in this order, once each")
    before, _, rest = text.partition(BEGIN)
    return f"{before}{BEGIN}\n\n{generated}\n\n{END}{rest.partition(END)[2]}"


def main():
    for page, tables in PAGES.items():
        page.write_text(with_generated(page.read_text(encoding="utf-8"), tables()), encoding="utf-8")


if __name__ == "__main__":
    main()
