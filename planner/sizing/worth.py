"""The aims before the objective: the weight that a plan serves and covers, each with what no plan can exceed."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from typing import Literal

import numpy as np

from planner.fleet import Bools, Fleet
from planner.plan import Aim

Worth = Literal["served", "covered"]


def aims_of_worth(
    fleet: Fleet, unserved: Collection[str], bare: Collection[str], least: Mapping[Worth, float]
) -> tuple[Aim, ...]:
    """Return the aims before the objective of a plan that leaves out the sites ``unserved``.

    ``bare`` are those that it serves without a standby, which counts where the policy asks for cover. ``least``: no
    plan that is as good on the aims before misses less weight of a kind, in whole units (`Fleet.whole_weights`).
    """
    out, without = _units(fleet, unserved), _units(fleet, bare)
    aims = [_aim(fleet, "served", 0, out, least["served"])]
    if fleet.policy.cover != "none":
        aims.append(_aim(fleet, "covered", out, without, least["covered"]))
    return tuple(aims)


def as_bounded(aims: Sequence[Aim], by: Sequence[Aim]) -> tuple[Aim, ...]:
    """Return the values of ``aims`` with the bounds of ``by``, which are those of the same fleet."""
    pairs = zip(aims, by, strict=True)
    return tuple(dataclasses.replace(a, bound=max(a.value, b.bound), proven=a.value >= b.bound) for a, b in pairs)


def _units(fleet: Fleet, sites: Collection[str]) -> int:
    chosen: Bools = np.array([site in sites for site in fleet.site_ids], dtype=np.bool_)
    return int(fleet.whole_weights[chosen & fleet.needs_host].sum())


def _aim(fleet: Fleet, aim: Worth, gone: int, missed: int, least: float) -> Aim:
    """Return an aim of which ``missed`` is missing; ``gone`` is what aims before it have missed already."""
    total = int(fleet.whole_weights[fleet.needs_host].sum())
    most = total - gone - min(missed, int(np.ceil(least - 1e-6)))  # bounds of solvers are a little off
    value, bound = (float(units * fleet.weight_unit) for units in (total - gone - missed, most))
    return Aim(aim, value, bound, bound <= value)
