"""A certificate file as it stands, read without trust: the words of the format VIPR 1.0, and nothing else.

Source: the specification of the certificate file format, version 1.0, by K. K. H. Cheung, A. Gleixner, D. E. Steffy,
which belongs to "Verifying Integer Programming Results", IPCO 2017, LNCS 10328, 148-160.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TypeVar

Number = int | Fraction
Item = TypeVar("Item")

_VALUE = re.compile(r"-?[0-9]{1,400}(/0*[1-9][0-9]{0,399}|\.[0-9]{1,400})?", re.ASCII)
_COUNT = re.compile(r"[0-9]{1,9}", re.ASCII)
_SENSES = {"L": -1, "E": 0, "G": 1}
_REASONS = ("asm", "lin", "rnd", "uns", "sol")


class FormError(ValueError):
    """The file is no certificate of the format; the message says where and why."""


@dataclass(frozen=True, slots=True)
class Constraint:
    """The variables ``at`` with their coefficients ``by``; ``sense`` is -1 at most, 0 equal, 1 at least; ``rhs``."""

    name: str
    sense: int
    rhs: Number
    at: tuple[int, ...]
    by: tuple[Number, ...]

    def terms(self) -> dict[int, Number]:
        """Return the coefficients that are not 0, by variable."""
        return {j: a for j, a in zip(self.at, self.by, strict=True) if a}


@dataclass(frozen=True, slots=True)
class Derived:
    """A derived constraint with its reason: ``uses`` are constraints and multipliers, or the four of ``uns``.

    ``last_use``: no later constraint may refer to it; -1 for no such promise.
    """

    constraint: Constraint
    reason: str
    uses: tuple[tuple[int, Number], ...]
    last_use: int


@dataclass
class Head:
    """All of a certificate before its derivations.

    ``comments``: lines before the first word, without their sign. ``lower`` and ``upper`` are None for no such bound;
    both with ``infeasible`` are not said.
    """

    comments: list[str] = field(default_factory=list)
    variables: list[str] = field(default_factory=list)
    whole: set[int] = field(default_factory=set)
    minimise: bool = True
    objective: dict[int, Number] = field(default_factory=dict)
    constraints: list[Constraint] = field(default_factory=list)
    bounds: int = 0
    infeasible: bool = False
    lower: Number | None = None
    upper: Number | None = None
    solutions: list[dict[int, Number]] = field(default_factory=list)


class Words:
    """The words of a file, one after the other, with the line they stand in."""

    def __init__(self, lines: Iterable[str]) -> None:
        self.line = 0
        self._lines = iter(lines)
        self._words: Iterator[str] = iter(())
        self._known: dict[str, Number] = {}

    def comments(self) -> list[str]:
        """Return the comments that the file begins with; the next word is the first one after them."""
        found: list[str] = []
        for line in self._lines:
            self.line += 1
            if line.strip() and line.split(maxsplit=1)[0] != "%":
                self._words = iter(line.split())
                break
            if line.strip():
                found.append(line.strip()[1:].strip())
        return found

    def next(self) -> str:
        """Return the next word; FormError at the end of the file."""
        while (word := next(self._words, None)) is None:
            line = next(self._lines, None)
            if line is None:
                raise FormError("the file ends before the certificate is complete")
            self.line += 1
            self._words = iter(line.split())
        return word

    def rest(self) -> str | None:
        """Return a word that stands after the end; None where there is none."""
        try:
            return self.next()
        except FormError:
            return None

    def fail(self, what: str) -> FormError:
        """Return an error about the word that was read last."""
        return FormError(f"line {self.line}: {what}")

    def expect(self, *words: str) -> str:
        """Return the next word, which must be one of ``words``."""
        word = self.next()
        if word not in words:
            raise self.fail(f"the file has {word[:40]!r} where it must have {' or '.join(words)}")
        return word

    def count(self, below: int | None = None) -> int:
        """Return a whole number of 0 or more, less than ``below``."""
        word = self.next()
        if not _COUNT.fullmatch(word) or (below is not None and int(word) >= below):
            limit = "" if below is None else f" below {below}"
            raise self.fail(f"the file has {word[:40]!r} where it must have a whole number{limit}")
        return int(word)

    def value(self) -> Number:
        """Return a number: whole, a fraction, or a decimal."""
        word = self.next()
        known = self._known.get(word)
        if known is None:
            if not _VALUE.fullmatch(word):
                raise self.fail(f"the file has {word[:40]!r} where it must have a number")
            exact = Fraction(word)
            known = self._known[word] = int(exact) if exact.denominator == 1 else exact
        return known

    def several(self, count: int, one: Callable[[], Item]) -> list[Item]:
        """Return ``count`` items, each read by ``one``."""
        return [one() for _ in range(count)]


class Reader:
    """Reads a file from its first line to its last: the head at once, derivations one by one."""

    def __init__(self, lines: Iterable[str]) -> None:
        self.words = Words(lines)
        self.head = Head(comments=self.words.comments())
        self._read_head()

    def _read_head(self) -> None:
        words, head = self.words, self.head
        words.expect("VER")
        words.expect("1.0")
        words.expect("VAR")
        head.variables = words.several(words.count(), words.next)
        words.expect("INT")
        size = len(head.variables)
        head.whole = set(words.several(words.count(), lambda: words.count(size)))
        words.expect("OBJ")
        head.minimise = words.expect("min", "max") == "min"
        head.objective = dict(zip(*self._pairs(words.next(), size), strict=True))
        words.expect("CON")
        count = words.count()
        head.bounds = words.count(count + 1)
        head.constraints = words.several(count, self._constraint)
        words.expect("RTP")
        head.infeasible = words.expect("range", "infeas") == "infeas"
        if not head.infeasible:
            head.lower, head.upper = self._bound("-inf"), self._bound("inf")
        words.expect("SOL")
        head.solutions = words.several(words.count(), self._solution)

    def derivations(self) -> Iterator[Derived]:
        """Yield the derived constraints in order; FormError where something stands after them."""
        self.words.expect("DER")
        first = len(self.head.constraints)
        for at in range(first, first + self.words.count()):
            yield self._derived(at)
        if (more := self.words.rest()) is not None:
            raise self.words.fail(f"{more[:40]!r} follows the last step; nothing may follow it")

    def _pairs(self, count: str, below: int) -> tuple[tuple[int, ...], tuple[Number, ...]]:
        """Return indices and values, of which ``count`` says how many; no index twice."""
        words = self.words
        if not _COUNT.fullmatch(count):
            raise words.fail(f"the file has {count[:40]!r} where it must have the number of pairs that follow")
        at: list[int] = []
        by: list[Number] = []
        for _ in range(int(count)):
            at.append(words.count(below))
            by.append(words.value())
        if len(set(at)) < len(at):
            raise words.fail("the same index is used twice in one row")
        return tuple(at), tuple(by)

    def _constraint(self) -> Constraint:
        words = self.words
        name, sense, rhs, count = words.next(), words.expect(*_SENSES), words.value(), words.next()
        if count == "OBJ":
            return Constraint(name, _SENSES[sense], rhs, *_columns(self.head.objective))
        return Constraint(name, _SENSES[sense], rhs, *self._pairs(count, len(self.head.variables)))

    def _bound(self, none: str) -> Number | None:
        word = self.words.next()
        if word == none:
            return None
        if not _VALUE.fullmatch(word):
            raise self.words.fail(f"the file has {word[:40]!r} where it must have a number or {none}")
        return Fraction(word)

    def _solution(self) -> dict[int, Number]:
        self.words.next()
        return dict(zip(*self._pairs(self.words.next(), len(self.head.variables)), strict=True))

    def _derived(self, number: int) -> Derived:
        words, constraint = self.words, self._constraint()
        words.expect("{")
        reason = words.expect(*_REASONS)
        uses: Sequence[tuple[int, Number]] = ()
        if reason in ("lin", "rnd"):
            uses = tuple(zip(*self._pairs(words.next(), number), strict=True))
        elif reason == "uns":
            uses = [(words.count(number), 0) for _ in range(4)]
        words.expect("}")
        last = words.value()
        if not isinstance(last, int) or last < -1:
            raise words.fail(
                "the last number of a step must be -1 or the number of a later step: the last one that uses this step"
            )
        return Derived(constraint, reason, tuple(uses), last)


def _columns(terms: Mapping[int, Number]) -> tuple[tuple[int, ...], tuple[Number, ...]]:
    return tuple(terms), tuple(terms.values())
