"""plan.json: the plan as data. Each host, assignment and finding has a line, so that two plans compare well."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from planner.fleet import Finding
from planner.outputs.atomic import write_text
from planner.outputs.words import headline
from planner.plan import Plan

if TYPE_CHECKING:
    from planner.readiness import Readiness

FORMAT = 1


def plan_to_json(plan: Plan, readiness: Readiness | None = None) -> str:
    """Return ``plan`` as JSON text, format version 1, in plain ASCII and ending in a line end.

    ``readiness`` (see `planner.audit`) follows under the key of this name, counted by the hubs of the plan.
    Raises ValueError when a number is NaN or infinite: a plan that holds one is at fault.
    """
    text = _object(plan_to_dict(plan))
    if readiness is None:
        return f"{text}\n"
    audited = _object(readiness_to_dict(readiness.for_plan(plan)))
    whole = text.removesuffix("\n}")
    return f'{whole},\n"readiness": {audited}\n}}\n'


def write_json(plan: Plan, path: str | os.PathLike[str], readiness: Readiness | None = None) -> None:
    """Write `plan_to_json` to a file, whole or not at all; raises InputError when it cannot be written."""
    write_text(path, plan_to_json(plan, readiness))


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """Return ``plan`` as plain dicts and lists, keyed as in plan.json."""
    return {
        "format": FORMAT,
        "headline": headline(plan),
        "status": plan.status,
        "complete": plan.complete,
        "aims": [asdict(aim) for aim in plan.aims],
        "objective": plan.objective,
        "objective_value": plan.objective_value,
        "hosts": plan.hosts,
        "lower_bound": plan.lower_bound,
        "gap": plan.gap,
        "seconds": dict(plan.seconds),
        "host_list": [asdict(host) for host in plan.host_list],
        "assignments": [asdict(assignment) for assignment in plan.assignments],
        "unserved": [asdict(unserved) for unserved in plan.unserved],
        "uncovered": [asdict(uncovered) for uncovered in plan.uncovered],
        "cover_prices": [asdict(price) for price in plan.cover_prices],
        "no_host_needed": [asdict(spared) for spared in plan.no_host_needed],
        "measure_first": [asdict(pair) for pair in plan.measure_first],
        "proof": {"kind": plan.proof.kind, "words": plan.proof.words, "details": dict(plan.proof.details)},
        "findings": [asdict(finding) for finding in plan.findings],
        "policy": dict(plan.policy),
        "sources": [asdict(source) for source in plan.sources],
        "version": plan.version,
    }


def readiness_to_dict(readiness: Readiness) -> dict[str, Any]:
    """Return the audit as plain dicts and lists, the counts first and the sites with their items last."""
    return {
        "counts": readiness.counts,
        "most_frequent": [asdict(kind) for kind in readiness.most_frequent],
        "management": [asdict(count) for count in readiness.management],
        "management_by": readiness.management_by,
        "assumptions": list(readiness.assumptions),
        "checks": [asdict(check) for check in readiness.checks],
        "sites": [asdict(site) for site in readiness.sites],
    }


def check_to_json(findings: Sequence[Finding], readiness: Readiness | None) -> str:
    """Return findings and audit as JSON text; no audit where the fleet cannot be built."""
    audited = "null" if readiness is None else _object(readiness_to_dict(readiness))
    listed = _member("findings", [asdict(finding) for finding in findings])
    return f'{{\n{listed},\n"readiness": {audited}\n}}\n'


def _object(value: Mapping[str, Any]) -> str:
    return "{\n" + ",\n".join(_member(key, member) for key, member in value.items()) + "\n}"


def _member(key: str, value: Any) -> str:
    if isinstance(value, list) and value:
        return f"{_text(key)}: [\n" + ",\n".join(_text(item) for item in value) + "\n]"
    return f"{_text(key)}: {_text(value)}"


def _text(value: Any) -> str:
    return json.dumps(value, allow_nan=False, default=_from_numpy)


def _from_numpy(value: Any) -> Any:
    """Return a NumPy scalar or array as plain data; the sizing part may leave some in the proof."""
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"a plan cannot hold {type(value).__name__} in JSON")
