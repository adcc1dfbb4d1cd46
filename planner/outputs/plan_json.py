"""plan.json: the plan as data. Each host, assignment and finding has a line, so that two plans compare well."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from typing import Any

from planner.outputs.atomic import write_text
from planner.plan import Plan

FORMAT = 1


def plan_to_json(plan: Plan) -> str:
    """Return ``plan`` as JSON text, format version 1, in plain ASCII and ending in a line end.

    Raises ValueError when a number is NaN or infinite: a plan that holds one is at fault.
    """
    return "{\n" + ",\n".join(_member(key, value) for key, value in plan_to_dict(plan).items()) + "\n}\n"


def write_json(plan: Plan, path: str | os.PathLike[str]) -> None:
    """Write `plan_to_json` to a file, whole or not at all; raises InputError when it cannot be written."""
    write_text(path, plan_to_json(plan))


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """Return ``plan`` as plain dicts and lists, keyed as in plan.json."""
    return {
        "format": FORMAT,
        "status": plan.status,
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
        "no_host_needed": [asdict(spared) for spared in plan.no_host_needed],
        "then": [asdict(aim) for aim in plan.then],
        "proof": {"kind": plan.proof.kind, "words": plan.proof.words, "details": dict(plan.proof.details)},
        "findings": [asdict(finding) for finding in plan.findings],
        "policy": dict(plan.policy),
        "sources": [asdict(source) for source in plan.sources],
        "version": plan.version,
    }


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
