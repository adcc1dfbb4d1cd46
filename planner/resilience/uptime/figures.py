"""The given figures: how often each part is down and for how long, by row with the policy behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from planner.fleet import Fleet, Floats, Ints
from planner.resilience.uptime.down_times import Part

_PLACES: dict[Part, str] = {
    "node": "Sites",
    "site_uplink": "Sites",
    "host": "Hubs",
    "hub": "Hubs",
    "hub_uplink": "Hubs",
}


@dataclass(frozen=True, slots=True)
class Down:
    """``share`` of time that a part is down and ``mttr_hours``, mean length of an outage; NaN where not given."""

    share: Floats
    mttr_hours: Floats

    def at(self, rows: Ints) -> Down:
        """Return the figures of ``rows``; NaN for -1."""
        return Down(*(np.append(values, np.nan)[rows] for values in (self.share, self.mttr_hours)))


def column_names(part: Part) -> tuple[str, str, str]:
    """Return the columns, and settings of the same names, that give the figures of a part."""
    return f"{part}_availability_percent", f"{part}_mtbf_hours", f"{part}_mttr_hours"


def sheet_of(part: Part) -> str:
    """Return the sheet that has the figures of a part."""
    return _PLACES[part]


def read_part(fleet: Fleet, part: Part) -> Down:
    """Return the figures of a part for each site (node, site_uplink), pool (host) or hub (hub, hub_uplink).

    Availability is the percentage, or MTBF / (MTBF + MTTR) with MTBF the mean time up from a repair to the next failure
    (MTTF in J. Gray and D. P. Siewiorek, High-Availability Computer Systems, IEEE Computer 24(9), 1991). A row's own
    figure comes before the policy's, and a percentage before hours. Where rows of one hub differ the worst counts.
    """
    table = fleet.sites if sheet_of(part) == "Sites" else fleet.pools
    percent, mtbf, mttr = column_names(part)
    policy = [_number(getattr(fleet.policy, name)) for name in (percent, mtbf, mttr)]
    hours_down = table[mttr].fillna(policy[2])
    share = 1.0 - table[percent] / 100.0
    share = share.fillna(_from_hours(table[mtbf], hours_down))
    share = share.fillna(1.0 - policy[0] / 100.0)
    share = share.fillna(_from_hours(pd.Series(policy[1], index=table.index), hours_down))
    down = Down(share.to_numpy(dtype=np.float64), hours_down.to_numpy(dtype=np.float64))
    return _of_hubs(fleet, down) if part in ("hub", "hub_uplink") else down


def _from_hours(up: pd.Series[float], down: pd.Series[float]) -> pd.Series[float]:
    return down / (up + down)


def _number(value: float | None) -> float:
    return np.nan if value is None else float(value)


def _of_hubs(fleet: Fleet, down: Down) -> Down:
    share, mttr = (np.full(len(fleet.hub_ids), np.nan) for _ in range(2))
    np.fmax.at(share, fleet.hub_of_pool, down.share)
    np.fmax.at(mttr, fleet.hub_of_pool, down.mttr_hours)
    return Down(share, mttr)
