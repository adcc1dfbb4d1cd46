"""The evidence of a plan with cover, in words and as data that `verify --proof` re-checks."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np

from planner.counted_words import counted, first_few
from planner.fleet import Bools, Fleet
from planner.sizing.cover.certificate import Evidence
from planner.sizing.cover.reserve_terms import CoverSet
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem

_NAMED_SETS = 3  # sets told in words; the data hold all of them


def told_with_standbys(fleet: Fleet, problem: Problem, evidence: Evidence) -> tuple[str, str, list[dict[str, Any]]]:
    """Return the kind of proof that the evidence is, a paragraph, and its sets as plain data."""
    pairs = sorted(zip(evidence.sets, evidence.multipliers, strict=True), key=lambda pair: -pair[0].demand)
    data = [_as_data(fleet, problem, evidence.classes, each, y) for each, y in pairs]
    words = [_in_words(told) for told in data[:_NAMED_SETS]]
    if len(data) > _NAMED_SETS:
        words.append(more_sets_in_words(len(data) - _NAMED_SETS))
    if any(evidence.multipliers):
        words.append(f"Weighed with their multipliers, they add up to {float(evidence.bound):g}, in exact fractions.")
        return "counting", " ".join(words), data
    words.append(f"No choice of whole hosts and room with fewer than {float(evidence.bound):g} meets all of them.")
    return "search", " ".join(words), data


def more_sets_in_words(number: int) -> str:
    """Return where the sets are that are not told in words."""
    return f"{counted(number, 'more such set')} {'is' if number == 1 else 'are'} in the data of the proof."


def _as_data(fleet: Fleet, problem: Problem, classes: Classes, each: CoverSet, multiplier: Fraction) -> dict[str, Any]:
    """Return one set as plain data: sites, clusters, how each possible home is counted, and its multiplier."""
    inside: Bools = np.zeros(classes.count, dtype=np.bool_)
    inside[each.classes] = True
    name = [fleet.pool_ids[at] for at in problem.pool_at]
    homes = np.flatnonzero(each.ready.any(axis=1))
    return {
        "sites": [fleet.site_ids[s] for s in problem.site_at[inside[classes.of_site]]],
        "demand": each.demand,
        "full": [name[p] for p in np.flatnonzero(each.full)],
        "kept": [name[p] for p in np.flatnonzero(each.kept)],
        "ready": {name[p]: [name[q] for q in np.flatnonzero(each.ready[p])] for p in homes},
        "multiplier": str(multiplier),
    }


def _in_words(told: dict[str, Any]) -> str:
    """Say one set as a person would."""
    what = f"{counted(told['demand'], 'cluster')} at {counted(len(told['sites']), 'site')}"
    what += f" ({first_few(told['sites'])})"
    parts = []
    if told["full"]:
        parts.append(f"as many at {first_few(told['full'])} as the hosts there carry")
    if told["kept"]:
        parts.append(f"at {first_few(told['kept'])} as many less the room kept free there for others")
    if told["ready"]:
        parts.append(f"at {first_few(told['ready'])} no more than their standbys keep free")
    return f"{what} must find a place: " + ", ".join(parts) + "."
