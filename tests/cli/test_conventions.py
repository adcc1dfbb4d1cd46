"""One meaning of each option on every command: a table that a new command has to fit, and the common ways to call."""

import io
import json
import re
import subprocess
import sys

import click
import pytest

from planner.cli import cli
from tests.cli.conftest import ROOT, environment

CONTEXT = click.Context(cli, info_name="castingvote")
COMMANDS = {name: cli.get_command(CONTEXT, name) for name in cli.list_commands(CONTEXT)}
OPTIONS = [(name, p) for name, command in COMMANDS.items() for p in command.params if isinstance(p, click.Option)]
SHORT = {"-o": "--output", "-q": "--quiet", "-v": "--verbose", "-V": "--version", "-h": "--help"}
# What the value of an option may look like in help, wherever the option is; others are upper case words.
METAVARS = {
    "--json": r"[A-Z]+\.json",
    "--mapping": r"MAPPING\.toml",
    "--pings": "FOLDER",
    "--seed": "NUMBER",
    "--time-limit": "SECONDS",
    "--progress": r"PLAN\.xlsx",
    "--certificate": r"(PLAN|FILE)\.vipr",
    "--output": r"[A-Z]+\.(xlsx|html|toml)",
}
SPEAKING = {"adopt", "desk", "manual", "completion"}  # what they say is all that they do, so they cannot be quiet
ids = [f"{name} {option.opts[-1]}" for name, option in OPTIONS]


@pytest.mark.parametrize(("name", "option"), OPTIONS, ids=ids)
def test_an_option_means_the_same_everywhere(name, option):
    for short in (spelling for spelling in option.opts if not spelling.startswith("--")):
        assert SHORT[short] in option.opts
    if option.is_flag:
        assert option.metavar is None
    elif not isinstance(option.type, click.Choice):
        assert re.fullmatch(METAVARS.get(option.opts[-1], r"[A-Z][A-Z_]*([.=|-][\w|-]+)?"), option.metavar), (
            option.metavar
        )
    same = [other for _, other in OPTIONS if other.opts == option.opts]
    assert {(type(other.type), other.is_flag, other.multiple) for other in same} == {
        (type(option.type), option.is_flag, option.multiple)
    }


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_what_all_have(name):
    command = COMMANDS[name]
    has = {spelling for param in command.params if isinstance(param, click.Option) for spelling in param.opts}
    assert {"-v", "--no-color"} <= has
    assert ("-q" in has) != (name in SPEAKING)
    if "--json" in has:
        (option,) = (param for param in command.params if "--json" in param.opts)
        assert isinstance(option.type, click.Path)
    arguments = [param.name for param in command.params if isinstance(param, click.Argument)]
    if "fleet" in arguments:
        assert arguments[0] == "fleet"
        assert {"--mapping", "--pings"} <= has


def test_the_version_has_a_short_name(call):
    assert call("-V").out == call("--version").out != ""


def piped(arguments, stdin, **variables):
    return subprocess.run(
        [sys.executable, "-m", "planner", *map(str, arguments)],
        input=stdin,
        capture_output=True,
        cwd=ROOT,
        env=environment(**variables),
        check=False,
    )


def test_fleet_and_plan_can_be_standard_input(call, monkeypatch, twelve_sites):
    planned = piped(["plan", "-", "--json", "-", "--measure-first", "0"], twelve_sites.read_bytes())
    assert planned.returncode == 0, planned.stderr
    assert json.loads(planned.stdout)["sources"][0]["name"] == "standard-input.xlsx"
    assert b"standard-input" not in planned.stderr
    checked = piped(["verify", twelve_sites, "-"], planned.stdout)
    assert checked.stdout == b"The plan holds.\n", checked.stderr
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(planned.stdout)))
    both = call("verify", "-", "-")
    assert both.code == 2
    assert "Only one input can be standard input" in both.err
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"no workbook")))
    wrong = call("plan", "-")
    assert wrong.code == 2
    assert "Traceback" not in wrong.err


@pytest.fixture
def config(tmp_path, monkeypatch):
    monkeypatch.setattr(click, "get_app_dir", lambda _name: str(tmp_path / "settings"))
    return lambda text: (tmp_path / "castingvote.toml").write_text(text, encoding="utf-8")


def test_a_file_gives_defaults_and_the_command_line_comes_before_it(call, config, twelve_sites, tmp_path):
    config('[castingvote]\nquiet = true\nseed = 3\n[castingvote.plan]\njson = "kept.json"\nmeasure-first = 0\n')
    assert call("plan", twelve_sites).out == ""
    assert (tmp_path / "kept.json").exists()
    assert call("plan", twelve_sites, "--json", "other.json").code == 0
    assert (tmp_path / "other.json").exists()
    assert call("check", twelve_sites).out == ""  # it has no --seed, and that is nothing wrong
    assert "Defaults from castingvote.toml: quiet" in call("check", "-v", twelve_sites).err


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[castingvote]\nsede = 3", "sede is no option of any command"),
        ("[castingvote.plan]\nvary = 'a=1'", "vary is no option of castingvote plan"),
        ("[castingvote]\nseed = 'many'", "seed: 'many' is not a valid"),
        ("[castingvote]\nforce = true", "force is no option"),
        ("[castingvote", "cannot be read"),
        ("castingvote = 3", "is no section"),
    ],
)
def test_what_is_wrong_in_the_file_is_told_before_any_work(call, config, twelve_sites, text, told):
    config(text)
    done = call("plan", twelve_sites, "-o", "plan.xlsx")
    assert done.code == 2
    assert "castingvote.toml" in done.err
    assert told in done.err


def test_a_variable_names_another_file_and_variables_give_defaults(call, twelve_sites, tmp_path, monkeypatch):
    monkeypatch.setenv("CASTINGVOTE_PLAN_JSON_PATH", "by_variable.json")
    monkeypatch.setenv("CASTINGVOTE_PLAN_MEASURE_FIRST", "0")
    assert call("plan", "-q", twelve_sites).code == 0
    assert (tmp_path / "by_variable.json").exists()
    monkeypatch.setenv("CASTINGVOTE_CONFIG", "nowhere.toml")
    assert "nowhere.toml, which is no file" in call("check", twelve_sites).err


def test_colours_can_be_forbidden(call, fleets, monkeypatch):
    fleet, colour = fleets.wrong(), re.compile(r"\x1b\[[\d;]*3\d")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert colour.search(call("check", fleet).out)
    assert not colour.search(call("check", fleet, "--no-color").out)
    monkeypatch.setenv("NO_COLOR", "1")
    assert not colour.search(call("check", fleet).out)
