"""From a fleet and a plan to expected down time."""

from __future__ import annotations

import numpy as np

from planner.counted_words import counted
from planner.fleet import Fleet, Floats
from planner.plan import Plan
from planner.resilience.uptime.covered import covered_down
from planner.resilience.uptime.down_times import MINUTES_A_YEAR, Availability, PartShare, SiteUptime
from planner.resilience.uptime.rows import PARTS, Rows, complete, read_rows
from planner.resilience.uptime.together import number_hit, split_sites, together

_ASSUMPTIONS = (
    "A cluster runs while at least two of its three votes are up and reach each other: two nodes and the tie-breaker.",
    "The tie-breaker is in reach while the site's uplink, the hub's uplink, the hub and the host are all up.",
    "Parts fail independently of each other; what sites share (host, hub, uplinks) fails for all of them at once. "
    "Events that take down a whole failure zone or several parts are not in the figures.",
    "A site without a tie-breaker stops when either node is down. The link between the nodes is part of the nodes.",
    "Here, a node that comes back has all data at once. "
    "So let the MTTR of nodes include the time to mirror the data again.",
    "Down means without a majority. A site whose uplink is down runs on its two nodes and is not down.",
    "The figures are long-run averages over years of 365 days, no forecast for one year, and as good as their input.",
)
_REHOMED = (
    "With cover: when its host, hub or hub uplink has been down for {minutes:g} minutes, a site uses its standby until "
    "the repair, if the standby works. It moves back without a gap. The length of outages is random (exponential), "
    "with the MTTR as its mean."
)


def availability(fleet: Fleet, plan: Plan) -> Availability:
    """Return the expected down time of each site of ``plan``, how many clusters are down together, and why.

    Figures come from the columns and settings ``…_availability_percent``, ``…_mtbf_hours`` and ``…_mttr_hours``;
    nothing is assumed where they are blank: ``missing`` then says what to fill in, and sites that lack a figure are
    left out (all of them, if none has every figure). Sites with an own tie-breaker are not computed. Exact for the
    stated assumptions, with parts that sites share conditioned on and not multiplied.
    """
    every = read_rows(fleet, plan)
    known, missing = complete(every)
    rows = every.take(known)
    left_out = len(np.unique(every.site)) - len(np.unique(rows.site))
    notes = []
    own = sum(spared.why == "own_tie_breaker" for spared in plan.no_host_needed)
    if own:
        notes.append(f"{counted(own, 'site')} with an own tie-breaker not computed: no figure for it.")
    if not len(rows.site):
        return Availability(missing=missing, left_out=left_out, notes=tuple(notes))
    down = rows.cluster_down()
    covered = _covered(fleet, rows, notes)
    at_once = together(rows)
    if at_once is None:
        notes.append("Clusters down together are not computed: too many sites use several hosts each.")
    total = float((down * rows.clusters).sum()) * MINUTES_A_YEAR
    with_cover = None
    if covered is not None:
        with_cover = float((np.where(np.isnan(covered), down, covered) * rows.clusters).sum()) * MINUTES_A_YEAR
    minutes = fleet.policy.rehoming_minutes
    said = (_REHOMED.format(minutes=minutes),) if covered is not None else ()
    return Availability(
        sites=_sites(rows, down, covered),
        clusters=int(rows.clusters.sum()),
        cluster_minutes=total,
        covered_cluster_minutes=with_cover,
        rehoming_minutes=minutes,
        parts=_parts(fleet, rows, down, total),
        together=at_once or (),
        missing=missing,
        left_out=left_out,
        assumptions=(*_ASSUMPTIONS, *said),
        notes=tuple(notes),
    )


