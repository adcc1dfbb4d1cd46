"""Last days for the orders of hosts that a horizon buys."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from planner.counted_words import first_few
from planner.fleet import Finding, Fleet
from planner.prices import lead_days, order_by
from planner.scenarios.horizon.horizon_steps import Step


def ordered_by(fleet: Fleet, bought: Sequence[tuple[str, int]], day: dt.date) -> tuple[tuple[str, dt.date], ...]:
    """Return (pool, last day for the order) of hosts that are ``bought`` to stand on ``day``, where that is known."""
    leads = lead_days(fleet)
    dates = ((pool, order_by(day, leads.get(pool))) for pool, _ in bought)
    return tuple((pool, last) for pool, last in dates if last is not None)


def late_orders(steps: Sequence[Step]) -> tuple[Finding, ...]:
    """Return a finding on orders that are due before the first period begins."""
    first = steps[0].period.first
    late = [
        f"{pool} by {day} for the period {step.period.name}"
        for step in steps
        for pool, day in step.order_by
        if day < first
    ]
    if not late:
        return ()
    message = f"Hosts must be ordered before the first period begins on {first}: {first_few(late)}."
    hint = "Order now. Where a date has passed, find a faster delivery, or sites wait for their host."
    return (Finding("warning", "horizon_order", "", message, hint),)
