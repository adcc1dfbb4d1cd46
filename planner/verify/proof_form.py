"""The sets of a plan's proof as they stand in plan.json, read without trust: anything may stand there."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

_FRACTION = re.compile(r"-?[0-9]{1,40}(/0*[1-9][0-9]{0,39})?", re.ASCII)
_LARGEST = 10**15  # of any count; far above what a fleet has, and all sums stay quick


@dataclass(frozen=True, slots=True)
class ClaimedSet:
    """An inequality as the plan states it; see `planner.verify.proof_sets` for what it has to be."""

    sites: tuple[str, ...]
    at_least: int
    demand: int
    lost: int
    lost_pool: str
    pools: Mapping[str, int]
    divisor: int
    needs: int
    multiplier: Fraction


@dataclass(frozen=True, slots=True)
class ClaimedCoverSet:
    """A set of a proof of cover as the plan states it; see `planner.verify.cover_sets` for what it has to be."""

    sites: tuple[str, ...]
    demand: int
    full: tuple[str, ...]
    kept: tuple[str, ...]
    ready: Mapping[str, tuple[str, ...]]
    multiplier: Fraction


class UnreadableError(ValueError):
    """A set cannot be read; the message says what in it."""


def read_set(data: object) -> ClaimedSet:
    """Return the set that ``data`` holds; raises UnreadableError for what is missing or of the wrong kind."""
    if not isinstance(data, Mapping):
        raise UnreadableError(f"it is {_kind(data)}; it must be a JSON object")
    sites = _get(data, "sites", (list, tuple), "a list")
    if not all(isinstance(site, str) for site in sites):
        raise UnreadableError("its field sites must hold site ids only")
    pools = _get(data, "pools", Mapping, "an object")
    if not all(isinstance(pool, str) for pool in pools):
        raise UnreadableError("its field pools must hold pool ids only")
    return ClaimedSet(
        sites=tuple(sites),
        at_least=_count(data, "at_least", 1),
        demand=_count(data, "demand", 0),
        lost=_count(data, "lost", 0) if "lost" in data else 0,  # older plans have neither
        lost_pool=_get(data, "lost_pool", str, "a pool id as text") if "lost_pool" in data else "",
        pools={pool: _count(pools, pool, 0) for pool in pools},
        divisor=_count(data, "divisor", 1),
        needs=_count(data, "needs", 0),
        multiplier=_multiplier(data),
    )


def read_cover_set(data: object) -> ClaimedCoverSet:
    """Return the set that ``data`` holds; raises UnreadableError for what is missing or of the wrong kind."""
    if not isinstance(data, Mapping):
        raise UnreadableError(f"it is {_kind(data)}; it must be a JSON object")
    ready = _get(data, "ready", Mapping, "an object")
    found = ClaimedCoverSet(
        sites=_ids(data, "sites"),
        demand=_count(data, "demand", 0),
        full=_ids(data, "full"),
        kept=_ids(data, "kept"),
        ready={str(home): _ids(ready, home) for home in ready},
        multiplier=_multiplier(data),
    )
    homes = [*found.full, *found.kept, *found.ready]
    if len(set(homes)) < len(homes):
        raise UnreadableError(
            'it counts the same pool twice: a pool may be in only one of the lists "full", "kept" and "ready"'
        )
    return found


def _ids(data: Mapping[Any, Any], key: str) -> tuple[str, ...]:
    ids = _get(data, key, (list, tuple), "a list")
    if not all(isinstance(each, str) for each in ids):
        raise UnreadableError(f"its field {key} must hold ids only")
    return tuple(ids)


def finite(value: object) -> float:
    """Return ``value`` as a float; NaN for anything that is no finite number."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return math.nan
    try:
        return float(value) if math.isfinite(value) else math.nan
    except OverflowError:
        return math.nan


def _get(data: Mapping[Any, Any], key: str, kind: Any, expected: str) -> Any:
    if key not in data:
        raise UnreadableError(f"its field {key} is missing")
    if not isinstance(data[key], kind):
        raise UnreadableError(f"its field {key} is {_kind(data[key])}; it must be {expected}")
    return data[key]


def _count(data: Mapping[Any, Any], key: str, least: int) -> int:
    value: int = _get(data, key, int, "a whole number")
    if isinstance(value, bool) or not least <= value <= _LARGEST:
        raise UnreadableError(f"its field {key} must be a whole number from {least} to {_LARGEST}")
    return value


def _multiplier(data: Mapping[Any, Any]) -> Fraction:
    text: str = _get(data, "multiplier", str, "a fraction as text")
    if not _FRACTION.fullmatch(text):
        raise UnreadableError('its field multiplier must be a fraction as text, such as "3/2"')
    found = Fraction(text)
    if found < 0:
        raise UnreadableError(f"its field multiplier is {text}; it must be 0 or more")
    return found


def _kind(value: object) -> str:
    if value is None or isinstance(value, bool):
        return "null" if value is None else "true or false"
    kinds = {str: "text", int: "a whole number", float: "a number", list: "a list", dict: "an object"}
    return kinds.get(type(value), type(value).__name__)
