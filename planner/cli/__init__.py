"""The command line: one thin file per command, and `main`, which owns the exit codes.

0 done and nothing to object to · 1 done, with an objection · 2 the input or the call is wrong, nothing
written · 3 an unexpected fault of ours · 130 interrupted before any result.
"""

from __future__ import annotations

import os
import sys
import traceback

import click

from planner.cli.availability import availability
from planner.cli.check import check
from planner.cli.completion import completion
from planner.cli.demo import demo
from planner.cli.designs import designs
from planner.cli.drill import drill
from planner.cli.explain import explain
from planner.cli.export import export
from planner.cli.horizon import horizon
from planner.cli.plan import plan
from planner.cli.replan import replan
from planner.cli.report import print_findings, tally
from planner.cli.rollout import rollout
from planner.cli.streams import prepare_streams, printable, say
from planner.cli.sweep import sweep
from planner.cli.template import template
from planner.cli.tracking import progress
from planner.cli.verify import verify
from planner.cli.write_report import report
from planner.errors import CastingvoteError, InputError
from planner.version import VERSION

_TRACEBACK = "CASTINGVOTE_TRACEBACK"


class _Commands(click.Group):
    """Lists the commands in the order in which they were added, not by letter."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in that order."""
        return list(self.commands)


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done; 1 done, with an objection; 2 wrong input or call; 3 a fault of ours; 130 interrupted.",
)
@click.version_option(VERSION, prog_name="castingvote")
def cli() -> None:
    """Plan tie-breaker hosts for a fleet of two-node clusters: how many, where, who uses which, and a proof.

    \b
    Example:
        castingvote plan fleet.xlsx -o plan.xlsx
    """


for _command in (
    plan,
    verify,
    explain,
    replan,
    rollout,
    progress,
    drill,
    availability,
    sweep,
    horizon,
    designs,
    report,
    export,
    check,
    template,
    demo,
    completion,
):
    cli.add_command(_command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with one of the codes above."""
    prepare_streams()
    sys.exit(_run(arguments))


def _run(arguments: list[str] | None) -> int:
    try:
        result = cli.main(args=arguments, prog_name="castingvote", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.ClickException as error:
        error.show()
        return 2
    except InputError as error:
        print_findings(error.findings)
        say(f"{tally(error.findings)}.", err=True)
        return 2
    except (click.Abort, KeyboardInterrupt):
        say("Interrupted before there was a result. Files are written whole or not at all.", err=True)
        return 130
    except Exception as error:
        return _fault(error)


def _fault(error: Exception) -> int:
    """Report a fault of ours in one line, with the traceback for those who ask for it."""
    if os.environ.get(_TRACEBACK):
        traceback.print_exception(error)
    kind = "" if isinstance(error, CastingvoteError) else f"{type(error).__name__}: "
    words = printable(" ".join(f"{kind}{error}".split()))
    say(
        f"castingvote failed: {words}. This is a fault of castingvote, not of your file. "
        f"Run again with {_TRACEBACK}=1 for the traceback and send it with the command to the project.",
        err=True,
    )
    return 3
