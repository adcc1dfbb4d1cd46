"""Ids that refer to another sheet -> positions there. Lost leading zeros are mended only where one id fits."""

import re
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
import pandas as pd

from planner.fleet import Ints
from planner.intake.findings import Findings, Place, guess, show
from planner.intake.known_words import is_unknown
from planner.intake.lookalikes import skeleton
from planner.intake.tables import TypedSheet

_NUMERAL = re.compile(r"0*(\d+?)(?:\.0)?")
_PREFIXED = re.compile(r"(\D*)(\d+)", re.ASCII)
_MOST_WORDS = 8


def numeral(text: str) -> str:
    """Return the digits that are left when a spreadsheet takes an id for a number; empty if it cannot.

    >>> numeral("0042"), numeral("42.0"), numeral("A42")
    ('42', '42', '')
    """
    match = _NUMERAL.fullmatch(text)
    return match[1] if match else ""


@dataclass(frozen=True)
class KnownIds:
    """The ids that a sheet defines, in table order, and how other sheets may refer to them.

    ``read`` is the sheet where they have names too, and ``column`` the one that holds the ids.
    """

    ids: tuple[str, ...]
    read: TypedSheet | None = None
    column: str = ""

    @classmethod
    def of(cls, ids: Iterable[str]) -> "KnownIds":
        """Return the ids, each once."""
        return cls(tuple(dict.fromkeys(ids)))

    @classmethod
    def of_sheet(cls, read: TypedSheet, column: str) -> "KnownIds":
        """Return the ids in ``column``, each once; their names are those of the column ``name``."""
        return cls(tuple(dict.fromkeys(read.frame[column])), read, column)

    @cached_property
    def at(self) -> Mapping[str, int]:
        """Position of each id."""
        return {name: position for position, name in enumerate(self.ids)}

    @cached_property
    def _by_numeral(self) -> Mapping[str, list[str]]:
        found: dict[str, list[str]] = {}
        for name in self.ids:
            if digits := numeral(name):
                found.setdefault(digits, []).append(name)
        return found

    def fitting(self, name: str) -> list[str]:
        """Return the ids that differ from ``name`` only by leading zeros, as a number would."""
        return self._by_numeral.get(numeral(name), [])

    @cached_property
    def by_name(self) -> Mapping[str, Mapping[str, int]]:
        """For each name its ids, each with the row, from 0, that first gives it that name."""
        found: dict[str, dict[str, int]] = {}
        if self.read is not None:
            ids, names = (self.read.frame[column].tolist() for column in (self.column, "name"))
            for row, (name_id, name) in enumerate(zip(ids, names, strict=True)):
                if name and not is_unknown(name):
                    found.setdefault(name, {}).setdefault(name_id, row)
        return found

    def bearers(self, name: str) -> str:
        """Return the ids that bear ``name``, each with the cell that says so."""
        assert self.read is not None  # names come from there
        of_name = self.by_name[name].items()
        return ", ".join(f"{show(one)} ({self.read.place(row, 'name').where})" for one, row in of_name)

    @cached_property
    def _by_skeleton(self) -> Mapping[str, list[str]]:
        found: dict[str, list[str]] = {}
        for name in self.ids:
            found.setdefault(skeleton(name), []).append(name)
        return found

    def alike(self, name: str) -> list[str]:
        """Return the ids that look like ``name`` but for letters of another script, dashes and blanks."""
        return self._by_skeleton.get(skeleton(name), [])

    @cached_property
    def _by_number(self) -> Mapping[str, list[str]]:
        """The ids by their number alone, where all are one prefix and a number: AG-0042 by 42."""
        parts = [_PREFIXED.fullmatch(name) for name in self.ids]
        if len({part[1] for part in parts if part}) != 1 or not all(parts):
            return {}
        found: dict[str, list[str]] = {}
        for name, part in zip(self.ids, parts, strict=True):
            assert part is not None
            found.setdefault(part[2].lstrip("0"), []).append(name)
        return found

    def with_number(self, name: str) -> list[str]:
        """Return the ids that have the number of ``name``, where all ids are a prefix and a number."""
        part = _PREFIXED.fullmatch(name)
        return self._by_number.get(part[2].lstrip("0"), []) if part else []

    @cached_property
    def _folded(self) -> Mapping[str, set[str]]:
        """Ids by themselves and by names that only one bears, in lower case."""
        found: dict[str, set[str]] = {}
        for name in self.ids:
            found.setdefault(name.casefold(), set()).add(name)
        for name, of_name in self.by_name.items():
            found.setdefault(" ".join(name.casefold().split()), set()).update(of_name)
        return found

    def within(self, text: str) -> list[str]:
        """Return the ids that stand in a text, by themselves or by name, as words of their own.

        A longer name hides a shorter one within it.
        """
        words = re.findall(r"[^\s()\[\]{},;:/|>]+", text.casefold())[:_MOST_WORDS]
        found: list[tuple[str, set[str]]] = []
        for number in range(len(words) - 1, 0, -1):
            for start in range(len(words) - number + 1):
                self._look(" ".join(words[start : start + number]), found)
        if not found:  # ESK-TB1: the parts of a word
            parts = re.split(r"[\W_]+", text.casefold())
            for part in parts if len(parts) > 1 else ():
                self._look(part, found)
        ids = set[str]().union(*(ids for _, ids in found))
        return sorted(ids)

    def _look(self, key: str, found: list[tuple[str, set[str]]]) -> None:
        if len(key) > 1 and key in self._folded and not any(key in longer for longer, _ in found):
            found.append((key, self._folded[key]))

    def guess(self, name: str) -> str:
        """Return a question that names the id that ``name`` may have been meant to be, or an empty text."""
        return "" if name.isdecimal() else guess(name, self.ids)  # numbers resemble each other


