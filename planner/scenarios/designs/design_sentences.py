"""A comparison in words and plain data."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

from planner.counted_words import counted
from planner.scenarios.designs.design_comparison import Comparison, Segment

FORMAT = 1


def headline(found: Comparison) -> str:
    """Return the comparison in one or two sentences."""
    priced = [(design.unserved, design.costs.total, design) for design in found.designs if design.costs is not None]
    if not priced:
        shared = found.designs[1]
        return f"{shared.hosts:,} shared hosts give {shared.sites:,} sites a third vote; no costs are known."
    unserved, total, best = min(priced, key=lambda one: one[:2])
    who = "all sites" if not unserved else f"all but {counted(unserved, 'site')} out of reach"
    sure = "" if best.proven else ", not proven"
    return f"Cheapest over {found.years:g} years for {who}: {best.name}, {total:,.2f} {found.unit}{sure}."


def flips_in_words(found: Comparison) -> list[str]:
    """Return one line for each price at which the cheapest mix changes."""
    if len(found.segments) < 2:
        return ["At no price does the choice between shared and own votes change."]
    unit = found.unit
    lines = []
    if found.price is not None:
        lines.append(f"A vote of a cluster's own costs {money(found.price)} {unit} with {found.stand_alone}.")
    for before, after in zip(found.segments, found.segments[1:], strict=False):
        sure = "" if before.proven and after.proven else " (not proven)"
        lines.append(
            f"At {money(before.high)} {unit} for a vote of a cluster's own: {described(before)} below, "
            f"{described(after)} above{sure}."
        )
    if not found.complete:
        lines.append("The search was stopped; there are more prices between these.")
    return lines


def described(segment: Segment) -> str:
    """Return a segment's plan."""
    return f"{segment.own:,} own and {counted(segment.hosts, 'host')}"


def money(value: float) -> str:
    """Return a price with as many decimals as it needs, two at least for fractions."""
    return f"{value:,.0f}" if value == round(value) else f"{value:,.4f}".rstrip("0") if value < 1 else f"{value:,.2f}"


def to_json(found: Comparison) -> str:
    """Return the comparison as JSON text; a price without end is null."""
    data = {"format": FORMAT} | dataclasses.asdict(found)
    for design, shown in zip(found.designs, data["designs"], strict=True):
        shown |= {"status": design.status, "complete": design.complete}
        if design.costs is not None:
            shown["costs"]["total"] = design.costs.total
    return json.dumps(_finite(data), indent=1, allow_nan=False)


def _finite(value: Any) -> Any:
    """Return ``value`` with every infinite number as None."""
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(one) for one in value]
    return None if isinstance(value, float) and math.isinf(value) else value
