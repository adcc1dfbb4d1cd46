"""Small pieces of sentences that every room may use."""

from __future__ import annotations

from collections.abc import Iterable

_NAMED = 4


def counted(number: int, noun: str) -> str:
    """Return number and noun.

    >>> counted(1, "site"), counted(1200, "site")
    ('1 site', '1,200 sites')
    """
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def more_groups(number: int) -> str:
    """Return where the groups of sites are that are not told in words.

    >>> more_groups(2)
    'plan.json lists 2 more such groups.'
    """
    return f"plan.json lists {counted(number, 'more such group')}."


def first_few(names: Iterable[str]) -> str:
    """Return the first four names, and how many more there are.

    >>> first_few("ABCDEF")
    'A, B, C, D and 2 more'
    """
    listed = list(names)
    more = f" and {len(listed) - _NAMED} more" if len(listed) > _NAMED else ""
    return ", ".join(listed[:_NAMED]) + more
