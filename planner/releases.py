"""Version text -> an ordered `Release`, or a ValueError: a text without an agreed order is never guessed at.

The grammar, letter case and extra blanks ignored::

    [v | version | release] NUMBER {. NUMBER} {suffix} [build]

- Numbers compare one by one as whole numbers: 8.10 > 8.9, 8.2 = 8.2.0, 8.02 = 8.2.
- Before the release itself, in this order: dev < alpha (a) < beta (b) < milestone < rc (c, pre, preview).
- After it: post (rev) < hotfix (hf) < patch (p) < update (u) < service pack (sp), each with its number. No standard
  orders different kinds; this order follows what each usually contains.
- Suffixes add up: 8.2 < 8.2 SP1 beta 2 < 8.2 SP1 < 8.2 SP1 update 3 < 8.2.1.
- No weight: build metadata (``+1234``, ``build 1234``), and the labels GA, final and LTS.

Sources: PEP 440 for numbers, dev, a/b/rc and post; Semantic Versioning 2.0.0 for build metadata (item 10) and dotted
identifiers (item 11: alpha < alpha.1 < alpha.beta). Where they disagree:

- ``1.0.0-1`` comes before 1.0.0 in one and after it in the other: refused, as is any bare number after ``-``, ``_``
  or a blank. A lone ``a`` (alpha, or a later letter?) and ``b1234`` (beta or build?) are refused for the same reason.
- ``+abc`` has no weight (SemVer); PEP 440 orders it. Epochs (``1!2.0``) are refused.
- dev comes before alpha, and ``a1.dev2`` before ``a1`` (PEP 440). SemVer reads words alphabetically, so that
  there rc10 < rc2 and 1.0.0-p1 < 1.0.0; here rc10 is the tenth candidate and p1 is patch 1.
- A pre-release without a number counts as number 0 (PEP 440); in SemVer ``-rc`` is below ``-rc.0``.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from math import inf
from typing import Literal

Rule = Literal["not_older", "any", "same_major"]  # the policy's host_release_rule

UNDERSTOOD = (
    "write dotted numbers, such as 8.2 or 8.2.1; "
    "before a release add dev, alpha, beta, milestone or rc, such as 8.2-rc1; "
    "after it add SP, update, patch, hotfix or post with a number, such as 8.2 SP2 or 8.2 patch 3; "
    "a build comes last, such as 8.2 build 1234"
)

# Rank of a suffix. The release itself closes with _END, so lower ranks come before it and higher ones after it.
_DEV, _ALPHA, _BETA, _MILESTONE, _CANDIDATE = range(-5, 0)
_POST, _HOTFIX, _PATCH, _UPDATE, _SERVICE_PACK = range(1, 6)
_END = (0, 0)
_RANKS = {
    "dev": _DEV,
    **dict.fromkeys(("alpha", "a"), _ALPHA),
    **dict.fromkeys(("beta", "b"), _BETA),
    "milestone": _MILESTONE,
    **dict.fromkeys(("rc", "c", "pre", "preview"), _CANDIDATE),
    **dict.fromkeys(("post", "rev"), _POST),
    **dict.fromkeys(("hotfix", "hf"), _HOTFIX),
    **dict.fromkeys(("patch", "p"), _PATCH),
    **dict.fromkeys(("update", "u"), _UPDATE),
    **dict.fromkeys(("service pack", "servicepack", "sp"), _SERVICE_PACK),
}
_NAMED_STAGES = range(_ALPHA, _CANDIDATE + 1)
_NO_WEIGHT = frozenset({"ga", "final", "lts"})
# Three digits after a lone b are more often a build than the hundredth beta.
_LARGEST_LONE_BETA = 99
_LONGEST_TEXT = 100

_GAP = r"\s*[._-]?\s*"
_NUMBERS = re.compile(r"(?:(?:version|release|v)\s*)?([0-9]+(?:\.[0-9]+)*)")
_SUFFIX = re.compile(rf"{_GAP}(service pack|[a-z]+)(?:{_GAP}([0-9]+))?")
_BUILD = re.compile(
    rf"(?:\+[0-9a-z-]+(?:\.[0-9a-z-]+)*|{_GAP}(?P<open>\()?build\s*[.#:-]?\s*[0-9]+(?:\.[0-9]+)*(?(open)\)))$"
)
_BARE_NUMBER = re.compile(r"[\s(_-]+[0-9]+|\.[0-9]+")


@dataclass(frozen=True, order=True, slots=True)
class Release:
    """A software version with a place in a total order; build it with `parse_release`.

    Equal releases hash alike however they were written: 8.2, v8.2.0 and 8.2 GA are one. ``text`` keeps what was read.
    """

    text: str = field(compare=False)
    numbers: tuple[int, ...]  # without trailing zeros
    suffixes: tuple[tuple[int, float], ...]  # (rank, number) each, closed by _END

    @property
    def major(self) -> int:
        """The first number."""
        return self.numbers[0] if self.numbers else 0

    def __str__(self) -> str:
        return self.text


@lru_cache(maxsize=4096)
def parse_release(text: str) -> Release:
    """Return the release that ``text`` names.

    Raises ValueError, with what is wrong and what is understood, for a text outside the module's grammar and for one
    that different schemes would order differently.

    >>> parse_release("8.9") < parse_release("8.10-rc1") < parse_release("v8.10.0") < parse_release("8.10 SP2")
    True
    >>> parse_release("8.2 build 1234") == parse_release("8.2.0")
    True
    """
    plain = " ".join(text.split()).lower()
    if not plain:
        raise ValueError(f"a release is missing; {UNDERSTOOD}")
    if len(plain) > _LONGEST_TEXT:
        raise ValueError(f"release {plain[:20] + '...'!r} is longer than {_LONGEST_TEXT} characters; {UNDERSTOOD}")
    try:
        return _parse(text, plain)
    except ValueError as error:
        raise ValueError(f"release {text!r} has no certain order: {error}; {UNDERSTOOD}") from None


def suits(rule: Rule, site: str, host: str) -> bool:
    """Say whether a host of release ``host`` may serve a site of release ``site``; unknown releases pass."""
    if rule == "any" or not site or not host:
        return True
    own, other = parse_release(site), parse_release(host)
    return own.major == other.major if rule == "same_major" else other >= own


def _parse(text: str, plain: str) -> Release:
    start = _NUMBERS.match(plain)
    if start is None:
        raise ValueError("it does not start with a number")
    numbers = [int(part) for part in start[1].split(".")]
    while numbers and numbers[-1] == 0:
        numbers.pop()
    build = _BUILD.search(plain, start.end())
    tail = plain[start.end() : build.start() if build else len(plain)]
    return Release(text, tuple(numbers), _weighed(list(_suffixes(tail))))


def _suffixes(tail: str) -> Iterator[tuple[int, int | None]]:
    """Yield the rank and the number, if any, of each suffix in ``tail``."""
    at = 0
    while at < len(tail):
        match = _SUFFIX.match(tail, at)
        if match is None:
            rest = tail[at:].strip()
            if _BARE_NUMBER.match(tail, at):
                raise ValueError(f"the number in {rest!r} may be a patch, a pre-release or a build, so it needs a word")
            raise ValueError(f"{rest!r} is not understood")
        at = match.end()
        word, number = match[1], None if match[2] is None else int(match[2])
        if word not in _NO_WEIGHT:
            yield _rank(word, number), number
        elif number is not None:
            raise ValueError(f"{word!r} takes no number")


def _rank(word: str, number: int | None) -> int:
    if word not in _RANKS:
        raise ValueError(f"{word!r} is not a suffix with an agreed order")
    rank = _RANKS[word]
    if number is None and rank >= _POST:
        raise ValueError(f"{word!r} needs a number")
    if number is None and len(word) == 1:
        raise ValueError(f"a lone {word!r} may be a version before the release or a later letter")
    if number is not None and word == "b" and number > _LARGEST_LONE_BETA:
        raise ValueError(f"'b{number}' may be a beta or a build")
    return rank


def _weighed(suffixes: list[tuple[int, int | None]]) -> tuple[tuple[int, float], ...]:
    """Return the comparable form of ``suffixes``, closed by _END."""
    weighed: list[tuple[int, float]] = [(rank, number or 0) for rank, number in suffixes]
    for at, ((rank, number), (following, _)) in enumerate(pairwise(suffixes)):
        both_stages = rank in _NAMED_STAGES and following in _NAMED_STAGES
        if rank in (_DEV, following) or (both_stages and number is not None):
            raise ValueError("its suffixes contradict each other")
        if both_stages:
            weighed[at] = (rank, inf)  # SemVer item 11.4.3: alpha.1 < alpha.beta
    return (*weighed, _END)
