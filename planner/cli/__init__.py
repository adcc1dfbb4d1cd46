"""The command line: one thin file per command, and `main`, which owns the exit codes.

0 done and nothing to object to · 1 done, with an objection · 2 the input or the call is wrong, nothing
written · 3 an unexpected fault of ours · 130 interrupted before any result.
"""

from __future__ import annotations

import errno
import os
import sys
import traceback
from importlib import import_module
from typing import Any

import click
from click.shell_completion import CompletionItem

from planner.cli.conventions import conventional, defaults_for
from planner.cli.streams import TERMINAL, give_up, prepare_streams, printable, say
from planner.errors import CastingvoteError, InputError
from planner.interrupts import CODE, WORDS
from planner.version import VERSION

_TRACEBACK = "CASTINGVOTE_TRACEBACK"
_FULL = {errno.ENOSPC, errno.EFBIG, errno.EIO, errno.EDQUOT}


_HELP = ["-h", "--help"]
# The module and the short help of each command, in the order in which they are listed.
_COMMANDS = {
    "plan": ("plan", "Find the fewest tie-breaker hosts, with a proof."),
    "adopt": ("adopt", "Take anybody's own spreadsheet: say what each column is, once."),
    "verify": ("verify", "Check a plan, also one edited by hand, against its fleet."),
    "explain": ("explain", "Say why not fewer hosts, and which small changes would help."),
    "rollout": ("rollout", "Order the moves from today to a plan into safe waves."),
    "progress": ("tracking", "Say which sites are done, left, blocked or no longer as planned."),
    "compare": ("compare", "Say what differs between two plans or fleets, and why."),
    "drill": ("drill", "Lose a host, hub, zone or link: who goes where."),
    "availability": ("availability", "Say how long clusters are down in a year."),
    "sweep": ("sweep", "Plan many what-ifs and compare them."),
    "horizon": ("horizon", "Say when and where the next hosts are needed."),
    "designs": ("designs", "Compare three nodes with shared and own tie-breakers."),
    "report": ("write_report", "Write a plan as one page with map, drill and charts."),
    "export": ("export", "Write a plan as GeoJSON, CSV or Markdown."),
    "desk": ("desk", "Open a page on your machine: from the spreadsheet to the plan, with sliders."),
    "check": ("check", "Report problems in a fleet, and what is open at which site."),
    "template": ("template", "Write an empty fleet workbook to fill in."),
    "demo": ("demo", "Write a small invented fleet and its plan, to look at."),
    "manual": ("manual", "Print a page of the manual, or search it."),
    "completion": ("completion", "Print the script that completes commands in a shell."),
}


class _Commands(click.Group):
    """Loads a command when it is called: the list of commands and their names wait for none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in order."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of that name."""
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = getattr(import_module(f"planner.cli.{_COMMANDS[cmd_name][0]}"), cmd_name)
        command.context_settings.setdefault("help_option_names", _HELP)  # also where it is asked for without its group
        return conventional(command)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is called, and the defaults that the user's file has for it."""
        name, command, rest = super().resolve_command(ctx, args)
        if name is not None and command is not None and not ctx.resilient_parsing:
            every = (found for other in _COMMANDS if (found := self.get_command(ctx, other)) is not None)
            ctx.default_map = {name: defaults_for(command, name, lambda: every)}
        return name, command, rest

    def invoke(self, ctx: click.Context) -> Any:
        """Call the command; an interruption is told once, by `main`, and not with a blank line of click's before."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise click.Abort from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands with their short helps."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in _COMMANDS.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the names and options that begin with ``incomplete``."""
        named = [(name, words) for name, (_, words) in _COMMANDS.items() if name.startswith(incomplete)]
        items = [CompletionItem(name, help=words) for name, words in named]
        return [*items, *click.Command.shell_complete(self, ctx, incomplete)]


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": _HELP, "max_content_width": 100, "auto_envvar_prefix": "CASTINGVOTE"},
    epilog="Exit codes: 0 done; 1 done, with an objection; 2 wrong input or call; 3 a fault of ours; 130 interrupted.",
)
@click.version_option(VERSION, "-V", "--version", prog_name="castingvote")
def cli() -> None:
    """Plan tie-breaker hosts for a fleet of two-node clusters: how many, where, who uses which, and a proof.

    \b
    Example:
        castingvote plan fleet.xlsx -o plan.xlsx
    """


conventional(cli)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with one of the codes above."""
    prepare_streams()
    TERMINAL.reset()
    sys.exit(_run(arguments))


def _run(arguments: list[str] | None) -> int:
    try:
        return _called(arguments)
    except click.ClickException as error:
        return _refused(error)
    except InputError as error:
        from planner.cli.report import print_findings, tally

        print_findings(error.findings)
        say(f"{tally(error.findings)}.", err=True)
        return 2
    except (click.Abort, KeyboardInterrupt):
        say(WORDS, err=True)
        return CODE
    except Exception as error:
        return _fault(error)


def _called(arguments: list[str] | None) -> int:
    try:
        result = cli.main(args=arguments, prog_name="castingvote", standalone_mode=False)
    except OSError as error:  # of click's own printing of help; files that cannot be written tell of themselves
        if error.errno not in _FULL:
            raise
        give_up(error, err=False)
        return 0
    return result if isinstance(result, int) else 0


def _refused(error: click.ClickException) -> int:
    try:
        error.show()
    except OSError as trouble:
        give_up(trouble, err=True)
    return 2


def _fault(error: Exception) -> int:
    """Report a fault of ours in one line, with the traceback for those who ask for it."""
    if TERMINAL.verbose or os.environ.get(_TRACEBACK):
        traceback.print_exception(error)
    kind = "" if isinstance(error, CastingvoteError) else f"{type(error).__name__}: "
    words = printable(" ".join(f"{kind}{error}".split()))
    say(
        f"castingvote failed: {words}. This is a fault of castingvote, not of your file. "
        "Run again with -v for the traceback and send it with the command to the project.",
        err=True,
    )
    return 3
