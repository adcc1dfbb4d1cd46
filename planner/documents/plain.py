"""Plain JSON data as dataclasses, and what these look like as a JSON Schema, both by their fields."""

from __future__ import annotations

import dataclasses
import datetime as dt
import typing
from collections.abc import Mapping, Sequence
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from planner.errors import InputError
from planner.fleet import Finding

_LONGEST_SHOWN = 40
_PLAIN = {str: "string", int: "integer", float: "number", bool: "boolean"}
_NAMES = {str: "a text", int: "a whole number", float: "a number", bool: "true or false"}
_TIMES: dict[Any, tuple[str, str]] = {dt.date: ("date", "a date"), dt.datetime: ("date-time", "a moment")}


@dataclasses.dataclass(frozen=True, slots=True)
class Maybe:
    """A key that is there only where it was asked for."""

    hint: Any


@dataclasses.dataclass(frozen=True, slots=True)
class OrNull:
    """What ``hint`` says, or null."""

    hint: Any


@dataclasses.dataclass(frozen=True, slots=True)
class ListOf:
    """A list of what ``hint`` says."""

    hint: Any


class Reader:
    """Builds dataclasses from plain data and gathers what is wrong with it; ``file`` is the name that findings give."""

    def __init__(self, file: str) -> None:
        self._file = file
        self.findings: list[Finding] = []

    def noun(self, kind: type[Any], data: Any) -> Any:
        """Return the noun; InputError with a finding for each key that is missing or cannot be read."""
        found = self._read(kind, data, "")
        if self.findings:
            raise InputError(tuple(self.findings))
        return found

    def _read(self, hint: Any, value: Any, path: str) -> Any:
        """Return ``value`` as the type ``hint``, None with a finding where it is none; other keys are passed over."""
        options = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
        if value is None and NoneType in options:
            return None
        options = tuple(option for option in options if option is not NoneType)
        if len(options) > 1:
            option = next((one for one in options if isinstance(value, one)), options[0])
            return self._read(option, value, path)
        return self._one(options[0], value, path)

    def _one(self, hint: Any, value: Any, path: str) -> Any:
        origin = get_origin(hint)
        if hint is Any:
            return value
        if isinstance(hint, type) and dataclasses.is_dataclass(hint):
            return self._dataclass(hint, value, path)
        if origin is tuple:
            return self._tuple(get_args(hint), value, path)
        if origin in (dict, Mapping):
            return value if isinstance(value, dict) else self._wrong(path, value, "an object")
        if origin is Literal:
            options = get_args(hint)
            return value if value in options else self._wrong(path, value, f"one of {', '.join(map(str, options))}")
        if hint in _TIMES:
            return self._time(hint, value, path)
        return self._scalar(hint, value, path)

    def _scalar(self, hint: Any, value: Any, path: str) -> Any:
        fits = isinstance(value, hint)
        if hint in (int, float) and not isinstance(value, bool):
            fits = isinstance(value, int | float) and (hint is float or float(value).is_integer())
        elif hint is not bool:
            fits = fits and not isinstance(value, bool)
        return hint(value) if fits else self._wrong(path, value, _NAMES[hint])

    def _time(self, hint: Any, value: Any, path: str) -> Any:
        try:
            return hint.fromisoformat(value)
        except (TypeError, ValueError):
            return self._wrong(path, value, f"{_TIMES[hint][1]} in ISO 8601")

    def _tuple(self, kinds: Sequence[Any], value: Any, path: str) -> Any:
        if not isinstance(value, list):
            return self._wrong(path, value, "a list")
        if len(kinds) == 2 and kinds[1] is Ellipsis:
            kinds = [kinds[0]] * len(value)
        if len(kinds) != len(value):
            return self._wrong(path, value, f"a list of {len(kinds)}")
        return tuple(
            self._read(kind, one, f"{path}[{at}]") for at, (kind, one) in enumerate(zip(kinds, value, strict=True))
        )

    def _dataclass(self, kind: type[Any], value: Any, path: str) -> Any:
        if not isinstance(value, dict):
            return self._wrong(path, value, "an object")
        hints = typing.get_type_hints(kind)
        given = {}
        for field in dataclasses.fields(kind):
            place = f"{path}.{field.name}" if path else field.name
            if field.name in value:
                given[field.name] = self._read(hints[field.name], value[field.name], place)
            elif _needed(field):
                self._say("value_missing", place, f"{field.name} is missing.")
        return None if self.findings else kind(**given)

    def _wrong(self, path: str, value: Any, expected: str) -> None:
        shown = repr(value)
        shown = shown if len(shown) <= _LONGEST_SHOWN else f"{shown[:_LONGEST_SHOWN]}…"
        self._say("value_unreadable", path, f"{path or 'the file'} is {shown}, not {expected}.")

    def _say(self, code: str, where: str, message: str) -> None:
        hint = "Write the file again with castingvote."
        self.findings.append(Finding("error", code, where, message, hint, self._file))


