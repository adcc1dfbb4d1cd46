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
        hosts, sites = counted(shared.hosts, "shared host"), counted(shared.sites, "site")
        return f"{hosts} can give {sites} a third vote. The costs are not known: fill in the sheet Prices."
    unserved, total, best = min(priced, key=lambda one: one[:2])
    who = "for all sites" if not unserved else f"for all but {counted(unserved, 'site')}, which no host can serve"
    sure = "" if best.proven else " (not proven)"
    return f"The cheapest design {who}: {best.name}. It costs {total:,.2f} {found.unit} in {found.years:g} years{sure}."


def flips_in_words(found: Comparison) -> list[str]:
    """Return one line for each range of prices of an own tie-breaker: the cheapest mix there."""
    if len(found.segments) < 2 and not found.complete:
        return ["Time ended before the prices were found at which the cheapest mix changes."]
    if len(found.segments) < 2:
        return ["The cheapest mix is the same at every price of an own tie-breaker."]
    unit = found.unit
    lines = []
    if found.price is not None:
        lines.append(f"An own tie-breaker costs {money(found.price)} {unit} per cluster with {found.stand_alone}.")
    for segment in found.segments:
        if segment.low <= 0:
            where = f"costs less than {money(segment.high)} {unit}"
        elif math.isinf(segment.high):
            where = f"costs more than {money(segment.low)} {unit}"
        else:
            where = f"costs {money(segment.low)} to {money(segment.high)} {unit}"
        sure = "" if segment.proven else " (not proven)"
        lines.append(f"If an own tie-breaker {where} per cluster, the cheapest mix is {described(segment)}{sure}.")
    if not found.complete:
        lines.append(
            "Time ended before all prices were found. Between these prices there may be more at which the mix changes."
        )
    return lines


def described(segment: Segment) -> str:
    """Return a segment's plan."""
    own = "no own tie-breaker" if not segment.own else counted(segment.own, "own tie-breaker")
    return f"{own} and {counted(segment.hosts, 'shared host') if segment.hosts else 'no shared host'}"


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
