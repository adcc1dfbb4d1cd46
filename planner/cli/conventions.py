"""What every command has in common, given to each when it is loaded, so that no command can forget it.

``-v`` and ``--no-color``; ``-`` for an input on standard input; defaults from a file castingvote.toml.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from planner.cli.streams import TERMINAL

STDIN = "castingvote.stdin"  # where the context keeps the file that standard input was written to
_CONFIG = "CASTINGVOTE_CONFIG"
_FILE, _SECTION = "castingvote.toml", "castingvote"
_NEVER_A_DEFAULT = ("help", "version", "force")  # nothing that people typed is replaced unasked
_INPUTS = ("fleet", "plan", "plans", "old", "new", "file")


def conventional(command: click.Command) -> click.Command:
    """Give ``command`` the options that all have, and let its inputs be ``-``; once, however often it is loaded."""
    if any(param.name == "verbose" for param in command.params):
        return command
    command.params += [_verbose(), _no_color()]
    for param in command.params:
        if isinstance(param, click.Argument) and isinstance(param.type, click.Path) and param.name in _INPUTS:
            param.type = _Input(path_type=Path)
        if isinstance(param, click.Option) and param.name in _NEVER_A_DEFAULT:
            param.allow_from_autoenv = False
        if isinstance(param, click.Option) and isinstance(param.type, click.types.IntRange) and not param.count:
            param.metavar = param.metavar or "NUMBER"
    return command


def _flag(*names: str, told: Callable[[], None], words: str) -> click.Option:
    def callback(_context: click.Context, _parameter: click.Parameter, value: bool) -> None:
        if value:
            told()

    return click.Option(names, is_flag=True, expose_value=False, callback=callback, help=words)


def _verbose() -> click.Option:
    words = "Print on standard error how long each step takes, and full details of a fault."
    return _flag("-v", "--verbose", told=TERMINAL.be_verbose, words=words)


def _no_color() -> click.Option:
    return _flag("--no-color", told=TERMINAL.be_plain, words="Print without colours; so does the variable NO_COLOR.")


class _Input(click.Path):
    """The path of an input; ``-`` is standard input, which is kept in a file while the command runs."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path."""
        if str(value) != "-" or ctx is None or ctx.resilient_parsing:
            return super().convert(value, param, ctx)
        if STDIN in ctx.meta:
            raise click.UsageError("Only one input can be standard input (-).")
        if sys.stdin is None or sys.stdin.isatty():
            raise click.UsageError("- reads standard input, but nothing is sent there.")
        content = sys.stdin.buffer.read()
        folder = Path(tempfile.mkdtemp(prefix="castingvote-"))
        ctx.call_on_close(lambda: shutil.rmtree(folder, ignore_errors=True))
        path = folder / f"standard-input{_ending(content)}"
        path.write_bytes(content)
        ctx.meta[STDIN] = path
        return path


def _ending(content: bytes) -> str:
    if content.startswith(b"PK"):
        return ".ods" if b"opendocument" in content[:100] else ".xlsx"
    return ".json" if content.lstrip()[:1] == b"{" else ".csv"


def defaults_for(command: click.Command, name: str, others: Callable[[], Iterator[click.Command]]) -> dict[str, Any]:
    """Return the values that castingvote.toml gives for the options of ``command``, by the names of its parameters.

    The file is that of CASTINGVOTE_CONFIG, else castingvote.toml here, else that of the user's settings folder. Section
    ``[castingvote]`` holds for every command that has the option, ``[castingvote.plan]`` for plan alone. ``others``
    yields all commands, to tell an option of another one from a misspelt one. UsageError names what is wrong.
    """
    path = _config_file()
    if path is None:
        return {}
    common, own = _sections(path, name)
    options = {long: param for param in command.params for long in _long_names(param)}
    found: dict[str, Any] = {}
    wrong: list[str] = []
    for key, value in {**common, **own}.items():
        if key in options:
            found[options[key].name or key] = _fitted(options[key], command, key, value, wrong)
        elif key in own or not any(key in _long_names(param) for other in others() for param in other.params):
            wrong.append(f"{key} is no option of {'castingvote ' + name if key in own else 'any command'}")
    if wrong:
        raise click.UsageError(f"{path}: {'; '.join(wrong)}. Correct the file, or set {_CONFIG} to another.")
    if found:
        TERMINAL.notes.append(f"Defaults from {path}: {', '.join(sorted(found))}.")
    return found


def _config_file() -> Path | None:
    named = os.environ.get(_CONFIG)
    if named:
        if not Path(named).is_file():
            raise click.UsageError(f"{_CONFIG} names {named}, which is no file.")
        return Path(named)
    there = (Path(_FILE), Path(click.get_app_dir("castingvote")) / _FILE)
    return next((path for path in there if path.is_file()), None)


def _sections(path: Path, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what the file says of all commands, and of one."""
    import tomllib

    try:
        whole = tomllib.loads(path.read_text(encoding="utf-8")).get(_SECTION, {})
    except (OSError, ValueError) as error:
        raise click.UsageError(f"{path} cannot be read: {error}. Correct the file.") from error
    if not isinstance(whole, Mapping):
        raise click.UsageError(f"{path}: {_SECTION} is no section. Write [{_SECTION}].")
    own = whole.get(name, {})
    common = {key: value for key, value in whole.items() if not isinstance(value, Mapping)}
    return common, dict(own) if isinstance(own, Mapping) else {}


def _long_names(param: click.Parameter) -> list[str]:
    """Return the names of an option as the file has them, without dashes in front."""
    allowed = isinstance(param, click.Option) and param.name not in _NEVER_A_DEFAULT
    return [name[2:] for name in param.opts if name.startswith("--")] if allowed else []


def _fitted(param: click.Parameter, command: click.Command, key: str, value: Any, wrong: list[str]) -> Any:
    """Return ``value`` as the option takes it; what it does not take is told in ``wrong``."""
    try:
        param.type_cast_value(click.Context(command), value)
    except (click.BadParameter, TypeError, ValueError) as error:
        words = error.message if isinstance(error, click.BadParameter) else str(error)
        wrong.append(f"{key}: {words.rstrip('.')}")
    return value