def _covered(fleet: Fleet, rows: Rows, notes: list[str]) -> Floats | None:
    """Return down time with re-homing for rows that have it; None, with a note why, where no row has."""
    standing_by = ~np.isnan(rows.standby["host"].share)
    minutes = fleet.policy.rehoming_minutes
    if not standing_by.any():
        notes.append("No gain from cover is known: no standby of the plan has availability figures.")
        return None
    if minutes is None:
        notes.append("The gain from cover is not computed: fill in rehoming_minutes in Policy.")
        return None
    covered = covered_down(rows, minutes)
    unknown = int((np.isnan(covered) & standing_by).sum())
    if unknown:
        rows_said = counted(unknown, "row")
        notes.append(
            f"The gain from cover is not computed for {rows_said} of the plan: fill in host_mttr_hours, "
            "hub_mttr_hours and hub_uplink_mttr_hours."
        )
    return None if np.isnan(covered).all() else covered


def _sites(rows: Rows, down: Floats, covered: Floats | None) -> tuple[SiteUptime, ...]:
    """Return one entry for each site, in order of the fleet; figures of a split site are means over its clusters."""
    found = []
    vote, any_down = rows.vote_down(), _any_down(rows, down)
    order = np.argsort(rows.site, kind="stable")
    for members in np.split(order, np.flatnonzero(np.diff(rows.site[order])) + 1):
        k = rows.clusters[members]
        mean = float((down[members] * k).sum() / k.sum())
        with_cover = None
        if covered is not None and not np.isnan(covered[members]).any():
            with_cover = float((covered[members] * k).sum() / k.sum()) * MINUTES_A_YEAR
        found.append(
            SiteUptime(
                site=rows.names[rows.site[members[0]]],
                clusters=int(k.sum()),
                hosts=tuple(rows.hosts[h] for h in rows.host[members] if h >= 0),
                availability=1.0 - mean,
                minutes=mean * MINUTES_A_YEAR,
                any_minutes=float(any_down[members[0]]) * MINUTES_A_YEAR,
                vote_minutes=float((vote[members] * k).sum() / k.sum()) * MINUTES_A_YEAR,
                covered_minutes=with_cover,
            )
        )
    return tuple(found)


def _any_down(rows: Rows, down: Floats) -> Floats:
    """Return the share of time that at least one cluster of each row's site is down, shape (rows,).

    Conditioned on the third vote, which the clusters of a site on one host share; on more where they use several hosts.
    """
    node, vote, k = rows.share("node"), rows.vote_down(), rows.clusters
    both, either = node**2, 1.0 - (1.0 - node) ** 2
    found = np.where(k == 1, down, 1.0 - (1.0 - vote) * (1.0 - both) ** k - vote * (1.0 - either) ** k)
    split = split_sites(rows)
    for site in np.unique(rows.site[split]):
        mine = rows.site == site
        found[mine] = 1.0 - number_hit(rows.take(mine), both[mine], either[mine])[0]
    return found


def _parts(fleet: Fleet, rows: Rows, down: Floats, total: float) -> tuple[PartShare, ...]:
    """Return how much down time each kind of part, then each host and hub, adds; the greatest first.

    Criticality importance (Birnbaum's importance times the part's down time, over the down time of the system): what
    would go if the part never failed. It takes two failures to stop a cluster, so shares add up to more than one.
    """
    kinds, named = [], []
    for part in PARTS:
        saved = (down - rows.cluster_down(without=part)) * rows.clusters * MINUTES_A_YEAR
        kinds.append(PartShare(part, "", float(saved.sum()), _share(float(saved.sum()), total)))
        of, names = {"host": (rows.host, rows.hosts)}.get(part, (rows.hub, fleet.hub_ids))
        if part in ("host", "hub", "hub_uplink"):
            for at in np.unique(of[of >= 0]):
                gone = float(saved[of == at].sum())
                named.append(PartShare(part, names[at], gone, _share(gone, total)))
    return (*sorted(kinds, key=_greatest_first), *sorted(named, key=_greatest_first))


def _greatest_first(share: PartShare) -> tuple[float, str, str]:
    return (-share.cluster_minutes, share.part, share.name)


def _share(minutes: float, total: float) -> float:
    return minutes / total if total > 0 else 0.0
