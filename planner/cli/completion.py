"""`castingvote completion`: tab completion for the shells that click supports."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from planner.cli.streams import say


@click.command()
@click.argument("shell", metavar="SHELL", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def completion(context: click.Context, shell: str) -> int:
    """Print the script that makes SHELL (bash, zsh or fish) complete commands and options.

    \b
    Example:
        castingvote completion bash >> ~/.bashrc
    """
    maker = get_completion_class(shell)
    root = context.find_root()
    assert maker is not None  # the choices above are click's own
    say(maker(root.command, {}, "castingvote", "_CASTINGVOTE_COMPLETE").source())
    return 0
