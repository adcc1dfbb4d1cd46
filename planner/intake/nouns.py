"""A figure with the noun that it counts, such as ``25 clusters``: read only where the noun can mean one thing."""

import re
from functools import lru_cache

from planner.columns import Column
from planner.intake.lexicon import FILLERS
from planner.intake.likeness import concepts_in, folded

_COUNTED = re.compile(r"([+-]?\d(?:[\d.,' ]*\d)?)\s*([^\W\d_][^\d]*)")
_LONGEST = 80
_THINGS = frozenset({"CLUSTER", "HOST", "HUB", "NODE", "SITE"})  # what columns count
_IDLE = FILLERS | {"max", "maximum", "maximal", "each", "total", "today"}
_RATIO = frozenset(["per", "je", "pro", "par", "por", "na"])


@lru_cache(maxsize=4_000)
def counted_in(text: str) -> tuple[str, frozenset[str]] | None:
    """Return the figure of a text and the concepts that the word behind it may stand for; None if it is no such text.

    >>> counted_in("25 clusters per host")[0], sorted(counted_in("25 clusters per host")[1])
    ('25', ['CLUSTER'])
    >>> counted_in("25 or more clusters"), counted_in("25 clusters, 2 hosts"), counted_in("18 ms")
    (None, None, None)
    """
    match = _COUNTED.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        return None
    words = folded(match[2]).split()
    if words and words[0] in _RATIO:
        return (match[1], frozenset({"CLUSTER"})) if "HOST" in concepts_in(match[2]) else None
    concepts = {name: at for name, at in concepts_in(match[2]).items() if name in _THINGS}
    first = frozenset(name for name, at in concepts.items() if 0 in at)
    known = frozenset[int]().union(*concepts.values())
    if not first or any(at not in known and word not in _IDLE for at, word in enumerate(words)):
        return None
    return match[1], first


def counts(column: Column) -> frozenset[str]:
    """Return the concepts that may name what a column counts; none where it counts nothing that has a name here."""
    if column.kind != "whole":
        return frozenset()
    return _THINGS & concepts_in((column.unit or column.name).split("_")[-1]).keys()
