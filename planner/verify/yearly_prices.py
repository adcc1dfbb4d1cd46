"""What hosts and own tie-breakers cost a year: a second reading of the prices, by the closed form of an annuity.

A payment of 1 at once, and at the start of each of N years in all, is worth (1 - q^N) / (1 - q) today with
q = 1 / (1 + r); buying for P is worth as much as P divided by that in each year (any text on engineering economy).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from planner.fleet import Policy


@dataclass(frozen=True)
class YearlyPrices:
    """The sheet Prices and the policy, asked for the price a year of a row of Hubs or Sites."""

    table: pd.DataFrame
    policy: Policy

    def host(self, row: Mapping[str, Any]) -> float:
        """Return what one host of a pool costs a year; NaN where unknown."""
        return self._priced("host", row["host_cost"], self.policy.host_cost, 1)

    def own(self, row: Mapping[str, Any], clusters: int) -> float:
        """Return what a site's own tie-breakers, one for each of its clusters, cost a year; NaN where unknown."""
        return self._priced("own_tie_breaker", row["own_tie_breaker_cost"], self.policy.own_tie_breaker_cost, clusters)

    def _priced(self, item: str, stated: float, default: float | None, number: int) -> float:
        running = default if math.isnan(stated) and default is not None else stated
        listed = self._listed.get(item)
        if listed is None:
            return running
        figure = {name: 0.0 if math.isnan(listed[name]) else float(listed[name]) for name in _FIGURES}
        if math.isnan(running):
            power = figure["watts"] * 24 * 365 / 1000 * self.policy.kwh_cost
            running = number * (figure["yearly"] + power + figure["visits"] * self.policy.visit_cost)
        return running + number * figure["buy"] / self._worth_of_one_a_year()

    @cached_property
    def _listed(self) -> dict[str, dict[str, Any]]:
        """The first row of each item."""
        listed: dict[str, dict[str, Any]] = {}
        for values in self.table.itertuples(index=False, name=None):
            row = dict(zip(self.table.columns, values, strict=True))
            listed.setdefault(row["item"], row)
        return listed

    def _worth_of_one_a_year(self) -> float:
        rate, years = self.policy.discount_percent / 100, self.policy.years
        q, whole = 1 / (1 + rate), math.floor(years)
        even = whole if rate == 0 else (1 - q**whole) / (1 - q)
        return even + (years - whole) * q**whole


_FIGURES = ("buy", "yearly", "watts", "visits")
