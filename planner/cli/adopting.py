"""What `castingvote adopt` shows and asks: guesses with their reasons, questions with sample values, what was read."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click
from rich.text import Text

from planner.cli.console import console
from planner.cli.streams import printable, say
from planner.counted_words import counted

if TYPE_CHECKING:
    from pathlib import Path

    from rich.console import Console

    from planner.intake import Adopting
    from planner.intake.adopt import Adoption, Choice, LeftOut, Question, SheetGuess
    from planner.intake.read_fleet import Inspection

_MOST_ASKED = 6  # what is less important is taken, and listed
_BY_CHANCE = 1.0


def print_adoption(adoption: Adoption, file: Path) -> None:
    """Print what each table is taken for, with the reasons."""
    from planner.cli.report import bare_table

    target = console()
    target.print(Text(f"What {printable(str(file))} holds, as castingvote understands it:", style="bold"))
    for guess in adoption.guesses:
        where = "" if guess.table is None else f" is {guess.table.where}, {counted(guess.table.rows, 'row')}"
        if guess.sheet == "Policy":
            where = f" is on sheet {guess.pins.title}" if guess.pins.title else ""
        target.print(Text(f"{guess.sheet}{printable(where)} (likeness {guess.likeness:.2f}: {printable(guess.why)})"))
        for note in guess.notes:
            target.print(Text(f"  {printable(note)}"))
        if guess.columns:
            table = bare_table(target)
            table.show_header = False
            for column in guess.columns:
                header = f"{column.profile.label} ({column.profile.cell})"
                words = (f"  {column.name}", header, f"{column.likeness:.2f}", column.why)
                table.add_row(*map(_cell, (*words, f"such as {column.profile.examples}")))
            target.print(table)
    if adoption.unused:
        listed = ", ".join(printable(table.where) for table in adoption.unused)
        target.print(Text(f"Tables that are not used: {listed}"))
    if adoption.left_out:
        _print_left_out(target, adoption.left_out)


def _print_left_out(target: Console, left_out: tuple[LeftOut, ...]) -> None:
    from planner.cli.report import bare_table

    target.print(Text(f"Not used in the plan: {counted(len(left_out), 'column')} of these tables"))
    table = bare_table(target)
    table.show_header = False
    for left in left_out:
        header = f"{left.profile.label} ({left.table.block.raw.title}!{left.profile.cell})"
        samples = f"such as {left.profile.examples}" if left.profile.values else ""
        table.add_row(*map(_cell, (f"  {header}", left.why, samples)))
    target.print(table)


def _cell(words: str) -> Text:
    return Text(printable(words), overflow="fold")


def answered(adopting: Adopting, answers: dict[str, str], *, accept: bool) -> Adoption:
    """Return the adoption with every question answered: by a person at a terminal, else by the best guess.

    Raises UsageError where questions are open, nobody can be asked, and guesses are not to be accepted.
    """
    adoption = adopting.adoption(answers)
    asked = 0
    while (question := next(iter(adoption.open), None)) is not None:
        if accept or asked >= _MOST_ASKED:
            answers = {**answers, question.key: _best(question)}
        elif sys.stdin.isatty():
            asked += 1
            answers = {**answers, question.key: _asked(question, asked)}
        else:
            open_ones = "; ".join(f"{q.key}: {q.words}" for q in adoption.open)
            raise click.UsageError(
                f"Unanswered: {printable(open_ones)} Nothing was written. Run it in a terminal, or with --accept, "
                "or with --answer QUESTION=CHOICE for each."
            )
        adoption = adopting.adoption(answers)
    return adoption


def _best(question: Question) -> str:
    return question.choices[0].key if question.choices else ""


def _asked(question: Question, number: int) -> str:
    """Ask a person and return the key of the choice; a number, the words of a choice, or text where that is free."""
    say("")
    say(f"Question {number}: {printable(question.words)}")
    for k, choice in enumerate(question.choices, 1):
        say(f"  {k}  {printable(_in_words(choice))}")
    default = "1" if question.choices else ""
    while True:
        answer = str(click.prompt("Your choice", default=default, show_default=bool(default))).strip()
        if answer.isdecimal() and 1 <= int(answer) <= len(question.choices):
            return question.choices[int(answer) - 1].key
        known = next(
            (c.key for c in question.choices if answer.casefold() in (c.key.casefold(), c.words.casefold())), None
        )
        if known is not None or (question.free and _is_fit(question, answer)):
            return answer if known is None else known
        say(
            f"Type a number from 1 to {len(question.choices)}."
            if question.choices
            else "Type a number of ms, such as 40."
        )


def _is_fit(question: Question, answer: str) -> bool:
    if question.choices or not answer:
        return bool(question.choices)
    try:
        return float(answer.replace(",", ".")) > 0
    except ValueError:
        return False


def _in_words(choice: Choice) -> str:
    samples = f": {choice.samples}" if choice.samples else ""
    return f"{choice.words}{samples} (likeness {choice.likeness:.2f})"


def print_taken(adoption: Adoption) -> None:
    """Print which answer each question got, and how to give another."""
    for question in adoption.questions:
        key = adoption.answers.get(question.key, "")
        chosen = next((c for c in question.choices if c.key == key), None)
        taken = chosen.words if chosen is not None else key or "nothing"
        others = "; ".join(f"{c.words} ({c.key or 'blank'})" for c in question.choices if c is not chosen)
        rest = f" Other answers: {others}." if others else ""
        say(printable(f"Answer taken for question {question.key}: {question.words} {taken}.{rest}"))


def print_reading(inspection: Inspection) -> None:
    """Print what the file, read with the mapping, makes: numbers, and the findings that change the plan."""
    from planner.cli.report import print_findings, tally

    fleet = inspection.fleet
    print_findings(inspection.findings, err=False, least="warning")
    if fleet is None:
        say(f"Read with the mapping: {tally(inspection.findings)}. Correct the errors before you plan.")
        return
    clusters = int(fleet.clusters.sum())
    say(
        f"Read with the mapping: {counted(len(fleet.site_ids), 'site')} with {counted(clusters, 'cluster')}, "
        f"{counted(len(fleet.hub_ids), 'hub')}, {counted(len(fleet.latency), 'measured pair')}, "
        f"{counted(fleet.current['site'].nunique(), 'site')} with a host today; {tally(inspection.findings)}."
    )


def plain_guess(guess: SheetGuess) -> dict[str, Any]:
    """Return a guess as plain data."""
    return {
        "sheet": guess.sheet,
        "table": None if guess.table is None else guess.table.where,
        "rows": None if guess.table is None else guess.table.rows,
        "likeness": guess.likeness,
        "why": guess.why,
        "notes": list(guess.notes),
        "columns": [
            {
                "column": c.name,
                "header": c.profile.header,
                "letter": c.profile.block.raw.place(0, c.profile.column + 1).cell,
                "likeness": c.likeness,
                "why": c.why,
                "samples": c.profile.examples,
            }
            for c in guess.columns
        ],
    }


def plain_left_out(column: LeftOut) -> dict[str, Any]:
    """Return a column that is not used as plain data; ``like`` is the column that its header is like, "" if none."""
    profile = column.profile
    return {
        "table": column.table.where,
        "header": profile.header,
        "letter": profile.cell,
        "like": column.like,
        "why": column.why,
        "samples": profile.examples,
    }


def plain_question(question: Question, answers: Any) -> dict[str, Any]:
    """Return a question as plain data; ``answer`` is None where it is open."""
    choices = [{"key": c.key, "words": c.words, "samples": c.samples, "likeness": c.likeness} for c in question.choices]
    answer = answers.get(question.key)
    return {"key": question.key, "words": question.words, "choices": choices, "free": question.free, "answer": answer}