def resolve(
    name: str, known: KnownIds, place: Place, column: str, findings: Findings, unknown: str, count: str = ""
) -> int:
    """Return the position of ``name`` among the ``known`` ids, or -1.

    An id counts first, then one that is written otherwise, then the name of one. A repair and an ambiguity are
    reported, and so is an id that is not there, under the code ``unknown`` if any.
    """
    if name in known.at:
        return known.at[name]
    fitting = known.fitting(name)
    if len(fitting) == 1:
        findings.add("id_repaired", place, column, value=show(name), known=show(fitting[0]), count=count)
        return known.at[fitting[0]]
    alike = known.alike(name) if not fitting else []
    if len(alike) == 1:
        findings.add("id_lookalike", place, column, value=show(name), known=show(alike[0]), count=count)
        return known.at[alike[0]]
    if fitting or alike:
        fitting = fitting or alike
        findings.add("id_ambiguous", place, column, value=show(name), known=", ".join(map(show, fitting)))
    elif len(of_name := known.by_name.get(name, {})) == 1:
        (only,) = of_name
        findings.add("id_by_name", place, column, value=show(name), known=show(only), count=count)
        return known.at[only]
    elif len(bare := known.with_number(name)) == 1:
        findings.add("id_bare", place, column, value=show(name), known=show(bare[0]), count=count)
        return known.at[bare[0]]
    elif not of_name and len(within := known.within(name)) == 1:
        findings.add("id_within", place, column, value=show(name), known=show(within[0]), count=count)
        return known.at[within[0]]
    elif of_name:
        findings.add("name_ambiguous", place, column, value=show(name), known=known.bearers(name))
    elif name in findings.left_out:
        findings.note("left_out", place, column)
    elif unknown in ("pinned_unknown", "barred_unknown") and is_unknown(name):
        findings.note("value_unknown", place, column)
    elif unknown:
        findings.add(unknown, place, column, value=show(name), count=count, guess=partial(known.guess, name))
    return -1


def resolve_column(read: TypedSheet, column: str, known: KnownIds, findings: Findings, unknown: str) -> Ints:
    """Return the position of each id of a column among the ``known`` ids; -1 for blank and unknown ones.

    Each different id is looked up, and reported, once: at its first cell, with the number of its cells.
    """
    codes, names = factorized(read.frame[column])
    first = np.full(len(names), -1, dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes))[::-1]
    counts = np.bincount(codes, minlength=len(names))
    found = np.full(len(names), -1, dtype=np.int64)
    for i, name in enumerate(names):
        if name in known.at:
            found[i] = known.at[name]
        elif name:
            count = f" ({counts[i]} cells)" if counts[i] > 1 else ""
            place = read.place(int(first[i]), column)
            found[i] = resolve(name, known, place, column, findings, unknown, count)
    return found[codes] if len(codes) else codes


def factorized(ids: "pd.Series[str]") -> tuple[Ints, Sequence[str]]:
    """Return a code for each id and the different ids, in order of first appearance."""
    codes, names = pd.factorize(ids.to_numpy(dtype=object))
    return codes.astype(np.int64), [str(name) for name in names]


def first_rows(keys: Iterable[Hashable]) -> list[int]:
    """Return for each key the position of the first equal one."""
    first: dict[Hashable, int] = {}
    return [first.setdefault(key, position) for position, key in enumerate(keys)]
