"""Every command explains itself, with an example to paste that its own parser accepts."""

import shlex

import click
import pytest

from planner.cli import cli


def walk(command, path=("castingvote",)):
    yield path, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            yield from walk(command.get_command(context, name), (*path, name))


COMMANDS = {" ".join(path): command for path, command in walk(cli)}


def example(command):
    """The lines after the last Example: of a command's help."""
    text, found, lines = command.help.rpartition("Example:\n")
    assert found, "no Example block"
    assert text.strip()
    return [line.strip() for line in lines.splitlines() if line.strip()]


@pytest.mark.parametrize("name", COMMANDS)
def test_help_ends_with_an_example_that_parses(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    lines = example(COMMANDS[name])
    assert any(line.startswith(name) for line in lines)
    for line in lines:
        program, *arguments = shlex.split(line.partition(" >>")[0])
        assert program == "castingvote"
        COMMANDS[f"castingvote {arguments[0]}"].make_context(arguments[0], arguments[1:])


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_help_and_every_argument_is_explained(name):
    command = COMMANDS[name]
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
        else:
            assert parameter.name.upper() in command.help, parameter.name


@pytest.mark.parametrize("name", COMMANDS)
def test_short_help_is_a_sentence(name):
    first = COMMANDS[name].help.split("\n\n")[0]
    assert first[0].isupper()
    assert first.rstrip().endswith(".")


@pytest.mark.parametrize("option", ["-h", "--help"])
def test_the_exit_codes_are_in_the_help_of_the_program(call, option):
    shown = " ".join(call(option).out.split())
    for words in (
        "0 done",
        "1 done, with an objection",
        "2 wrong input or call",
        "3 a fault of ours",
        "130 interrupted",
    ):
        assert words in shown
