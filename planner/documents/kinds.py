"""The JSON documents that castingvote writes: what each holds, how it is written, and how it is read again.

Within one ``format`` keys may be added and none goes away or changes its meaning; where that must be, the format grows
by one and files of the format before are still read. Readers pass over keys that they do not know.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from planner.differences import Difference
from planner.documents.plain import ListOf, Maybe, OrNull, fields_of
from planner.explain import Explanation
from planner.fleet import Finding
from planner.outputs import plan_to_json
from planner.outputs.noun_json import noun_to_json
from planner.outputs.rollout_json import rollout_to_json
from planner.plan import Aim, Plan
from planner.readiness import Readiness
from planner.readiness.audit_items import ItemCount
from planner.resilience import Availability, DrillReport
from planner.scenarios.designs.design_comparison import Comparison, Costs, Design, Segment
from planner.scenarios.designs.design_sentences import to_json as designs_to_json
from planner.scenarios.horizon.horizon_sentences import to_json as horizon_to_json
from planner.scenarios.horizon.horizon_steps import Horizon
from planner.scenarios.horizon.horizon_steps import Step as HorizonStep
from planner.scenarios.sweep_results import Edit, Growth, Origin, PointFigures, Sweep
from planner.scenarios.sweep_words import to_json as sweep_to_json
from planner.schedule import Rollout
from planner.verify import ProofCheck, Violation
from planner.verify.certificate import CertificateCheck

_FORMAT = {"format": Literal[1]}
_RATED = {"status": Literal["optimal", "feasible"], "complete": bool}


@dataclass(frozen=True)
class Document:
    """One kind of file: the ``members`` of its outermost object by type, and ``more`` keys beside those of dataclasses.

    ``noun`` is what it is read as and ``written`` makes its text; None where it is a report that is only written.
    ``rebuilt`` turns the data into that of the noun's fields.
    """

    name: str
    what: str
    members: Mapping[str, Any]
    noun: type[Any] | None = None
    written: Callable[[Any], str] | None = None
    rebuilt: Callable[[dict[str, Any]], dict[str, Any]] = dict
    more: Mapping[type[Any], Mapping[str, Any]] = field(default_factory=dict)


def _sweep(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of a sweep with each scenario as one object again."""
    points = []
    for point in data.get("points", ()):
        axes = tuple(point.get("axes", {}).items())
        changes = point.get("changed", {})
        scenario = {"name": point.get("scenario"), "axes": [list(axis) for axis in axes], **changes}
        points.append({**point, "scenario": scenario})
    return {**data, "points": points}


def _designs(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of a comparison with the last segment without end again."""
    segments = [{**one, "high": math.inf} if one.get("high", 0) is None else one for one in data.get("segments", ())]
    return {**data, "segments": segments}


_READINESS = {
    "counts": dict[str, int],
    "most_frequent": tuple[ItemCount, ...],
    **{name: hint for name, hint in fields_of(Readiness).items() if name not in ("sites", "checks")},
    "checks": fields_of(Readiness)["checks"],
    "sites": fields_of(Readiness)["sites"],
}
_POINT = {
    "scenario": str,
    "axes": dict[str, str],
    "changes": tuple[str, ...],
    "changed": {
        "edits": tuple[Edit, ...],
        "growth": Growth | None,
        "closed_sites": tuple[str, ...],
        "closed_hubs": tuple[str, ...],
        "new_hubs": tuple[tuple[tuple[str, str], ...], ...],
    },
    "figures": PointFigures | None,
    "error": str,
    "origin": Origin,
    "rests_on": tuple[str, ...],
    "seconds": float,
    "front": bool,
}
_PLAN = {
    **_FORMAT,
    "headline": str,
    "hash": Maybe(str),
    "aims": tuple[Aim, ...],
    "complete": bool,
    "hosts": int,
    "gap": float,
    **fields_of(Plan, ("before", "then")),
    "readiness": Maybe(_READINESS),
}
_EXPLANATION = {**_FORMAT, "headline": str, **fields_of(Explanation, ("plan",))}
_VERIFIED = {
    **_FORMAT,
    "violations": tuple[Violation, ...],
    "proof": Maybe(ProofCheck),
    "certificate": Maybe(CertificateCheck),
}
_CHECKED = {**_FORMAT, "findings": tuple[Finding, ...], "readiness": OrNull(_READINESS)}
_ROLLOUT = {**_FORMAT, **fields_of(Rollout)}
_SWEEP = {
    **_FORMAT,
    **fields_of(Sweep),
    "points": ListOf(_POINT),
    "front": tuple[str, ...],
}

_CHOICE = {"key": str, "words": str, "samples": str, "likeness": float}
_GUESS = {
    "sheet": str,
    "table": str | None,
    "rows": int | None,
    "likeness": float,
    "why": str,
    "notes": tuple[str, ...],
    "columns": ListOf(
        {"column": str, "header": str, "letter": str, "likeness": float, "why": str, "samples": str},
    ),
}
_QUESTION = {"key": str, "words": str, "choices": ListOf(_CHOICE), "free": bool, "answer": str | None}
_LEFT_OUT = {"table": str, "header": str, "letter": str, "like": str, "why": str, "samples": str}
_ADOPTED = {
    **_FORMAT,
    "fingerprint": str,
    "guesses": ListOf(_GUESS),
    "questions": ListOf(_QUESTION),
    "unused": tuple[str, ...],
    "left_out": ListOf(_LEFT_OUT),
    "sites": int | None,
    "hubs": int | None,
    "findings": tuple[Finding, ...],
}

DOCUMENTS = {
    one.name: one
    for one in (
        Document("plan", "A plan: hosts, who uses which, who is left out, and the proof.", _PLAN, Plan, plan_to_json),
        Document("rollout", "Waves that lead from today to a plan.", _ROLLOUT, Rollout, rollout_to_json),
        Document("check", "Findings in a fleet, and what is open at its sites.", _CHECKED),
        Document("adopt", "How somebody else's file was understood, and which questions are open.", _ADOPTED),
        Document("verify", "Which parts of a plan, its proof or its certificate are wrong.", _VERIFIED),
        Document("explain", "Why a plan is as it is, and what would help.", _EXPLANATION),
        Document(
            "drill", "What losses do to a plan.", {**_FORMAT, **fields_of(DrillReport)}, DrillReport, noun_to_json
        ),
        Document(
            "availability",
            "How long clusters are expected to be down in a year.",
            {**_FORMAT, **fields_of(Availability)},
            Availability,
            noun_to_json,
        ),
        Document(
            "difference",
            "What differs between two plans or fleets, and why.",
            {**_FORMAT, **fields_of(Difference)},
            Difference,
            noun_to_json,
        ),
        Document(
            "sweep",
            "Many what-ifs and their plans.",
            _SWEEP,
            Sweep,
            sweep_to_json,
            _sweep,
            {PointFigures: {**_RATED, "gap": float}},
        ),
        Document(
            "horizon",
            "When and where the next hosts are needed.",
            {**_FORMAT, **_RATED, "proven": bool, **fields_of(Horizon)},
            Horizon,
            horizon_to_json,
            more={HorizonStep: {"hosts_standing": int, "why_moves": str}},
        ),
        Document(
            "designs",
            "Three nodes compared with shared, dedicated and own tie-breakers.",
            {**_FORMAT, **fields_of(Comparison)},
            Comparison,
            designs_to_json,
            _designs,
            {Design: _RATED, Costs: {"total": float}, Segment: {"high": float | None}},
        ),
    )
}
