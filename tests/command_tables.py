"""Every command with its arguments and options as Markdown, read from the commands themselves."""

import inspect
import re

import click

from planner.cli import cli


def command_tables():
    """Return a section for each command, in the order in which they are listed."""
    context = click.Context(cli, info_name="castingvote")
    return "\n\n".join(_section(name, cli.get_command(context, name), context) for name in cli.list_commands(context))


def _section(name, command, above):
    context = click.Context(command, info_name=name, parent=above)
    text = inspect.cleandoc(command.help).replace("\b\n", "")
    words, _, example = text.partition("Example:\n")
    usage = f"{name} {' '.join(command.collect_usage_pieces(context))}"
    options = [one for one in command.params if isinstance(one, click.Option)]
    rows = [record for option in options if (record := option.get_help_record(context))]
    lines = [f"| {_cell(f'`{names}`')} | {_cell(help_text)} |" for names, help_text in rows]
    table = "\n".join(["| option | what it does |", "| --- | --- |", *lines]) if lines else "No options."
    paragraphs = "\n\n".join(" ".join(part.split()) for part in words.strip().split("\n\n"))
    return f"## {name}\n\n{paragraphs}\n\n```bash\n{inspect.cleandoc(example)}\n```\n\nUsage: `{usage}`\n\n{table}"


def _cell(text):
    return re.sub(r"(?<!\\)\|", r"\\|", " ".join(text.split()))
