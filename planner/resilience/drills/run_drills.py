"""From a fleet, a plan and a loss to what happens then."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Bools, Fleet
from planner.plan import Plan
from planner.resilience.drills.drill_report import Displaced, Drill, DrillReport, Loss, Outcome, SingleLoss
from planner.resilience.drills.layout import Hit, Layout
from planner.resilience.drills.names import known_losses, read_losses
from planner.resilience.drills.pairs import worst_pairs
from planner.resilience.drills.radii import largest_radii
from planner.resilience.drills.wan import Wan

_NOTES = (
    "A displaced cluster keeps running on the votes of its two nodes; it stops when one of them fails before it is "
    "re-homed. The figures count clusters that lose their third vote, not clusters that stop.",
    "The loss of a zone takes every hub that names it in any of its rows. The loss of a hub takes its hosts, not the "
    "WAN that runs through it: use --lose node:HUB for that. Links between the same two ends are lost together. "
    "Traffic on hub uplinks is not counted again after re-homing.",
)


def drill(fleet: Fleet, plan: Plan, lose: Sequence[str] = ()) -> DrillReport:
    """Return what the loss of ``lose``, all at once, does to ``plan``; without it, all single losses and worst pairs.

    A loss is named by a host of the plan, a hub, a zone or a WAN link ``FROM--TO``, where it could be two of them with
    a prefix: ``host:``, ``hub:``, ``zone:``, ``link:``, and ``node:`` for a WAN node. Displaced sites go to the standby
    that the plan names, if that is not lost, every rule allows it and the way there remains; nobody else moves. The
    plan is taken as it is, and may come from a file that people have edited. Nothing is planned anew.

    Raises InputError for a name that neither fleet nor plan has.
    """
    layout = Layout(fleet, plan)
    wan = Wan(fleet, layout)
    unserved = f"{len(plan.unserved):,} unserved sites have no third vote to lose." if plan.unserved else ""
    bare = (
        "The plan names no standby. To have standbys, set cover in Policy and plan again."
        if not (layout.standby >= 0).any()
        else ""
    )
    notes = tuple(note for note in (*_NOTES, unserved, bare) if note)
    if lose:
        return DrillReport(drill=_named(layout, wan, read_losses(lose, fleet, layout, wan)), notes=notes)
    losses = [loss for loss in known_losses(fleet, layout, wan) if loss.kind in ("host", "hub", "zone")]
    losses = [loss for loss in losses if layout.hosts_of(loss).any()]
    singles = [_single(layout, loss) for loss in losses]
    claimed = fleet.policy.cover
    broken = tuple(loss for loss in losses if _claims(claimed, loss) and _breaks(layout, loss))
    pairs, searched = worst_pairs(layout, losses)
    on_wan, said = wan.singles() if wan.graph.names else ([], [])
    return DrillReport(
        singles=(*singles, *on_wan),
        pairs=pairs,
        claimed=claimed,
        broken=broken,
        radii=largest_radii(layout, losses),
        searched=(searched, *said),
        notes=notes,
    )


def _claims(cover: str, loss: Loss) -> bool:
    """Say whether a cover claims to survive a loss; a larger cover claims the smaller losses too."""
    order = ("host", "hub", "zone")
    return cover in order and order.index(loss.kind) <= order.index(cover)


def _breaks(layout: Layout, loss: Loss) -> bool:
    """Say whether some site with a standby is left without a vote; that others have none the plan says itself."""
    hit = layout.hit(layout.hosts_of(loss))
    named = np.array([bool(row.standby) for row in layout.plan.assignments], dtype=np.bool_)
    stranded = hit.rows & named & ~layout.rehomed(hit)
    return bool(stranded.any()) or layout.figures(hit).over > 0


def _single(layout: Layout, loss: Loss) -> SingleLoss:
    inside = len(_in_zones(layout, [loss]))
    return SingleLoss(loss, layout.figures(layout.hit(layout.hosts_of(loss)), inside))


def _named(layout: Layout, wan: Wan, losses: tuple[Loss, ...]) -> Drill:
    """Return the drill of named losses, site by site; those without a place to go first."""
    hosts = np.logical_or.reduce([layout.hosts_of(loss) for loss in losses])
    hit, over = wan.hit(losses, hosts)
    inside = _in_zones(layout, losses)
    rows = [_displaced(layout, hit, over, int(at)) for at in np.flatnonzero(hit.rows)]
    return Drill(
        losses=losses,
        hosts_lost=tuple(layout.names[h] for h in np.flatnonzero(hosts)),
        figures=layout.figures(hit, len(inside)),
        displaced=tuple(sorted(rows, key=lambda row: (row.outcome == "rehomed", row.site, row.host))),
        loads=layout.loads(hit),
        sites_in_zone=inside,
        unserved=tuple(left.site for left in layout.plan.unserved),
    )


def _displaced(layout: Layout, hit: Hit, over: Bools, at: int) -> Displaced:
    row = layout.plan.assignments[at]
    outcome, detail = _outcome(layout, hit, at)
    on_lost_host = layout.home[at] >= 0 and hit.hosts[layout.home[at]]
    why = "host" if on_lost_host else "budget" if over[at] else "cut"
    return Displaced(row.site, row.clusters, row.host, why, row.standby, outcome, detail)  # type: ignore[arg-type]


def _outcome(layout: Layout, hit: Hit, at: int) -> tuple[Outcome, str]:
    standby = layout.standby[at]
    if not layout.plan.assignments[at].standby:
        return "no_standby", ""
    if not layout.usable[at]:
        return "not_eligible", layout.why_not_eligible(at)
    if hit.cut[at]:
        return "standby_lost", "" if hit.hosts[standby] else "the way to the standby is cut or over budget"
    return "rehomed", ""


def _in_zones(layout: Layout, losses: Sequence[Loss]) -> tuple[str, ...]:
    """Return the sites that lie in a lost zone themselves."""
    zones = [loss.name for loss in losses if loss.kind == "zone"]
    inside = {site for zone in zones for site in layout.sites_of_zone.get(zone, ())}
    return tuple(site for site in layout.fleet.site_ids if site in inside) if inside else ()
