"""Arguments and options that several commands share: what they read, and how long they solve."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from planner.cli.conventions import STDIN
from planner.cli.streams import say

if TYPE_CHECKING:
    from planner.fleet import Fleet
    from planner.plan import Plan
    from planner.progress import Cell


Command = TypeVar("Command", bound=Callable[..., Any])

_MAPPING, _PINGS, _RETURNED, _STATUSES, _OWN, _STEPS = (
    f"castingvote.{key}" for key in ("mapping", "pings", "returned", "statuses", "own", "steps")
)


def remember(key: str) -> Callable[[click.Context, click.Parameter, Any], None]:
    """Return what keeps the value of an option in the command's context, under ``key``."""

    def keep(context: click.Context, _parameter: click.Parameter, value: Any) -> None:
        context.meta[key] = value

    return keep


def reading(command: Command) -> Command:
    """Add the options --mapping and --pings, which `given_mapping` and `given_pings` tell."""
    mapping = click.option(
        "--mapping",
        type=click.Path(path_type=Path),
        metavar="MAPPING.toml",
        expose_value=False,
        callback=remember(_MAPPING),
        help="Read sheets and columns as this file says; `adopt` makes one.",
    )
    pings = click.option(
        "--pings",
        type=click.Path(path_type=Path, file_okay=False),
        metavar="FOLDER",
        expose_value=False,
        callback=remember(_PINGS),
        help="Read saved ping output too: one file SITE__HUB.txt for each pair.",
    )
    own = click.option(
        "--own",
        multiple=True,
        metavar="NAME",
        expose_value=False,
        callback=remember(_OWN),
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
    from planner.tracking import doubts, fleet_now, merged, resolved

    plan = plan_among(returned)
    found = called_as_planned(found, plan)
    copies = resolved(read_copies(returned, given_statuses()), found, plan)
    whole = merged(copies)
    click.get_current_context().meta[_STEPS] = whole.steps
    now = fleet_now(found, plan, whole)
    for note in (*doubts(copies, whole), *now.notes):
        say(f"note       {note}", err=True)
    # What is planned or checked rests on these workbooks too.
    files = (file for path in returned for file in (sorted(path.glob("*.csv")) if path.is_dir() else [path]))
    read = (Source(file.name, hashlib.sha256(file.read_bytes()).hexdigest()) for file in files)
    return now.fleet.replace(sources=(*found.sources, *read))


def fleet_and_plan(fleet: Path, plan: Path) -> tuple[Fleet, Plan]:
    """Return a plan and the fleet that it is of, without what the plan was asked to empty.

    Raises InputError where one of them cannot be read.
    """
    from planner.outputs import read_plan
    from planner.sizing import as_planned

    inventory, made = read_inventory(fleet), read_plan(plan)
    return as_planned(called_as_planned(inventory, made), made), made


def called_as_planned(fleet: Fleet, plan: Plan) -> Fleet:
    """Return the fleet with hosts called as the plan calls them, and say on standard error which were not."""
    from planner.named_alike import named_as_planned

    named, notes = named_as_planned(fleet, plan)
    for note in notes:
        say(f"note       {note}", err=True)
    return named


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
        callback=remember(_RETURNED),
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
