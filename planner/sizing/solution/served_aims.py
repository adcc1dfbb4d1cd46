"""The aims before the objective: the weight that a plan serves and covers, each with what no plan can exceed."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Mapping, Sequence
from typing import Literal

import numpy as np

from planner.fleet import Bools, Fleet
from planner.plan import Aim

Worth = Literal["kept_served", "served", "covered"]


def aims_of_worth(
    fleet: Fleet, unserved: Collection[str], bare: Collection[str], least: Mapping[Worth, float]
) -> tuple[Aim, ...]:
    """Return the aims before the objective of a plan that leaves out the sites ``unserved``.

    ``bare`` are those that it serves without a standby, which counts where the policy asks for cover. ``least``: no
    plan that is as good on the aims before misses less weight of a kind, in whole units (`Fleet.whole_weights`).
    """
    need: Bools = fleet.needs_host
    out = need & np.isin(fleet.site_ids, list(unserved))
    without = need & np.isin(fleet.site_ids, list(bare))
    kept = need & fleet.kept
    aims = [_aim(fleet, "kept_served", kept, kept & out, least)] if fleet.policy.keep_served else []
    aims.append(_aim(fleet, "served", need, out, least))
    if fleet.policy.cover != "none":
        aims.append(_aim(fleet, "covered", need & ~out, without, least))
    return tuple(aims)


def as_bounded(aims: Sequence[Aim], by: Sequence[Aim]) -> tuple[Aim, ...]:
    """Return the values of ``aims`` with the bounds of ``by``, which are those of the same fleet."""
    pairs = zip(aims, by, strict=True)
    return tuple(dataclasses.replace(a, bound=max(a.value, b.bound), proven=a.value >= b.bound) for a, b in pairs)


def _aim(fleet: Fleet, aim: Worth, of: Bools, missing: Bools, least: Mapping[Worth, float]) -> Aim:
    """Return the aim to miss little of the weight of the sites ``of``; the plan misses that of ``missing``."""
    weights = fleet.whole_weights
    total, missed = (int(weights[sites].sum()) for sites in (of, missing))
    least_missed = math.ceil(least[aim] - 1e-6)
    most = total - min(missed, least_missed)  # bounds of solvers are a little off
    value, bound = (float(units * fleet.weight_unit) for units in (total - missed, most))
    return Aim(aim, value, bound, bound <= value)
