"""Which plans a certificate speaks of, and which pool, class and site is which: its comments, read without trust."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, get_args

from planner.plan import Cover, Objective
from planner.verify.certificate.form import FormError

_SINGLE = ("objective", "cover", "left_out", "without_standby")
_NUMBERED = ("pool", "class", "one_lost")
_LARGEST = 10**9  # of a divisor


@dataclass
class Statement:
    """What the comments say: plans serve all sites but ``left_out`` and cover all of them but ``bare``.

    ``cover`` says against which loss. ``one_lost``: divisors, and classes (from 0) that are asked about the loss of one
    host.
    """

    objective: Objective
    cover: Cover
    left_out: frozenset[str]
    bare: frozenset[str]
    pools: list[str] = field(default_factory=list)
    classes: list[tuple[str, ...]] = field(default_factory=list)
    one_lost: list[tuple[int, tuple[int, ...]]] = field(default_factory=list)

    @property
    def standbys(self) -> bool:
        """Whether the program says who stands by for whom."""
        return self.cover in ("hub", "zone")


def read_statement(comments: Iterable[str]) -> Statement:
    """Return what the comments of a certificate of castingvote say; FormError for those of another program."""
    single: dict[str, Any] = {}
    numbered: dict[str, list[Any]] = {key: [] for key in _NUMBERED}
    for comment in comments:
        key, _, rest = comment.partition(" ")
        if key in _SINGLE and rest.startswith(('"', "[")):
            if key in single:
                raise FormError(f"it has the comment {key!r} twice")
            single[key] = _data(key, rest)
        elif key in _NUMBERED:
            number, _, value = rest.partition(" ")
            if number != str(len(numbered[key]) + 1):
                raise FormError(
                    f"its comment {key} {number[:20]!r} has the wrong number; these comments are counted from 1"
                )
            numbered[key].append(_data(key, value))
    missing = [key for key in _SINGLE if key not in single]
    if missing:
        raise FormError(f"it has no comment {', '.join(missing)}, so castingvote did not write it for a fleet")
    statement = Statement(
        single["objective"], single["cover"], _ids(single, "left_out"), _ids(single, "without_standby")
    )
    if statement.objective not in get_args(Objective) or statement.cover not in get_args(Cover):
        raise FormError(
            "its comments objective and cover must name an objective and a kind of cover that castingvote knows"
        )
    statement.pools = [str(pool) for pool in numbered["pool"]]
    statement.classes = [tuple(map(str, sites)) if isinstance(sites, list) else () for sites in numbered["class"]]
    statement.one_lost = [_classes(each, len(statement.classes)) for each in numbered["one_lost"]]
    return statement


def _classes(told: Any, count: int) -> tuple[int, tuple[int, ...]]:
    """Return the divisor and the classes of a comment about the loss of one host."""
    known = set(range(1, count + 1))
    if not (isinstance(told, list) and len(told) == 2 and type(told[0]) is int and 1 <= told[0] <= _LARGEST):
        raise FormError("its comment 'one_lost' must begin with a whole number, 1 or more")
    listed = told[1]
    if not isinstance(listed, list) or not all(type(each) is int and each in known for each in listed):
        raise FormError("its comment 'one_lost' must end with a list of numbers of classes")
    if len(set(listed)) < len(listed):
        raise FormError("its comment 'one_lost' lists the same class twice")
    return told[0], tuple(each - 1 for each in listed)


def _data(key: str, text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise FormError(f"its comment {key!r} is not valid JSON") from error


def _ids(single: dict[str, Any], key: str) -> frozenset[str]:
    listed = single[key]
    if not isinstance(listed, list) or not all(isinstance(each, str) for each in listed):
        raise FormError(f"its comment {key!r} must be a list of site ids")
    if len(set(listed)) < len(listed):
        raise FormError(f"its comment {key!r} lists the same site twice")
    return frozenset(listed)
