"""The worst pairs of losses: every pair of hosts, hubs and zones, or of the largest where there are too many."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.resilience.drills.drill_report import Loss, PairOfLosses
from planner.resilience.drills.layout import Layout

_MOST_LOSSES = 400  # about 80,000 pairs, a few seconds' work
_SHOWN = 10
_BATCH = 2000


def worst_pairs(layout: Layout, losses: Sequence[Loss]) -> tuple[tuple[PairOfLosses, ...], str]:
    """Return the pairs that leave most clusters without a third vote after re-homing, and what was searched.

    Of equal ones those that displace more come first. Losses that take the same hosts count once, and two losses of
    which one contains the other are no pair.
    """
    by_mask = {layout.hosts_of(loss).tobytes(): loss for loss in reversed(losses)}
    losses = [loss for loss in losses if by_mask[layout.hosts_of(loss).tobytes()] == loss]
    masks = [layout.hosts_of(loss) for loss in losses]
    size = np.array([layout.load[mask].sum() for mask in masks])
    chosen = np.argsort(-size, kind="stable")[:_MOST_LOSSES]
    mask = np.array([masks[at] for at in chosen], dtype=np.bool_).reshape(len(chosen), len(layout.names))
    first, second = np.triu_indices(len(chosen), k=1)
    inside = mask.astype(np.int64) @ mask.T.astype(np.int64)  # hosts that two losses share
    hosts = np.diag(inside)
    apart = (inside[first, second] < hosts[first]) & (inside[first, second] < hosts[second])
    first, second = first[apart], second[apart]
    left, displaced = _measure(layout, mask, first, second)
    order = np.lexsort((second, first, -displaced, -left))[:_SHOWN]
    found = []
    for at in order:
        one, other = losses[chosen[first[at]]], losses[chosen[second[at]]]
        figures = layout.figures(layout.hit(mask[first[at]] | mask[second[at]]))
        found.append(PairOfLosses(one, other, figures))
    return tuple(found), _searched(len(losses), len(chosen), len(first))


def _measure(layout: Layout, mask: Bools, first: Ints, second: Ints) -> tuple[Floats, Floats]:
    """Return clusters without a vote after re-homing, and clusters displaced, of each pair, shape (pairs,)."""
    left, displaced = np.zeros(len(first)), np.zeros(len(first))
    load, cap, flows = layout.load.astype(np.float64), layout.cap.astype(np.float64), layout.flows
    for start in range(0, len(first), _BATCH):
        part = slice(start, start + _BATCH)
        lost = mask[first[part]] | mask[second[part]]
        arriving = np.where(lost, 0.0, lost.astype(np.float64) @ flows)
        over = np.where(arriving > 0, np.maximum(load + arriving - cap, 0.0), 0.0)
        displaced[part] = lost @ load
        left[part] = displaced[part] - arriving.sum(axis=1) + over.sum(axis=1)
    return left, displaced


def _searched(losses: int, chosen: int, pairs: int) -> str:
    if chosen < losses:
        return (
            f"Of {losses:,} different losses of hosts, hubs and zones the {chosen:,} that displace most clusters were "
            f"paired: {pairs:,} pairs. A pair with a smaller loss was not tried."
        )
    return f"All {pairs:,} pairs of {losses:,} different losses of hosts, hubs and zones were tried."
