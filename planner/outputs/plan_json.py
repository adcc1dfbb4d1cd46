"""plan.json: the plan as data. Each host, assignment and finding has a line, so that two plans compare well."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from planner.fleet import Finding
from planner.identity import plan_hash
from planner.outputs.atomic import write_text
from planner.outputs.how_sure import headline
from planner.plan import Plan

if TYPE_CHECKING:
    from planner.readiness import Readiness

FORMAT = 1


def plan_to_json(plan: Plan, readiness: Readiness | None = None) -> str:
    """Return ``plan`` as JSON text, format version 1, in plain ASCII and ending in a line end.

    ``readiness`` (see `planner.audit`) follows under the key of this name, counted by the hubs of the plan.
    Raises ValueError when a number is NaN or infinite: a plan that holds one is at fault.
    """
    text = _object(_members(plan))
    if readiness is None:
        return f"{text}\n"
    audited = _object(_audited(readiness.for_plan(plan)))
    whole = text.removesuffix("\n}")
    return f'{whole},\n"readiness": {audited}\n}}\n'


def write_json(plan: Plan, path: str | os.PathLike[str], readiness: Readiness | None = None) -> None:
    """Write `plan_to_json` to a file, whole or not at all; raises InputError when it cannot be written."""
    write_text(path, plan_to_json(plan, readiness))


def _members(plan: Plan) -> dict[str, Any]:
    """Return what plan.json says of ``plan``, in order."""
    return {
        "format": FORMAT,
        "headline": headline(plan),
        "fleet_id": plan.fleet_id,
        "number": plan.number,
        "hash": plan_hash(plan),
        "follows": plan.follows,
        "emptied": list(plan.emptied),
        "extra_hosts": plan.extra_hosts,
        "status": plan.status,
        "complete": plan.complete,
        "aims": list(plan.aims),
        "objective": plan.objective,
        "objective_value": plan.objective_value,
        "hosts": plan.hosts,
        "lower_bound": plan.lower_bound,
        "gap": plan.gap,
        "seconds": dict(plan.seconds),
        "host_list": list(plan.host_list),
        "assignments": list(plan.assignments),
        "unserved": list(plan.unserved),
        "uncovered": list(plan.uncovered),
        "cover_prices": list(plan.cover_prices),
        "no_host_needed": list(plan.no_host_needed),
        "measure_first": list(plan.measure_first),
        "proof": {"kind": plan.proof.kind, "words": plan.proof.words, "details": dict(plan.proof.details)},
        "findings": list(plan.findings),
        "policy": dict(plan.policy),
        "sources": list(plan.sources),
        "version": plan.version,
    }


def _audited(readiness: Readiness) -> dict[str, Any]:
    """Return what plan.json says of an audit, the counts first and the sites with their items last."""
    return {
        "counts": readiness.counts,
        "most_frequent": list(readiness.most_frequent),
        "management": list(readiness.management),
        "management_by": readiness.management_by,
        "assumptions": list(readiness.assumptions),
        "checks": list(readiness.checks),
        "sites": list(readiness.sites),
    }


def check_to_json(findings: Sequence[Finding], readiness: Readiness | None) -> str:
    """Return findings and audit as JSON text; no audit where the fleet cannot be built."""
    audited = "null" if readiness is None else _object(_audited(readiness))
    listed = _member("findings", list(findings))
    return f'{{\n"format": {FORMAT},\n{listed},\n"readiness": {audited}\n}}\n'


def _object(value: Mapping[str, Any]) -> str:
    return "{\n" + ",\n".join(_member(key, member) for key, member in value.items()) + "\n}"


def _member(key: str, value: Any) -> str:
    if isinstance(value, list) and value:
        return f"{_text(key)}: [\n" + ",\n".join(_text(item) for item in value) + "\n]"
    return f"{_text(key)}: {_text(value)}"


def _text(value: Any) -> str:
    return _ENCODER.encode(value)


def _plain(value: Any) -> Any:
    """Return a dataclass as a dict; a NumPy scalar or array, which sizing may leave in the proof, as plain data."""
    kind = type(value)
    members = _members_of(kind)  # type: ignore[arg-type]
    if members is not None:
        names, values_of = members
        return dict(zip(names, values_of(value), strict=True))
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"a plan cannot hold {kind.__name__} in JSON")


@cache
def _members_of(kind: type[Any]) -> tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]]] | None:
    """Return the names of a dataclass's fields, and what reads their values at once: an audit has tens of thousands.

    None where ``kind`` is none.
    """
    if not is_dataclass(kind):
        return None
    names = tuple(field.name for field in fields(kind))
    if len(names) > 1:
        return names, attrgetter(*names)
    return names, lambda value: tuple(getattr(value, name) for name in names)


_ENCODER = json.JSONEncoder(allow_nan=False, check_circular=False, default=_plain)  # nothing in a plan holds itself
