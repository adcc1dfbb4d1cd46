"""The evidence of a plan with cover, in words and as data that `verify --proof` re-checks."""

from __future__ import annotations

from fractions import Fraction
from itertools import compress
from typing import Any

from planner.arrays import falses
from planner.counted_words import counted, first_few, more_groups
from planner.fleet import Bools, Fleet
from planner.sizing.cover.certificate import Evidence
from planner.sizing.cover.reserve_terms import CoverSet
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem

_NAMED_SETS = 3  # sets told in words; the data hold all of them


def told_with_standbys(fleet: Fleet, problem: Problem, evidence: Evidence) -> tuple[str, str, list[dict[str, Any]]]:
    """Return the kind of proof that the evidence is, a paragraph, and its sets as plain data."""
    pairs = list(zip(evidence.sets, evidence.multipliers, strict=True))
    pairs.sort(key=lambda pair: -pair[0].demand)
    data = [_as_data(fleet, problem, evidence.classes, each, y) for each, y in pairs]
    words = [_in_words(told) for told in data[:_NAMED_SETS]]
    if len(data) > _NAMED_SETS:
        words.append(more_groups(len(data) - _NAMED_SETS))
    if any(evidence.multipliers):
        words.append(
            f"Added up exactly, these groups need at least {float(evidence.bound):g} "
            "(plan.json has the figures of the sum)."
        )
        return "counting", " ".join(words), data
    words.append(
        f"No combination of hosts with fewer than {float(evidence.bound):g} in all meets all these conditions at once."
    )
    return "search", " ".join(words), data


def _as_data(fleet: Fleet, problem: Problem, classes: Classes, each: CoverSet, multiplier: Fraction) -> dict[str, Any]:
    """Return one set as plain data: sites, clusters, how each possible home is counted, and its multiplier."""
    inside: Bools = falses(classes.count)
    inside[each.classes] = True
    pools = [fleet.pool_ids[at] for at in problem.pool_at]
    sites = problem.site_at[inside[classes.of_site]]
    homes = zip(pools, each.ready, strict=True)
    ready = {home: list(compress(pools, marks)) for home, marks in homes if marks.any()}
    return {
        "sites": [fleet.site_ids[s] for s in sites],
        "demand": each.demand,
        "full": list(compress(pools, each.full)),
        "kept": list(compress(pools, each.kept)),
        "ready": ready,
        "multiplier": str(multiplier),
    }


def _in_words(told: dict[str, Any]) -> str:
    """Say one set as a person would."""
    sites = counted(len(told["sites"]), "site")
    clusters = counted(told["demand"], "cluster")
    parts = [f"{sites} with {clusters} ({first_few(told['sites'])}) need room."]
    if told["full"]:
        parts.append(f"The hosts of {first_few(told['full'])} count with all their room.")
    if told["kept"]:
        parts.append(f"The hosts of {first_few(told['kept'])} count without the room that they keep free for a loss.")
    if told["ready"]:
        parts.append(
            f"The hosts of {first_few(told['ready'])} count only for the clusters that other hosts keep room for: "
            "their standbys."
        )
    return " ".join(parts)
