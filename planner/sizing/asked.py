"""What may be asked of sizing: limits on time and seeds, and combinations of settings that are modelled."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from planner.columns import Column
from planner.errors import InputError
from planner.fleet import Finding, Fleet, fitted

_MOST_PARTS = 200_000  # clusters with a standby each
_EXTRA = Column("extra_hosts", "whole", "hosts", least=0, most=100_000)
_ASKED = (Column("time_limit", "number", "", "seconds", least=0), Column("seed", "whole", "", least=0, most=2**31 - 1))


def asked_limit(time_limit: float | None, seed: int) -> float | None:
    """Return ``time_limit`` in seconds, None for none; InputError for a limit or a ``seed`` that is none."""
    limit = None if time_limit == math.inf else time_limit
    fitted("", zip(_ASKED, (limit, seed), (None, 0), strict=True))
    return limit


def asked_extra_hosts(extra_hosts: int) -> int:
    """Return ``extra_hosts``, how many more than the fewest may run; InputError for a number that is none."""
    (found,) = fitted("", [(_EXTRA, extra_hosts, 0)])
    return int(found)


def refuse_unmodelled(fleet: Fleet) -> None:
    """Raise InputError where the fleet asks for what is not modelled, or for more than can be counted exactly."""
    policy = fleet.policy
    if fleet.too_large is not None:
        finding, at = fleet.too_large
        raise InputError((dataclasses.replace(finding, where=f"site {fleet.site_ids[at]}"),))
    if policy.objective == "cost" and np.isnan(fleet.host_costs).any():
        pool = fleet.pool_ids[int(np.isnan(fleet.host_costs).argmax())]
        message = f"The objective is cost, and pool {pool} has no price of a host."
        hint = "Fill in host_cost of each pool, or of the policy, or give prices of equipment."
        raise InputError((Finding("error", "host_cost_missing", "Hubs", message, hint),))
    if policy.cover != "none" and policy.split_sites and fleet.clusters.sum() > _MOST_PARTS:
        message = (
            f"split_sites is yes and cover is {policy.cover}: a standby of its own for each cluster can be planned up "
            f"to {_MOST_PARTS:,} clusters. The fleet has {int(fleet.clusters.sum()):,}."
        )
        raise InputError(
            (Finding("error", "split-cover", "Policy", message, "Set split_sites to no, or cover to none."),)
        )
    if policy.objective == "cost" and policy.split_sites and (fleet.latency["pair_cost"].fillna(0) > 0).any():
        hint = "Set split_sites to no, or leave pair_cost blank."
        message = "objective cost cannot be used with split sites and pair costs: a circuit's price cannot be shared."
        raise InputError((Finding("error", "split-pair-costs", "Policy", message, hint),))
