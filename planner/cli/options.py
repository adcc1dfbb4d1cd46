"""Arguments and options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

FLEET = click.argument("fleet", type=click.Path(path_type=Path))
QUIET = click.option("-q", "--quiet", is_flag=True, help="Print nothing but errors.")


def solving(command: Command) -> Command:
    """Add the options of every command that solves."""
    for option in (
        click.option(
            "--solver",
            type=click.Choice(["highs", "cbc"]),
            default="highs",
            show_default=True,
            help="Solver of the model; CBC must be installed.",
        ),
        click.option(
            "--seed",
            type=click.IntRange(min=0, max=2**31 - 1),
            default=0,
            show_default=True,
            help="Same fleet and seed, same plan.",
        ),
        click.option(
            "--time-limit",
            type=click.FloatRange(min=0.0),
            metavar="SECONDS",
            help="Stop solving after this long and keep the best plan so far, with its gap.",
        ),
    ):
        command = option(command)
    return command


def check_outputs(fleet: Path, *outputs: Path | None) -> None:
    """Refuse outputs that would overwrite the input or each other, or whose folder is missing, before any work."""
    seen = {fleet.resolve()}
    for output in outputs:
        if output is None or str(output) == "-":
            continue
        if output.resolve() in seen:
            raise click.UsageError(f"{output} is named twice: inputs and outputs must be different files.")
        if not output.resolve().parent.is_dir():
            raise click.UsageError(f"The folder of {output} does not exist; create it or name another one.")
        seen.add(output.resolve())
