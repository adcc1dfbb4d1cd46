"""Arguments and options that several commands share."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from planner.cli.conventions import STDIN
from planner.cli.streams import is_stdout, say

if TYPE_CHECKING:
    from planner.fleet import Fleet
    from planner.progress import Cell


Command = TypeVar("Command", bound=Callable[..., Any])

_MAPPING, _PINGS, _FORCE, _KEPT, _RETURNED, _STATUSES, _OWN, _STEPS = (
    f"castingvote.{key}" for key in ("mapping", "pings", "force", "kept", "returned", "statuses", "own", "steps")
)


def _remember(key: str) -> Callable[[click.Context, click.Parameter, Any], None]:
    def remember(context: click.Context, _parameter: click.Parameter, value: Any) -> None:
        context.meta[key] = value

    return remember


def reading(command: Command) -> Command:
    """Add the options --mapping and --pings, which `given_mapping` and `given_pings` tell."""
    mapping = click.option(
        "--mapping",
        type=click.Path(path_type=Path),
        metavar="MAPPING.toml",
        expose_value=False,
        callback=_remember(_MAPPING),
        help="Read sheets and columns as this file says; `adopt` makes one.",
    )
    pings = click.option(
        "--pings",
        type=click.Path(path_type=Path, file_okay=False),
        metavar="FOLDER",
        expose_value=False,
        callback=_remember(_PINGS),
        help="Read saved ping output too: one file SITE__HUB.txt for each pair.",
    )
    own = click.option(
        "--own",
        multiple=True,
        metavar="NAME",
        expose_value=False,
        callback=_remember(_OWN),
        help="Also use this rule, aim or source of times from an installed package. Repeat --own for several.",
    )
    return mapping(pings(own(command)))


def FLEET(command: Command) -> Command:
    """Add the argument FLEET and the options --mapping and --pings, which `read_inventory` heeds."""
    return click.argument("fleet", type=click.Path(path_type=Path))(reading(command))


def read_inventory(fleet: Path) -> Fleet:
    """Return the fleet of a command's argument FLEET, read as its options say."""
    from planner.intake import read_fleet

    found = given_own(read_fleet(fleet, given_mapping(), pings=given_pings()))
    returned = given_progress()
    if not returned:
        return found
    import hashlib

    from planner.cli.given_plan import plan_among
    from planner.fleet import Source
    from planner.outputs.read_returned import read_copies
    from planner.tracking import fleet_now, merged, resolved

    plan = plan_among(returned)
    whole = merged(resolved(read_copies(returned, given_statuses()), found, plan))
    click.get_current_context().meta[_STEPS] = whole.steps
    now = fleet_now(found, plan, whole)
    for note in now.notes:
        say(f"note       {note}", err=True)
    # What is planned or checked rests on these workbooks too.
    read = (Source(path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in returned)
    return now.fleet.replace(sources=(*found.sources, *read))


def _statuses(context: click.Context, _parameter: click.Parameter, given: tuple[str, ...]) -> None:
    """Remember what words of the team mean, each given as WORD=STATUS."""
    if not given:
        return
    from planner.outputs.headings import PROGRESS_WORDS

    pairs = dict(one.rpartition("=")[::2] for one in given)
    wrong = [one for one in given if "=" not in one or one.rpartition("=")[2] not in PROGRESS_WORDS]
    if wrong:
        listed = ", ".join(PROGRESS_WORDS)
        raise click.BadParameter(f"{wrong[0]} gives no known status. Write WORD=STATUS with one of {listed}.")
    context.meta[_STATUSES] = pairs


STATUSES = click.option(
    "--status",
    multiple=True,
    metavar="WORD=STATUS",
    expose_value=False,
    callback=_statuses,
    help="Read your WORD in the status column as open, planned, done, blocked or not needed. Repeat it for several.",
)


def PROGRESS(command: Command) -> Command:
    """Add the options --progress and --status, which `read_inventory` heeds."""
    returned = click.option(
        "--progress",
        type=click.Path(path_type=Path),
        multiple=True,
        metavar="PLAN.xlsx",
        expose_value=False,
        callback=_remember(_RETURNED),
        help="Start from what this workbook says is done; may be given several times.",
    )
    return returned(STATUSES(command))


def given_statuses() -> dict[str, str]:
    """Return what words in the status column mean, as the command was told."""
    return click.get_current_context().meta.get(_STATUSES) or {}


def returned_steps() -> tuple[Mapping[str, Cell], ...]:
    """Return the steps of the rollout workbooks that came back, once `read_inventory` has read them."""
    return click.get_current_context().meta.get(_STEPS) or ()


def given_progress() -> tuple[Path, ...]:
    """Return the workbooks that came back and that the command was called with."""
    return click.get_current_context().meta.get(_RETURNED) or ()


def given_own(fleet: Fleet) -> Fleet:
    """Return the fleet with the rules and sources that the command was called with."""
    names = click.get_current_context().meta.get(_OWN) or ()
    if not names:
        return fleet
    from planner.own import installed

    return fleet.having(*(installed(name) for name in names))


def given_mapping() -> Path | None:
    """Return the mapping file that the command was called with."""
    path: Path | None = click.get_current_context().meta.get(_MAPPING)
    return path


def given_pings() -> Path | None:
    """Return the folder of ping output that the command was called with."""
    path: Path | None = click.get_current_context().meta.get(_PINGS)
    return path


def told_as(path: Path) -> str:
    """Return an input as the user named it."""
    return "-" if path == click.get_current_context().meta.get(STDIN) else str(path)


def command_line(command: str, *arguments: object) -> str:
    """Return a command of castingvote to paste, with the mapping, pings and progress that this one had.

    They go behind the first argument, the fleet.
    """
    context = click.get_current_context()
    shared: list[object] = []
    for option, key in (("--mapping", _MAPPING), ("--pings", _PINGS)):
        if (path := context.meta.get(key)) is not None:
            shared += [option, path]
    shared += [word for name in context.meta.get(_OWN) or () for word in ("--own", name)]
    for path in given_progress():
        shared += ["--progress", path]
    arguments = tuple("-" if word == context.meta.get(STDIN) else word for word in arguments)
    words = [*arguments[:1], *shared, *arguments[1:]]
    return " ".join(["castingvote", command, *(shlex.quote(str(word)) for word in words)])


FORCE = click.option(
    "--force",
    is_flag=True,
    expose_value=False,
    callback=_remember(_FORCE),
    help="Replace a workbook that people have filled in; a copy of it is kept beside it.",
)
QUIET = click.option("-q", "--quiet", is_flag=True, help="Print nothing but errors.")


SEED = click.option(
    "--seed",
    type=click.IntRange(min=0, max=2**31 - 1),
    default=0,
    show_default=True,
    help="Start number for the random choices of the solver.",
)
TIME_LIMIT = click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0),
    metavar="SECONDS",
    help="Finish within this time, with what was found by then.",
)


def solving(command: Command) -> Command:
    """Add the options of every command that solves."""
    for option in (
        click.option(
            "--seed",
            type=click.IntRange(min=0, max=2**31 - 1),
            metavar="NUMBER",
            default=0,
            show_default=True,
            help="The same fleet and seed give the same plan, unless time ends the search.",
        ),
        click.option(
            "--thorough",
            is_flag=True,
            help="Search about ten times longer for fewer moves and shorter round-trip times; the hosts stay as few.",
        ),
        click.option(
            "--time-limit",
            type=click.FloatRange(min=0.0),
            metavar="SECONDS",
            help="Finish within this time, with the best plan found by then. Reading and writing may take longer.",
        ),
    ):
        command = option(command)
    return command


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

    What people typed into a workbook that is replaced is kept beside it.
    """
    from planner.outputs.atomic import afterwards, together
    from planner.outputs.typed import keep_copy

    with together():
        for path in click.get_current_context().meta.get(_KEPT, ()):
            kept = keep_copy(path)
            afterwards(lambda path=path, kept=kept: say(f"Copy of the old {path}: {kept}.", err=True))  # type: ignore[misc]
        yield
