"""Prices of equipment: buying, a year of running (licence and rent, power, visits), and the value today of many years.

Yearly prices of one host, own tie-breaker or circuit (`host_cost`, `own_tie_breaker_cost`, `pair_cost`) are always for
a year, and never hold what buying costs. What buying costs stands in the sheet Prices alone.

The value of a payment C a year, first at once and then at the start of each following year, over N years at the rate r
is C (1 - q^N) / (1 - q) with q = 1 / (1 + r): an annuity due (any text on engineering economy; common practice). A part
of a year at the end counts as that part.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from planner.fleet import Fleet, Policy
    from planner.fleet_arrays import FleetArrays

_HOURS = 8760  # of a year of 365 days


@dataclass(frozen=True, slots=True)
class Price:
    """A row of the sheet Prices: ``buy`` and ``yearly`` in money, ``watts``, ``visits`` a year."""

    buy: float = 0.0
    yearly: float = 0.0
    watts: float = 0.0
    visits: float = 0.0

    def yearly_cost(self, policy: Policy) -> float:
        """Return money for a year: licence and rent, power, visits."""
        return self.yearly + self.watts / 1000 * _HOURS * policy.kwh_cost + self.visits * policy.visit_cost

    def worth(self, policy: Policy) -> float:
        """Return the value today of buying one and running it for the policy's ``years``.

        >>> from planner.fleet import Policy
        >>> round(Price(buy=100, yearly=10).worth(Policy(years=2, discount_percent=25)), 9)
        118.0
        """
        return self.buy + self.yearly_cost(policy) * years_factor(policy)

    def a_year(self, policy: Policy) -> float:
        """Return money a year: running, and buying in equal parts over the policy's ``years`` that are worth as much.

        It is the equivalent annual cost of engineering economics (any text; common practice).

        >>> from planner.fleet import Policy
        >>> round(Price(buy=90, yearly=10).a_year(Policy(years=2, discount_percent=25)), 9)
        60.0
        """
        return self.yearly_cost(policy) + self.buy / years_factor(policy)

    def running_at(self, yearly: float) -> Price:
        """Return the price of an item that costs ``yearly`` to run, power and visits included."""
        return Price(self.buy, yearly)


def years_factor(policy: Policy) -> float:
    """Return the value today of one unit of money a year over the policy's ``years``."""
    whole = int(policy.years)
    q = 1 / (1 + policy.discount_percent / 100)
    return float(sum(q**year for year in range(whole)) + (policy.years - whole) * q**whole)


def lead_days(fleet: Fleet) -> dict[str, int]:
    """Return the days from an order to the delivery of a host by pool id; pools without a figure are left out."""
    given = fleet.pools["lead_time_days"].astype("float64")
    if fleet.policy.lead_time_days is not None:
        given = given.fillna(fleet.policy.lead_time_days)
    return {pool: int(days) for pool, days in zip(fleet.pool_ids, given, strict=True) if days == days}


def order_by(needed_on: dt.date, days: int | None) -> dt.date | None:
    """Return the last day for an order that takes ``days``; None where that is not known.

    >>> order_by(dt.date(2027, 3, 1), 28).isoformat()
    '2027-02-01'
    """
    return None if days is None else needed_on - dt.timedelta(days=days)


def price_of(fleet: FleetArrays, item: Literal["node", "host", "own_tie_breaker"]) -> Price | None:
    """Return the price of ``item`` in the sheet Prices; None when it is not there. Blanks are 0."""
    rows = fleet.prices[fleet.prices["item"] == item]
    if rows.empty:
        return None
    row = rows.iloc[0].fillna(0.0)
    return Price(float(row["buy"]), float(row["yearly"]), float(row["watts"]), float(row["visits"]))
