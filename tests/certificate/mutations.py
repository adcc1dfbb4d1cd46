"""Certificates with one thing in them changed, such that what they say no longer holds, or is about another fleet."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from fractions import Fraction

Lines = list[str]


def mutated(lines: tuple[str, ...], rng: random.Random, count: int) -> Iterator[tuple[str, Lines]]:
    """Yield ``count`` changed certificates, each with a word for what was changed."""
    kinds: dict[str, Callable[[Lines, random.Random], bool]] = {
        "coefficient": _coefficient,
        "right-hand side": _right_hand_side,
        "multiplier": _multiplier,
        "derived coefficient": _derived_coefficient,
        "derived bound": _derived_bound,
        "bound": _bound,
        "set": _set,
        "left out": _left_out,
        "solution": _solution,
        "last use": _last_use,
    }
    made = 0
    while made < count:
        kind = rng.choice(list(kinds))
        copy = list(lines)
        if kinds[kind](copy, rng):
            made += 1
            yield kind, copy


def _at(lines: Lines, word: str) -> int:
    return next(at for at, line in enumerate(lines) if line.split()[0] == word)


def _between(lines: Lines, first: str, last: str) -> range:
    return range(_at(lines, first) + 1, _at(lines, last))


def _other(word: str, rng: random.Random) -> str:
    return str(Fraction(word) + rng.choice((-2, -1, 1, 2)))


def _change(lines: Lines, at: int, word: int, text: str) -> bool:
    words = lines[at].split()
    words[word] = text
    lines[at] = " ".join(words)
    return True


def _coefficient(lines: Lines, rng: random.Random) -> bool:
    at = rng.choice(_between(lines, "CON", "RTP"))
    words = lines[at].split()
    if words[3] == "0":
        return False
    word = rng.randrange(5, len(words), 2)
    return _change(lines, at, word, _other(words[word], rng))


def _right_hand_side(lines: Lines, rng: random.Random) -> bool:
    at = rng.choice(_between(lines, "CON", "RTP"))
    return _change(lines, at, 2, _other(lines[at].split()[2], rng))


def _derived(lines: Lines, rng: random.Random) -> int:
    return rng.randrange(_at(lines, "DER") + 1, len(lines))


def _multiplier(lines: Lines, rng: random.Random) -> bool:
    at = _derived(lines, rng)
    words = lines[at].split()
    first = words.index("{")
    if words[first + 1] not in ("lin", "rnd") or words[first + 2] == "0":
        return False
    word = rng.randrange(first + 4, len(words) - 2, 2)
    return _change(lines, at, word, _other(words[word], rng))


def _derived_coefficient(lines: Lines, rng: random.Random) -> bool:
    at = _derived(lines, rng)
    words = lines[at].split()
    if words[3] == "OBJ" or words[3] == "0":
        return False
    word = rng.randrange(5, 4 + 2 * int(words[3]), 2)
    return _change(lines, at, word, _other(words[word], rng))


def _derived_bound(lines: Lines, rng: random.Random) -> bool:
    """Claim more in a derived line."""
    at = _derived(lines, rng)
    words = lines[at].split()
    return _change(lines, at, 2, str(Fraction(words[2]) + (1 if words[1] == "G" else -1)))


def _bound(lines: Lines, rng: random.Random) -> bool:
    at = _at(lines, "RTP")
    word = rng.choice((2, 3))
    return _change(lines, at, word, str(Fraction(lines[at].split()[word]) + (1 if word == 2 else -1)))


def _set(lines: Lines, rng: random.Random) -> bool:
    classes = [at for at, line in enumerate(lines) if line.startswith("% class ")]
    if not classes:
        return False
    at = rng.choice(classes)
    head, text = lines[at].split("[", 1)
    sites = json.loads(f"[{text}")
    sites = sites[1:] if rng.random() < 0.5 else [*sites, "nowhere"]
    lines[at] = f"{head}{json.dumps(sites)}"
    return True


def _left_out(lines: Lines, rng: random.Random) -> bool:
    at = next(at for at, line in enumerate(lines) if line.startswith("% left_out "))
    sites = json.loads(lines[at].removeprefix("% left_out "))
    served = [site for line in lines if line.startswith("% class ") for site in json.loads(line.split(maxsplit=3)[3])]
    if not sites and not served:
        return False
    sites = sites[1:] if sites and (not served or rng.random() < 0.5) else [*sites, rng.choice(served)]
    lines[at] = f"% left_out {json.dumps(sites)}"
    return True


def _solution(lines: Lines, rng: random.Random) -> bool:
    """Serve other numbers of sites of a class."""
    at = _at(lines, "SOL") + 1
    names = lines[_at(lines, "VAR") + 1 : _at(lines, "INT")]
    words = lines[at].split()
    flows = [word for word in range(2, len(words), 2) if names[int(words[word])][0] in "xyo"]
    if not flows:
        return False
    word = rng.choice(flows) + 1
    return _change(lines, at, word, str(int(words[word]) + rng.choice((-1, 1))))


def _last_use(lines: Lines, rng: random.Random) -> bool:
    """Promise that a line is used no more before it is."""
    at = _derived(lines, rng)
    words = lines[at].split()
    if words[-1] == "-1":
        return False
    return _change(lines, at, len(words) - 1, str(int(words[-1]) - 1))
