"""The largest blast radii of a plan: what one host, hub or zone takes with it, beside what the policy allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from planner.resilience.drills.drill_report import BlastRadius, Loss
from planner.resilience.drills.layout import Layout

_MOST = 10  # of each kind


def largest_radii(layout: Layout, losses: Sequence[Loss]) -> tuple[BlastRadius, ...]:
    """Return the hosts, hubs and zones of ``losses`` that hit most clusters, then most weight, by kind."""
    found = []
    for kind in ("host", "hub", "zone"):
        radii = [_radius(layout, loss) for loss in losses if loss.kind == kind]
        found += sorted(radii, key=lambda one: (-one.clusters, -one.weight_percent, one.loss.name))[:_MOST]
    return tuple(found)


def _radius(layout: Layout, loss: Loss) -> BlastRadius:
    rows = layout.hit(layout.hosts_of(loss)).rows
    known = rows & (layout.site >= 0)
    site, fleet = layout.site[known], layout.fleet
    # The weight of a split site goes by its clusters.
    weight = float((fleet.weights[site] * layout.clusters[known] / np.maximum(1, fleet.clusters[site])).sum())
    whole = float(fleet.weights[fleet.needs_host].sum())
    return BlastRadius(
        loss=loss,
        sites=len(set(layout.site[known].tolist())),
        clusters=int(layout.clusters[rows].sum()),
        weight_percent=100.0 * weight / whole if whole else 0.0,
        most_clusters=min(_limits(layout, loss, "max_blast_radius"), default=None),
        most_percent=min(_limits(layout, loss, "max_share_percent"), default=None),
    )


def _limits(layout: Layout, loss: Loss, setting: str) -> Iterator[float]:
    """Yield the policy's limits on a loss; a hub is a zone of its own."""
    kinds = {"host": ("",), "hub": ("_hub", "_zone"), "zone": ("_zone",)}[loss.kind]
    for kind in kinds:
        most = getattr(layout.fleet.policy, f"{setting}{kind}")
        if most is not None:
            yield most
