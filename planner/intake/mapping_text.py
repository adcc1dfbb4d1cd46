"""What is pinned -> the text of a mapping file, which says in its comments what each line rests on."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from planner.intake.adopt.guesses import Adoption, SheetGuess
from planner.intake.adopt.left_out import LeftOut
from planner.intake.layout import SheetLayout, SheetPins
from planner.intake.mapping import ADOPTED
from planner.intake.names import plain

_ADOPTED_HEAD = """\
# Which sheet, header and column of {file} is which. Written by castingvote adopt; use it with --mapping.
#
# sheet, header_row    where a table stands; it is found again where rows were added above it
# columns              a column of the fleet = the text of a header, or a letter such as "=C"
# units                what the values are in, such as "s", "ms one way" or "Mb/s"
# leave_out            rows with one of these values are not read
# only = true          columns that are not named here are not used, but copied to the output
# not used             such a column, and why: give it a name under columns to use it
#
# Change what is wrong. An export of the same headers needs no question: castingvote adopt knows it again,
# and every command takes it with this file.
"""


def mapping_text(layout: Iterable[SheetLayout], ignore: Mapping[str, Sequence[str]] | None = None) -> str:
    """Return the mapping file that pins what ``layout`` says was found.

    A column that was found by its letter alone, since its header is blank or repeated, is named by its letter.
    ``ignore`` leads from sheets of the fleet to headers that are to be left out.
    """
    lines = ["# Which sheet, header row and column is which; use it with --mapping. Letters are written as =C.", ""]
    for sheet in layout:
        pins = replace(_pins_of(sheet), ignore=tuple((ignore or {}).get(sheet.sheet, ())))
        lines += _section(f"[{sheet.sheet}]", sheet.sheet, pins, {})
        if sheet.own:
            lines += [f"# Your own columns, copied to the output: {', '.join(map(_quoted, sheet.own))}", ""]
    return "\n".join(lines)


def _pins_of(sheet: SheetLayout) -> SheetPins:
    headers = [plain(m.header) for m in sheet.columns] + [plain(own) for own in sheet.own]
    columns = {}
    for matched in sheet.columns:
        once = matched.header and not matched.header.startswith("=") and headers.count(plain(matched.header)) == 1
        columns[matched.column] = matched.header if once else f"={matched.letter}"
    units = {m.column: m.unit for m in sheet.columns if m.unit}
    return SheetPins("", sheet.title, sheet.header_row, sheet.header_rows, columns, units)


def adoption_text(adoption: Adoption, file: str) -> str:
    """Return the mapping file of what was adopted from ``file``, with why each column was taken."""
    lines = [
        _ADOPTED_HEAD.format(file=_one_line(file)),
        f"[{ADOPTED}]",
        f"fingerprint = {_quoted(adoption.fingerprint)}",
    ]
    if adoption.answers:
        lines += ["", f"[{ADOPTED}.answers]", *(f"{_quoted(k)} = {_quoted(v)}" for k, v in adoption.answers.items())]
    lines.append("")
    sheets = [guess.sheet for guess in adoption.guesses]
    first = {id(guess.table): guess for guess in reversed(adoption.guesses)}
    for guess in adoption.guesses:
        name = f"[[{guess.sheet}]]" if sheets.count(guess.sheet) > 1 else f"[{guess.sheet}]"
        where = "" if guess.table is None else f" {guess.table.where},"
        lines.append(f"# {guess.sheet}:{_one_line(where)} likeness {guess.likeness:.2f}: {_one_line(guess.why)}")
        lines += [f"# {_one_line(note)}" for note in guess.notes]
        lines += [_not_used(column) for column in adoption.left_out if guess is first[id(column.table)]]
        lines += _section(name, guess.sheet, guess.pins, _remarks(guess))
    return "\n".join(lines)


def _not_used(column: LeftOut) -> str:
    samples = f"; such as {column.profile.examples}" if column.profile.values else ""
    return _one_line(f"# not used: {column.profile.label} ({column.profile.cell}): {column.why}{samples}")


def _remarks(guess: SheetGuess) -> Mapping[str, str]:
    return {
        c.name: _one_line(f"{c.profile.label}, likeness {c.likeness:.2f}: {c.why}; such as {c.profile.examples}")
        for c in guess.columns
    }


def _section(name: str, sheet: str, pins: SheetPins, remarks: Mapping[str, str]) -> list[str]:
    """Return the lines of one table: plain entries, then its tables."""
    lines = [name]
    lines += [f"sheet = {_quoted(pins.title)}"] if pins.title else []
    lines += [f"also = {_list(pins.also)}"] if pins.also else []
    lines += [f"header_row = {pins.header_row}"] if pins.header_row else []
    lines += [f"header_rows = {pins.header_rows}"] if pins.header_rows > 1 else []
    lines += ["only = true"] if pins.only else []
    lines += ["hubs_down = true  # a row for each hub, a column for each site"] if pins.hubs_down else []
    lines += [f"hubs = {_list(pins.hubs)}"] if pins.hubs else []
    lines += [f"listed = {_list(pins.listed)}  # a sheet {sheet} of the file counts instead"] if pins.listed else []
    lines += [f"ignore = {_list(pins.ignore)}"] if pins.ignore else []
    lines += [f"rows = {_quoted(pins.rows)}  # what a row is"] if pins.rows != "sites" else []
    lines += [f"unit_column = {_quoted(pins.unit_column)}"] if pins.unit_column else []
    lines += [f"dates = {_quoted(pins.dates)}"] if pins.dates else []
    for entry, text in (("labels", pins.labels), ("values", pins.values)):
        lines += [f"{entry} = {_quoted(text)}"] if text else []
    lines.append("")
    own = name.strip("[]")
    for table, texts in (
        ("columns", pins.columns),
        ("units", pins.units),
        ("settings", pins.settings),
        ("given", pins.given),
    ):
        if texts:
            lines += [
                f"[{own}.{table}]",
                *(_entry(k, v, remarks if table == "columns" else {}) for k, v in texts.items()),
                "",
            ]
    if pins.leave_out:
        lines += [f"[{own}.leave_out]", *(f"{_quoted(k)} = {_list(v)}" for k, v in pins.leave_out.items()), ""]
    return lines


def _entry(name: str, text: str, remarks: Mapping[str, str]) -> str:
    remark = f"  # {remarks[name]}" if name in remarks else ""
    return f"{name} = {_quoted(text)}{remark}"


def _list(texts: Sequence[str]) -> str:
    return "[" + ", ".join(map(_quoted, texts)) + "]"


def _one_line(text: str) -> str:
    """Return a text that a comment can hold."""
    return "".join(c if c.isprintable() else " " for c in text)


def _quoted(text: str) -> str:
    """Return ``text`` as a basic string of TOML, in one line."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
