"""The JSON files of castingvote as documents: written, described by JSON Schemas, and read again as nouns."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, TypeVar

from planner.differences import Difference
from planner.documents.kinds import DOCUMENTS, Document
from planner.documents.plain import Reader
from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import plan_to_json
from planner.outputs.atomic import write_text
from planner.plan import Plan
from planner.readiness import Readiness
from planner.resilience import Availability, DrillReport
from planner.scenarios.designs.design_comparison import Comparison
from planner.scenarios.horizon.horizon_steps import Horizon
from planner.scenarios.sweep_results import Sweep
from planner.schedule import Rollout

__all__ = [
    "DOCUMENTS",
    "read_availability",
    "read_designs",
    "read_difference",
    "read_drill",
    "read_horizon",
    "read_rollout",
    "read_sweep",
    "text_of",
    "write_json",
]

_Path = str | os.PathLike[str]


def text_of(noun: Any) -> str:
    """Return a plan, rollout, sweep, horizon, comparison, drill or availability as JSON text; TypeError for others."""
    for document in DOCUMENTS.values():
        if document.noun is not None and document.written is not None and isinstance(noun, document.noun):
            return document.written(noun)
    nouns = ", ".join(document.noun.__name__ for document in DOCUMENTS.values() if document.noun is not None)
    raise TypeError(f"a {type(noun).__name__} is none of {nouns}")


def write_json(noun: Any, path: _Path, readiness: Readiness | None = None) -> None:
    """Write a plan, rollout, sweep, horizon, comparison, drill or availability as JSON, whole or not at all.

    ``readiness`` (see `planner.audit`) follows in the file of a plan. Raises InputError when the file cannot be
    written, TypeError for anything else.
    """
    text = plan_to_json(noun, readiness) if isinstance(noun, Plan) else text_of(noun)
    write_text(path, text)


def read_rollout(path: _Path) -> Rollout:
    """Return the rollout in a rollout.json; InputError with a finding for each key that is missing or unreadable."""
    return _read("rollout", path, Rollout)


def read_sweep(path: _Path) -> Sweep:
    """Return the sweep in a sweep.json; InputError with a finding for each key that is missing or unreadable."""
    return _read("sweep", path, Sweep)


def read_horizon(path: _Path) -> Horizon:
    """Return the horizon in a horizon.json; InputError with a finding for each key that is missing or unreadable."""
    return _read("horizon", path, Horizon)


def read_designs(path: _Path) -> Comparison:
    """Return the comparison in a designs.json; InputError with a finding for each key that is missing or unreadable."""
    return _read("designs", path, Comparison)


def read_difference(path: _Path) -> Difference:
    """Return the difference in its JSON file; InputError with a finding for each key that is not as it should be."""
    return _read("difference", path, Difference)


def read_drill(path: _Path) -> DrillReport:
    """Return the drill in a drill.json; InputError with a finding for each key that is missing or unreadable."""
    return _read("drill", path, DrillReport)


def read_availability(path: _Path) -> Availability:
    """Return the availability in its JSON file; InputError with a finding for each key that is not as it should be."""
    return _read("availability", path, Availability)


_Noun = TypeVar("_Noun")


def _read(name: str, path: _Path, noun: type[_Noun]) -> _Noun:
    document, file = DOCUMENTS[name], Path(path)
    try:
        data = json.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise _refused(
            file, "file_unreadable", f"cannot be read: {error.strerror or error}.", "Check the path."
        ) from error
    except ValueError as error:
        raise _refused(file, "not_json", f"is not JSON: {error}.", f"Name a {name}.json.") from error
    return _noun(document, file, data, noun)


def _noun(document: Document, file: Path, data: Any, noun: type[_Noun]) -> _Noun:
    hint = f"Name a {document.name}.json that castingvote wrote."
    if not isinstance(data, dict):
        raise _refused(file, "not_an_object", "holds no JSON object.", hint)
    if data.get("format", 1) != 1:
        hint = "Read it with the castingvote that wrote it, or a newer one."
        raise _refused(file, "format_unknown", f"has format {data['format']!r}; 1 is the one known here.", hint)
    try:
        rebuilt = document.rebuilt(data)
    except (AttributeError, TypeError) as error:
        raise _refused(file, "not_of_this_kind", f"is no {document.name}.json.", hint) from error
    found: _Noun = Reader(file.name).noun(noun, rebuilt)
    return found


def _refused(file: Path, code: str, message: str, hint: str) -> InputError:
    return InputError((Finding("error", code, "", message, hint, file.name),))
