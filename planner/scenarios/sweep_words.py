"""A sweep in words and plain data: how each point is proven, what was changed, and the JSON record."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from typing import Any

from planner.counted_words import counted
from planner.scenarios.sweep_results import Point, PointFigures, Scenario, Sweep

FORMAT = 1
PROOFS = {
    "counting": "proven by groups of sites",
    "search": "proven by a search over host counts",
    "solver": "proven by the solver alone",
    "bound": "not proven",
    "none": "no site to serve",
}


def proof_in_words(point: Point) -> str:
    """Return how sure the value of ``point`` is, and which points that rests on."""
    if point.figures is None:
        return "failed"
    words = PROOFS.get(point.figures.proof, "") if point.figures.proven else PROOFS["bound"]
    if point.origin == "bounds":
        words = f"proven: {_named(point)} need the same number"
        return words if len(point.rests_on) > 1 else f"proven: the same as {_named(point)}"
    if point.rests_on:
        words = f"{'proven' if point.proven else 'not proven'}, with the help of {_named(point)}"
    return f"{words} (kept from an earlier run)" if point.origin == "store" else words


def _named(point: Point) -> str:
    return " and ".join(f'"{name}"' for name in point.rests_on)


def changes_in_words(scenario: Scenario) -> list[str]:
    """Return what the scenario changes, one line each."""
    lines = [f"hub {dict(row).get('hub', '')} opens" for row in scenario.new_hubs]
    lines += [f"site {site} closes" for site in scenario.closed_sites]
    lines += [f"hub {hub} closes" for hub in scenario.closed_hubs]
    if scenario.growth is not None:
        grow = scenario.growth
        parts = [f"{n:,} more {noun}" for n, noun in ((grow.sites, "sites"), (grow.clusters, "clusters")) if n]
        lines.append(f"{' and '.join(parts)}, drawn at random with seed {grow.seed}")
    for edit in scenario.edits:
        where = "" if edit.sheet == "Policy" else f" of {'all ' if edit.rows == '*' else ''}{edit.sheet.lower()}"
        rows = "" if edit.sheet == "Policy" or edit.rows == "*" else f" {edit.rows}"
        lines.append(f"{edit.column}{where}{rows}: {edit.value or 'blank'}")
    return lines


def headline(sweep: Sweep) -> str:
    """Return the sweep in one or two sentences."""
    known = [p for p in sweep.points if p.figures is not None]
    if not known:
        return f"None of {len(sweep.points):,} scenarios could be planned."
    figures = [p.figures for p in known if p.figures is not None]
    proven = sum(one.status == "optimal" for one in figures)
    hosts = [one.hosts for one in figures]
    span = counted(min(hosts), "host") if min(hosts) == max(hosts) else f"{min(hosts):,} to {max(hosts):,} hosts"
    failed = len(sweep.points) - len(known)
    tail = f" {failed:,} could not be planned." if failed else ""
    scenarios = counted(len(known), "scenario")
    needs = f"{scenarios} {'needs' if len(known) == 1 else 'need'} {span}{_not_met(figures)}."
    sure = "All results are" if proven == len(known) else f"{proven:,} of {len(known):,} results are"
    return f"{needs} {sure} proven.{tail}"


def _not_met(figures: Sequence[PointFigures]) -> str:
    """Return in how many scenarios sites are unserved, or lack the standby that they want."""
    out, today = sum(not one.complete for one in figures), sum(one.left_out_today > 0 for one in figures)
    bare = sum(one.uncovered > 0 for one in figures)
    parts = []
    if out:
        some = ", some of which have one today" if today else ""
        parts.append(f"{out:,} {'leaves' if out == 1 else 'leave'} sites without a host{some}")
    if bare:
        parts.append(f"{bare:,} {'leaves' if bare == 1 else 'leave'} sites without a standby")
    return "".join(f"; {part}" for part in parts)


def to_json(sweep: Sweep) -> str:
    """Return the sweep as JSON text: a member for each point, in the order of the scenarios."""
    data = {
        "format": FORMAT,
        "version": sweep.version,
        "sources": [dataclasses.asdict(source) for source in sweep.sources],
        "options": sweep.options,
        "complete": sweep.complete,
        "currency": sweep.currency,
        "notes": [dataclasses.asdict(note) for note in sweep.notes],
        "points": [_point(point) for point in sweep.points],
        "front": [point.scenario.name for point in sweep.points if point.front],
    }
    return json.dumps(data, indent=1, allow_nan=False)


def _changed(scenario: Scenario) -> dict[str, Any]:
    """Return what the scenario changes as data."""
    return {name: value for name, value in dataclasses.asdict(scenario).items() if name not in ("name", "axes")}


def _point(point: Point) -> dict[str, Any]:
    figures = (
        None
        if point.figures is None
        else dataclasses.asdict(point.figures)
        | {
            "gap": point.gap,
            "status": point.figures.status,
            "complete": point.figures.complete,
        }
    )
    return {
        "scenario": point.scenario.name,
        "axes": dict(point.scenario.axes),
        "changes": changes_in_words(point.scenario),
        "changed": _changed(point.scenario),
        "figures": figures,
        "error": point.error,
        "origin": point.origin,
        "rests_on": list(point.rests_on),
        "seconds": point.seconds,
        "front": point.front,
    }
