"""Which plans a certificate speaks of, and which pool, class and site is which: its comments, read without trust."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, get_args

from planner.plan import Objective
from planner.verify.certificate.form import FormError

_SINGLE = ("objective", "standbys", "left_out", "without_standby")
_NUMBERED = ("pool", "class")


@dataclass
class Statement:
    """What the comments say: plans serve all sites but ``left_out`` and, with ``standbys``, cover all but ``bare``."""

    objective: Objective
    standbys: bool
    left_out: frozenset[str]
    bare: frozenset[str]
    pools: list[str] = field(default_factory=list)
    classes: list[tuple[str, ...]] = field(default_factory=list)


def read_statement(comments: Iterable[str]) -> Statement:
    """Return what the comments of a certificate of castingvote say; FormError for those of another program."""
    single: dict[str, Any] = {}
    numbered: dict[str, list[Any]] = {key: [] for key in _NUMBERED}
    for comment in comments:
        key, _, rest = comment.partition(" ")
        if key in _SINGLE and rest.startswith(('"', "[", "true", "false")):
            if key in single:
                raise FormError(f"comment {key!r} stands there twice")
            single[key] = _data(key, rest)
        elif key in _NUMBERED:
            number, _, value = rest.partition(" ")
            if number != str(len(numbered[key]) + 1):
                raise FormError(f"comment {key} {number[:20]!r} is out of order")
            numbered[key].append(_data(key, value))
    missing = [key for key in _SINGLE if key not in single]
    if missing:
        raise FormError(f"its comments lack {', '.join(missing)}: it is no certificate of a fleet")
    statement = Statement(
        single["objective"], single["standbys"], _ids(single, "left_out"), _ids(single, "without_standby")
    )
    if statement.objective not in get_args(Objective) or not isinstance(statement.standbys, bool):
        raise FormError("its comments name no objective, or do not say whether standbys are asked for")
    statement.pools = [str(pool) for pool in numbered["pool"]]
    statement.classes = [tuple(map(str, sites)) if isinstance(sites, list) else () for sites in numbered["class"]]
    return statement


def _data(key: str, text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise FormError(f"comment {key!r} cannot be read") from error


def _ids(single: dict[str, Any], key: str) -> frozenset[str]:
    listed = single[key]
    if not isinstance(listed, list) or not all(isinstance(each, str) for each in listed):
        raise FormError(f"comment {key!r} is no list of site ids")
    if len(set(listed)) < len(listed):
        raise FormError(f"comment {key!r} lists a site twice")
    return frozenset(listed)
