"""The gain from cover: down time when a displaced site votes through its standby after the re-homing time."""

from __future__ import annotations

import numpy as np

from planner.fleet import Floats
from planner.resilience.uptime.down_times import Part
from planner.resilience.uptime.figures import Down
from planner.resilience.uptime.rows import Rows
from planner.resilience.uptime.votes import cluster_down, either_down

_HOME: tuple[Part, ...] = ("host", "hub", "hub_uplink")


def covered_down(rows: Rows, rehoming_minutes: float) -> Floats:
    """Return the share of time that a cluster of each row is down with re-homing; NaN without standby or without MTTR.

    An outage whose length is exponential with mean MTTR lasts longer than T with probability exp(-T / MTTR), and that
    is also the share of down time spent beyond its first T (both by the lack of memory). So a part with down time u is
    down beyond T for u exp(-T / MTTR). The third vote is there while all of home is up, and while some part of home has
    been down for more than T and the standby is up. Outages that follow each other without a gap and are each shorter
    than T count as not re-homed, which errs to the safe side.
    """
    hours = rehoming_minutes / 60.0
    old = {part: _beyond(rows.down[part], hours) for part in _HOME}
    up = 1.0 - either_down(*(rows.share(part) for part in _HOME))
    elsewhere = either_down(*old.values()) * (1.0 - either_down(*(rows.standby[part].share for part in _HOME)))
    # At the same hub only the loss of the host can be mended, and only while the hub and its uplink are up.
    hub_up = 1.0 - either_down(rows.share("hub"), rows.share("hub_uplink"))
    next_door = hub_up * old["host"] * (1.0 - rows.standby["host"].share)
    path_up = up + np.where(rows.same_hub, next_door, elsewhere)
    return cluster_down(rows.share("node"), 1.0 - (1.0 - rows.share("site_uplink")) * path_up)


def _beyond(down: Down, hours: float) -> Floats:
    """Return the share of time that a part has been down for more than ``hours``."""
    with np.errstate(divide="ignore"):  # an MTTR of nought: no outage lasts
        share: Floats = down.share * np.exp(-hours / down.mttr_hours)
    return np.where(down.share == 0.0, 0.0, share)  # a part that never fails needs no MTTR
