"""How well a header's words fit a column: patterns of concepts, the more of the header they explain the better."""

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache

from planner.intake.lexicon import CONCEPTS, FILLERS
from planner.intake.rawtable import tidy

_LETTERS = {"ß": "ss", "ø": "o", "đ": "d", "ł": "l", "æ": "ae", "œ": "oe", "ı": "i", "ð": "d", "þ": "th"}
_LONG, _SOME = 5, 4  # letters from which a word may stand within another, and from which it may have an ending
_UNEXPLAINED, _MOST_UNEXPLAINED = 0.06, 0.24
_LONGEST = 120

Pattern = tuple[float, tuple[str, ...]]  # what it says at most, and the concepts that have to be there


def folded(text: str) -> str:
    """Return a text in lower case without accents, its words apart: ``Größe [ms]`` -> ``grosse ms``."""
    text = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Ý])", " ", tidy(text)[:_LONGEST])
    text = "".join(_LETTERS.get(c, c) for c in text.casefold())
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return " ".join(re.findall(r"[^\W_]+|[#%№]", text.replace("'", " ")))


@lru_cache(maxsize=20_000)
def concepts_in(header: str) -> Mapping[str, frozenset[int]]:
    """Return the concepts that a header names, each with the positions of the words that say so."""
    words = folded(header).split()
    found = {}
    for concept, terms in CONCEPTS.items():
        positions = {at for term in terms for at in _positions(term, words)}
        if positions:
            found[concept] = frozenset(positions)
    return found


def _positions(term: str, words: list[str]) -> list[int]:
    parts = term.split("_")
    if len(parts) > 1:
        starts = [i for i in range(len(words) - len(parts) + 1) if _begins(parts, words[i : i + len(parts)])]
        return [i + k for i in starts for k in range(len(parts))] or [
            i for i, word in enumerate(words) if "".join(parts) in word and len("".join(parts)) >= _LONG
        ]
    return [i for i, word in enumerate(words) if _is_in(term, word)]


def _begins(parts: list[str], words: list[str]) -> bool:
    return words[:-1] == parts[:-1] and words[-1].startswith(parts[-1])


def _is_in(term: str, word: str) -> bool:
    if term[0] == "=":
        return word == term[1:]
    if term[0] == "+":
        return word.startswith(term[1:])
    if len(term) >= _LONG:
        return term in word
    ending = len(word) - len(term) if len(term) >= _SOME else 0  # of a plural or a case
    return (
        word == term
        or (0 < ending <= 2 and word.startswith(term))
        or (word.rstrip("0123456789") == term and len(term) > 1)
    )


def likeness(header: str, patterns: tuple[Pattern, ...], against: tuple[str, ...] = ()) -> float:
    """Return how well a header fits one of ``patterns``, from 0 to 1; each concept of ``against`` takes a quarter."""
    found = concepts_in(header)
    if not found:
        return 0.0
    words = folded(header).split()
    idle = {i for i, word in enumerate(words) if word in FILLERS or word.isdigit()}
    best = 0.0
    for most, concepts in patterns:
        if not all(concept in found for concept in concepts):
            continue
        if len(concepts) > 1 and len(frozenset().union(*(found[c] for c in concepts))) < 2 and len(words) > 1:
            continue  # one word cannot stand for two concepts where others are there
        explained = idle.union(*(found[concept] for concept in concepts))
        rest = len(words) - len(explained)
        best = max(best, most - min(_MOST_UNEXPLAINED, _UNEXPLAINED * rest))
    return max(0.0, best - 0.25 * sum(concept in found for concept in against))
