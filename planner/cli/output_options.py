"""Options of what commands write, and how it takes the place of what stood there."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import click

from planner.cli.options import Command, remember
from planner.cli.streams import is_stdout, say
from planner.interrupts import goes_on_writing, heard

_FORCE, _KEPT = "castingvote.force", "castingvote.kept"

FORCE = click.option(
    "--force",
    is_flag=True,
    expose_value=False,
    callback=remember(_FORCE),
    help="Replace a workbook that people have filled in; a copy of it is kept beside it.",
)


def workbook(name: str, words: str) -> Callable[[Command], Command]:
    """Add the option -o, which writes a workbook such as ``name``.xlsx, and --force; ``words`` are the help of -o."""
    path = click.Path(path_type=Path)
    output = click.option("-o", "--output", type=path, callback=workbook_name, metavar=f"{name}.xlsx", help=words)
    return lambda command: output(FORCE(command))


def json_file(name: str, what: str) -> Callable[[Command], Command]:
    """Return the option --json, which writes ``what`` to a file or standard output; see `streams.hand_over`."""
    words = f"Write {what} as JSON. With - it goes to standard output, alone."
    return click.option("--json", "json_path", type=click.Path(path_type=Path), metavar=f"{name}.json", help=words)


def workbook_name(_context: click.Context, _parameter: click.Parameter, path: Path | None) -> Path | None:
    """Refuse a name that spreadsheet programs would not open as what it is."""
    if path is not None and path.suffix.lower() != ".xlsx":
        raise click.BadParameter(f"{path} is to be a workbook; give a name that ends in .xlsx.")
    return path


def page_name(_context: click.Context, _parameter: click.Parameter, path: Path | None) -> Path | None:
    """Refuse a name that browsers would not open as a page; it cannot be that of the fleet or the plan either."""
    if path is not None and path.suffix.lower() not in (".html", ".htm"):
        raise click.BadParameter(f"{path} is to be a web page; give a name that ends in .html.")
    return path


def check_outputs(fleet: Path, *outputs: Path | None, plan: Path | None = None) -> None:
    """Refuse, before any work, outputs that cannot be written or would replace the input or each other."""
    sheets = [path for path in fleet.iterdir() if path.suffix.lower() == ".csv"] if fleet.is_dir() else []
    seen = {path.resolve() for path in (fleet, plan, *sheets) if path is not None and not is_stdout(path)}
    for output in outputs:
        if output is None or str(output) == "-":
            continue
        target = output.resolve()
        if target in seen:
            raise click.UsageError(f"{output} is named twice: inputs and outputs must be different files.")
        if target.is_dir():
            raise click.UsageError(f"{output} is a folder; name a file in it.")
        if not target.parent.is_dir():
            raise click.UsageError(f"The folder of {output} does not exist; create it or name another one.")
        if not os.access(target.parent, os.W_OK):
            raise click.UsageError(f"The folder of {output} cannot be written to; name another one.")
        seen.add(target)
    _spare_what_people_typed([path for path in outputs if path is not None and path.suffix.lower() == ".xlsx"])


def _spare_what_people_typed(workbooks: Sequence[Path]) -> None:
    """Refuse to replace workbooks with what people typed; with --force remember them, to be kept."""
    if not any(path.exists() for path in workbooks):
        return
    from planner.outputs.typed import typed_into

    context = click.get_current_context()
    typed = {path: words for path in workbooks if (words := typed_into(path))}
    if typed and not context.meta.get(_FORCE):
        listed = "; ".join(f"{path} exists: {words}" for path, words in typed.items())
        raise click.UsageError(
            f"{listed}. Nothing was written. Name another file, or add --force: a copy of it is kept beside it then."
        )
    context.meta[_KEPT] = list(typed)


def keep_beside(paths: Sequence[Path]) -> None:
    """Let `put_in_place` keep a copy of each of these files."""
    click.get_current_context().meta[_KEPT] = list(paths)


@contextmanager
def put_in_place() -> Iterator[None]:
    """Let all outputs that are written in the block take their places together, or none; see `atomic.together`.

    What people typed into a workbook that is replaced is kept beside it. By now all is known: a first Ctrl-C loses
    nothing, and a second one ends the program.
    """
    from planner.outputs.atomic import afterwards, together
    from planner.outputs.typed import keep_copy

    with together():
        for path in click.get_current_context().meta.get(_KEPT, ()):
            kept = keep_copy(path)
            afterwards(lambda path=path, kept=kept: say(f"Copy of the old {path}: {kept}.", err=True))  # type: ignore[misc]
        with heard(goes_on_writing):
            yield
