"""Typed look-ups in the objects of a plan.json; whatever is missing or unreadable becomes a finding."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from typing import Any, TypeVar, cast

from planner.fleet import Finding

Choice = TypeVar("Choice", bound=str)
T = TypeVar("T")

_LONGEST_SHOWN = 40


class Log:
    """Findings about one file, gathered while it is read."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.findings: list[Finding] = []

    def error(self, code: str, where: str, message: str, hint: str = "") -> None:
        """Note an error at ``where``."""
        self.findings.append(Finding("error", code, where, message, hint, self.file))


class Record:
    """One JSON object. Every look-up returns a stand-in and logs an error where the value is not what it should be.

    ``path`` is where the object stands, such as ``"assignments[3]"``; blank for the outermost one.
    """

    def __init__(self, values: Mapping[str, Any], path: str, log: Log) -> None:
        self._values = values
        self._path = path
        self._log = log

    def text(self, key: str, default: str | None = None) -> str:
        """Return the text; where it is missing, null or blank, ``default``, or an error when there is none."""
        value = self._values.get(key)
        if value is None or value == "":
            return self._missing(key, "") if default is None else default
        return value if isinstance(value, str) else self._unreadable(key, value, "a text", "")

    def choice(self, key: str, options: Collection[Choice], default: Choice | None = None) -> Choice:
        """Return one of ``options``."""
        first = next(iter(options))
        text = self.text(key, default)
        if text == "" or text in options:
            return cast(Choice, text or first)
        return self._unreadable(key, text, f"one of {', '.join(options)}", first)

    def number(self, key: str, default: float | None = None) -> float:
        """Return the number as a float; true and false are no numbers."""
        value = self._values.get(key, default)
        if value is None:
            return self._missing(key, 0.0)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not _is_finite(value):
            return self._unreadable(key, value, "a number", 0.0)
        return float(value)

    def optional_number(self, key: str) -> float | None:
        """Return the number as a float, None where it is missing or null."""
        return None if self._values.get(key) is None else self.number(key)

    def whole(self, key: str, default: int | None = None) -> int:
        """Return the number as an int."""
        number = self.number(key, default)
        return int(number) if number.is_integer() else self._unreadable(key, number, "a whole number", 0)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; empty where the key is missing."""
        value = self._values.get(key, [])
        if isinstance(value, list) and all(isinstance(one, str) for one in value):
            return tuple(value)
        return self._unreadable(key, value, "a list of texts", ())

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self._values.get(key)
        return value if isinstance(value, bool) else self._unreadable(key, value, "true or false", False)

    def mapping(self, key: str) -> dict[str, Any]:
        """Return the object under ``key``; a missing one is empty."""
        value = self._values.get(key, {})
        return value if isinstance(value, dict) else self._unreadable(key, value, "an object", {})

    def member(self, key: str) -> Record:
        """Return the object under ``key`` as a record; a missing one is empty."""
        return Record(self.mapping(key), self._place(key), self._log)

    def records(self, key: str, build: Callable[[Record], T]) -> tuple[T, ...]:
        """Return what ``build`` makes of each object in the list under ``key``; a missing list is empty."""
        items = self._values.get(key, [])
        if not isinstance(items, list):
            return self._unreadable(key, items, "a list", ())
        built = []
        for number, item in enumerate(items):
            member = f"{key}[{number}]"
            if isinstance(item, dict):
                built.append(build(Record(item, self._place(member), self._log)))
            else:
                self._unreadable(member, item, "an object", None)
        return tuple(built)

    def _place(self, key: str) -> str:
        return f"{self._path}.{key}" if self._path else key

    def _missing(self, key: str, stand_in: T) -> T:
        self._log.error("value_missing", self._place(key), f"{key} is missing or blank.", "Fill it in.")
        return stand_in

    def _unreadable(self, key: str, value: Any, expected: str, stand_in: T) -> T:
        shown = repr(value)
        shown = shown if len(shown) <= _LONGEST_SHOWN else f"{shown[:_LONGEST_SHOWN]}…"
        self._log.error("value_unreadable", self._place(key), f"{key} is {shown}, not {expected}.", "Correct it.")
        return stand_in


def _is_finite(value: int | float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond every float
        return False
