"""`castingvote adopt`: take anybody's own spreadsheet, and write the mapping that every command reads it with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import command_line
from planner.cli.output_options import check_outputs, json_file, put_in_place
from planner.cli.streams import hand_over, is_stdout, say

if TYPE_CHECKING:
    from planner.intake import Adopting
    from planner.intake.adopt import Adoption
    from planner.intake.read_fleet import Inspection


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="FLEET.toml",
    help="Write the mapping here; without it nothing is written.",
)
@click.option("--accept", is_flag=True, help="Take the best guess for every open question, and list them.")
@click.option(
    "--answer",
    "given",
    multiple=True,
    metavar="QUESTION=CHOICE",
    help="Answer a question in advance. --json and --accept show the names of questions and choices.",
)
@json_file("ADOPT", "guesses and questions")
@click.option("--force", is_flag=True, help="Replace FLEET.toml if it exists.")
def adopt(
    file: Path, output: Path | None, accept: bool, given: tuple[str, ...], json_path: Path | None, force: bool
) -> int:
    """Say how each sheet and column of FILE is understood, ask what is not clear, and write a mapping.

    FILE is a workbook or a folder as other systems export them, under whatever names. Tables are found by
    their shape, columns by their headers and by what they hold. Answers are remembered for files of the
    same headers. Ends with 1 when FILE, read with the mapping, still has errors.

    \b
    Example:
        castingvote adopt stores.xlsx -o fleet.toml
        castingvote plan stores.xlsx --mapping fleet.toml -o plan.xlsx
    """
    from planner.cli.adopting import answered, print_adoption, print_reading, print_taken
    from planner.intake import adopt as read_to_adopt
    from planner.intake.adopting import Memory, fingerprint_of
    from planner.outputs.atomic import write_text
    from planner.outputs.noun_json import noun_to_json

    check_outputs(file, output, json_path)
    adopting = read_to_adopt(file)
    memory = Memory(Path(click.get_app_dir("castingvote")) / "adopted")
    first = adopting.adoption({})
    if output is not None and output.exists() and not force:
        if fingerprint_of(output) != first.fingerprint:
            raise click.UsageError(f"{output} exists and is for other headers. Name another file, or add --force.")
        return _known(adopting, file, output)
    remembered, of_file = memory.recall(first.fingerprint)
    answers = {**remembered, **_given(given)}
    if json_path is not None:  # a program is to read it: nobody is there to answer
        adoption = adopting.adoption(answers)
    else:
        print_adoption(adopting.adoption(answers), file)
        if remembered:
            say(f"These headers are known from {of_file}: {len(remembered)} answer(s) are reused.")
        adoption = answered(adopting, answers, accept=accept)
        print_taken(adoption)
    if output is not None:
        with put_in_place():
            write_text(output, adopting.mapping(adoption))
        memory.keep(first.fingerprint, adoption.answers, file.name)
    inspection = adopting.inspect(output or Path("fleet.toml"), adoption.pins)
    with put_in_place():
        hand_over(lambda: noun_to_json(_as_json(adoption, inspection)), json_path)
    if not is_stdout(json_path):
        print_reading(inspection)
        _say_next(file, output, inspection)
    return 0 if inspection.fleet is not None else 1


def _known(adopting: Adopting, file: Path, output: Path) -> int:
    from planner.cli.adopting import print_reading

    say(f"{output} already maps these headers: there is nothing to ask. It stays unchanged; --force writes it anew.")
    inspection = adopting.inspect(output)
    print_reading(inspection)
    _say_next(file, output, inspection, written=False)
    return 0 if inspection.fleet is not None else 1


def _given(texts: tuple[str, ...]) -> dict[str, str]:
    answers = {}
    for text in texts:
        key, sign, choice = text.partition("=")
        if not sign:
            raise click.UsageError(f"--answer {text} has no =; write --answer QUESTION=CHOICE.")
        answers[key.strip()] = choice.strip()
    return answers


def _say_next(file: Path, output: Path | None, inspection: Inspection, *, written: bool = True) -> None:
    if output is None:
        say(f"Nothing was written. Next: {command_line('adopt', file, '-o', 'fleet.toml')}")
        return
    if written:
        say(f"Written: {output}")
    command = "plan" if inspection.fleet is not None else "check"
    more = ("-o", "plan.xlsx") if command == "plan" else ()
    say(f"Next: {command_line(command, file, '--mapping', output, *more)}")


def _as_json(adoption: Adoption, inspection: Inspection) -> dict[str, object]:
    """Return guesses, questions and what reading gave as plain data."""
    from planner.cli.adopting import plain_guess, plain_left_out, plain_question

    fleet = inspection.fleet
    return {
        "fingerprint": adoption.fingerprint,
        "guesses": [plain_guess(guess) for guess in adoption.guesses],
        "questions": [plain_question(question, adoption.answers) for question in adoption.questions],
        "unused": [table.where for table in adoption.unused],
        "left_out": [plain_left_out(column) for column in adoption.left_out],
        "sites": None if fleet is None else len(fleet.site_ids),
        "hubs": None if fleet is None else len(fleet.hub_ids),
        "findings": list(inspection.findings),
    }
