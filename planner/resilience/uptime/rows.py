"""The plan as parts: one row for each assignment or unserved site, with the figures of everything it depends on."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import get_args

import numpy as np

from planner.fleet import Bools, Fleet, Floats, Ints, positions
from planner.plan import Plan
from planner.resilience.uptime.down_times import Missing, Part
from planner.resilience.uptime.figures import Down, column_names, read_part, sheet_of
from planner.resilience.uptime.votes import cluster_down, either_down

PARTS: tuple[Part, ...] = get_args(Part)


@dataclass(frozen=True)
class Rows:
    """Rows of a plan; arrays of shape (rows,). ``host``, ``hub`` and ``pool`` are -1 for unserved sites.

    ``down`` holds the figures of each part of the row, ``standby`` those of the parts behind its standby (NaN where it
    has none). ``same_hub`` says whether the standby stands at the hub of the host.
    """

    names: tuple[str, ...]
    hosts: tuple[str, ...]
    site: Ints
    host: Ints
    hub: Ints
    pool: Ints
    clusters: Ints
    down: dict[Part, Down]
    standby: dict[Part, Down]
    same_hub: Bools

    def take(self, keep: Bools) -> Rows:
        """Return the rows that ``keep`` marks."""
        at = np.flatnonzero(keep)
        return dataclasses.replace(
            self,
            site=self.site[at],
            host=self.host[at],
            hub=self.hub[at],
            pool=self.pool[at],
            clusters=self.clusters[at],
            down={part: figures.at(at) for part, figures in self.down.items()},
            standby={part: figures.at(at) for part, figures in self.standby.items()},
            same_hub=self.same_hub[at],
        )

    def share(self, part: Part, without: Part | None = None) -> Floats:
        """Return the share of time that ``part`` is down; nought where ``without`` is that part."""
        share = self.down[part].share
        return np.zeros_like(share) if part == without else share

    def vote_down(self, without: Part | None = None) -> Floats:
        """Return the share of time that the third vote is out of reach: a part of its path is down, or there is none.

        The parts of one row are different parts, so their chain is a plain product.
        """
        path = either_down(*(self.share(part, without) for part in PARTS if part != "node"))
        return np.where(self.host < 0, 1.0, path)

    def cluster_down(self, without: Part | None = None) -> Floats:
        """Return the share of time that a cluster of the row is down; ``without`` is a part that never fails.

        Without failures of the part ``node``, one of the two nodes is always up.
        """
        if without == "node":
            return self.share("node") * self.vote_down()
        return cluster_down(self.share("node"), self.vote_down(without))


def read_rows(fleet: Fleet, plan: Plan) -> Rows:
    """Return the rows of ``plan`` whose site, host and hub the fleet and the plan know; others carry nothing to use."""
    pool_of = {host.host: host.pool for host in plan.host_list}
    hosts = tuple(pool_of)
    served = [(a.site, a.host, a.clusters, a.standby or "") for a in plan.assignments]
    served += [(left.site, "", left.clusters, "") for left in plan.unserved]
    site = positions([row[0] for row in served], fleet.site_ids)
    host = positions([row[1] for row in served], hosts)
    standby = positions([row[3] for row in served], hosts)
    pool_of_host = np.append(positions(list(pool_of.values()), fleet.pool_ids), -1)
    hub_of_pool = np.append(fleet.hub_of_pool, -1)
    figures = {part: read_part(fleet, part) for part in PARTS}

    def behind(host: Ints) -> dict[Part, Down]:
        pool = pool_of_host[host]
        at: dict[Part, Ints] = {"node": site, "site_uplink": site, "host": pool}
        return {part: figures[part].at(at.get(part, hub_of_pool[pool])) for part in PARTS}

    hub = hub_of_pool[pool_of_host[host]]
    rows = Rows(
        names=fleet.site_ids,
        hosts=hosts,
        site=site,
        host=host,
        hub=hub,
        pool=pool_of_host[host],
        clusters=np.array([row[2] for row in served], dtype=np.int64),
        down=behind(host),
        standby=behind(standby),
        same_hub=hub_of_pool[pool_of_host[standby]] == hub,
    )
    wanted = np.array([bool(row[1]) for row in served], dtype=np.bool_)
    return rows.take((site >= 0) & (rows.clusters > 0) & ((hub >= 0) == wanted))


def complete(rows: Rows) -> tuple[Bools, tuple[Missing, ...]]:
    """Return which rows have every figure that they need, and what the others lack, counted by row of its sheet.

    A site with a row that lacks something counts as lacking it in all of its rows.
    """
    lacking = np.zeros(len(rows.site), dtype=np.bool_)
    missing = []
    for part in PARTS:
        lacks = np.isnan(rows.down[part].share) & ((rows.host >= 0) | (part == "node"))
        if lacks.any():
            of = rows.site if sheet_of(part) == "Sites" else rows.pool
            missing.append(Missing(part, sheet_of(part), len(np.unique(of[lacks])), column_names(part)))
        lacking |= lacks
    return ~np.isin(rows.site, rows.site[lacking]), tuple(missing)
