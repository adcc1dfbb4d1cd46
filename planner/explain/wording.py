"""Small pieces of sentences."""

from __future__ import annotations

from collections.abc import Sequence

from planner.counted_words import counted

_NAMED = 4
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def spelled(number: int, noun: str) -> str:
    """Return a small number as a word, with its noun.

    >>> spelled(2, "host"), spelled(12, "host")
    ('two hosts', '12 hosts')
    """
    if number >= len(_NUMBERS):
        return counted(number, noun)
    return f"{_NUMBERS[number]} {noun}" if number == 1 else f"{_NUMBERS[number]} {noun}s"


def some(names: Sequence[str], most: int = _NAMED) -> str:
    """Return the first few names, and that there are more.

    >>> some(["A", "B", "C"], most=2)
    'A, B, …'
    """
    return ", ".join(names[:most]) + (", …" if len(names) > most else "")


def figure(number: float) -> str:
    """Return a number without the last digits of binary fractions.

    >>> figure(20.4 - 20.0)
    '0.4'
    """
    return f"{number:.10g}"
