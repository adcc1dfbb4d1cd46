"""A horizon in words and plain data."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from typing import Any

from planner.counted_words import counted
from planner.scenarios.horizon.horizon_steps import Horizon, Step

FORMAT = 1


def headline(found: Horizon) -> str:
    """Return the horizon in one or two sentences."""
    first, last = found.steps[0], found.steps[-1]
    span = f"From {first.period.first.isoformat()} to {last.period.last.isoformat()}"
    if not found.bought:
        doubt = "" if found.served_proven else f" {proof_in_words(found)}"
        return f"{span} the existing hosts are enough, and you need to buy none{_left_out(found)}.{doubt}"
    money = ""
    if found.worth is not None:
        money = f" All payments are worth {found.worth:,.2f} {found.currency or 'money'} today."
    bought = f"you need to buy {counted(found.bought, 'host')}"
    return f"{span} {bought}{_left_out(found)}.{money} {proof_in_words(found)}"


def _left_out(found: Horizon) -> str:
    """Return how many sites some period leaves unserved, and how many of them are served today."""
    sites = {site for step in found.steps for site in step.unserved}
    if not sites:
        return ""
    today = f" ({found.left_out_today:,} of them with a host today)" if found.left_out_today else ""
    return f"; {counted(len(sites), 'site')} {'is' if len(sites) == 1 else 'are'} not served in some period{today}"


def proof_in_words(found: Horizon) -> str:
    """Return how good the horizon is, in a sentence."""
    if not found.served_proven:
        return "Not proven: another plan may serve a greater weight of sites."
    if found.objective == "cost":
        least = f"{found.worth_bound:,.2f}"
        return (
            "No other way to buy costs less (proven)." if found.proven else f"Not proven: at least {least} is needed."
        )
    if found.proven:
        return f"Fewer cannot serve {'every period' if found.complete else 'the same sites'} (proven)."
    return f"Not proven: you need to buy at least {counted(found.bought_bound, 'host')}."


def some(pairs: Sequence[tuple[str, int]]) -> str:
    """Return hosts by pool, such as ``2 at ESK, 1 at ROV``."""
    return ", ".join(f"{number} at {pool}" for pool, number in pairs)


def moves_in_words(step: Step) -> str:
    """Return why sites move."""
    if not step.moves:
        return "no site moves"
    rest = len(step.moves) - step.forced
    parts = []
    if step.forced:
        parts.append(f"{step.forced:,} because they cannot stay on their host, or no longer need one")
    if rest:
        parts.append(f"{rest:,} to make room ({'proven minimum' if step.moves_proven else 'fewer may be enough'})")
    return ", ".join(parts)


def to_json(found: Horizon) -> str:
    """Return the horizon as JSON text."""
    claims = {"status": found.status, "complete": found.complete, "proven": found.proven}
    data = {"format": FORMAT} | claims | dataclasses.asdict(found)
    data["steps"] = [
        dataclasses.asdict(step) | {"hosts_standing": step.standing, "why_moves": moves_in_words(step)}
        for step in found.steps
    ]
    return json.dumps(data, indent=1, allow_nan=False, default=_day)


def _day(value: Any) -> str:
    """Return a date as text."""
    return str(value.isoformat())