class Describer:
    """Types as JSON Schema; ``more`` has keys that are written beside the fields of a dataclass."""

    def __init__(self, more: Mapping[type[Any], Mapping[str, Any]]) -> None:
        self._more = more
        self.definitions: dict[str, Any] = {}

    def of(self, hint: Any) -> dict[str, Any]:
        """Return the schema of one type; a mapping of names to types is that of an object with these keys."""
        if isinstance(hint, Mapping):
            return self._object(hint)
        if isinstance(hint, OrNull):
            return {"anyOf": [self.of(hint.hint), {"type": "null"}]}
        if isinstance(hint, ListOf):
            return {"type": "array", "items": self.of(hint.hint)}
        origin, arguments = get_origin(hint), get_args(hint)
        if origin in (Union, UnionType):
            return {"anyOf": [self.of(option) for option in arguments]}
        if origin is Literal:
            return {"enum": list(arguments)}
        if origin is tuple:
            return self._list(arguments)
        if origin in (dict, Mapping):
            return {"type": "object", "additionalProperties": self.of(arguments[1])}
        if hint is NoneType:
            return {"type": "null"}
        if isinstance(hint, type) and dataclasses.is_dataclass(hint):
            return self._dataclass(hint)
        if hint in _TIMES:
            return {"type": "string", "format": _TIMES[hint][0]}
        return {} if hint is Any else {"type": _PLAIN[hint]}

    def _object(self, members: Mapping[str, Any]) -> dict[str, Any]:
        hints = {name: hint.hint if isinstance(hint, Maybe) else hint for name, hint in members.items()}
        required = [name for name, hint in members.items() if not isinstance(hint, Maybe)]
        return {
            "type": "object",
            "properties": {name: self.of(hint) for name, hint in hints.items()},
            "required": required,
        }

    def _list(self, kinds: Sequence[Any]) -> dict[str, Any]:
        if len(kinds) == 2 and kinds[1] is Ellipsis:
            return {"type": "array", "items": self.of(kinds[0])}
        items = [self.of(kind) for kind in kinds]
        return {"type": "array", "prefixItems": items, "items": False, "minItems": len(items)}

    def _dataclass(self, kind: type[Any]) -> dict[str, Any]:
        name = kind.__name__
        if name not in self.definitions:
            self.definitions[name] = {}  # so that a kind may hold itself
            words = " ".join((kind.__doc__ or "").split("\n\n")[0].split())
            self.definitions[name] = {
                "description": words,
                **self._object(fields_of(kind) | dict(self._more.get(kind, {}))),
            }
        return {"$ref": f"#/$defs/{name}"}


def fields_of(kind: type[Any], leave_out: Sequence[str] = ()) -> dict[str, Any]:
    """Return the type of each field of a dataclass but ``leave_out``.

    Fields with a default may be missing: so a schema takes files from before they were added.
    """
    hints = typing.get_type_hints(kind)
    fields = [field for field in dataclasses.fields(kind) if field.name not in leave_out]
    return {one.name: hints[one.name] if _needed(one) else Maybe(hints[one.name]) for one in fields}


def _needed(field: dataclasses.Field[Any]) -> bool:
    return field.default is field.default_factory is dataclasses.MISSING
