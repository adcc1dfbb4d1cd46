"""What a check reports, and the small comparisons that all checks share."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

CODES: Mapping[str, str] = {
    # rules between a site and the pool of its host, named as in the reasons of unserved sites
    "latency": "the round-trip time exceeds the site's latency budget",
    "unknown_latency": "no round-trip time is known",
    "loss": "more probes are lost than the policy allows",
    "evidence": "the round-trip time rests on weaker evidence than the policy accepts",
    "old_latency": "the measurement is older than the policy accepts, or its date unknown",
    "release_floor": "the site's release is older than the release floor, or unknown",
    "host_release": "the host's release does not suit the site's",
    "third_location": "the host shares place, zone or surroundings with the site",
    "region": "the pool does not serve the site's region",
    "pinned_hub": "the site is pinned to another hub",
    "barred_hub": "the site is barred from the hub",
    "nodes": "the site's clusters do not have two data nodes",
    "uplink": "the tie-breaker traffic of a hub exceeds its uplink",
    "capacity": "a host carries more clusters than it may",
    "blast_radius": "the loss of a host, hub or zone hits more clusters, or more of the weight, than the policy allows",
    "own_rule": "a rule of your own is broken",
    # what the plan says about the sites
    "unknown_site": "the fleet has no such site",
    "missing_site": "a site that needs a host is nowhere in the plan",
    "listed_twice": "a site is in the plan more than once",
    "clusters": "the clusters of a site do not add up",
    "host_not_needed": "a site that needs no host is assigned or unserved",
    "host_needed": "a site is said to need no host but needs one",
    "unserved": "a site is unserved without a reason that holds",
    "kept_served": "a site that is served today is unserved for the sake of one that is not",
    # what it says about the hosts
    "unknown_host": "the plan has no such host",
    "unknown_pool": "the fleet has no such pool",
    "host_name": "a host has no name, or one that another host has",
    "hub": "a host or an assignment names a hub that is not the pool's",
    "load": "the clusters of a host do not add up",
    "max_hosts": "a pool runs more hosts than fit",
    "rack_units": "the hosts at a hub take more rack units than there are",
    "retiring_host": "a host that is to be emptied carries clusters",
    "existing_hosts": "more hosts of a pool are called existing than exist",
    # what it claims
    "claim": "a figure of the plan is not the fleet's",
    "current": "a move does not agree with the assignment in force",
    "standby": "a standby is missing or is no standby",
    "cover": "a loss that the plan should survive overfills a host",
    "objective": "the objective does not add up",
    "bound": "the lower bound is above the objective",
    "aim": "the weight that the plan serves or covers, or an aim after the objective, does not add up",
    "status": "the status does not agree with the rest of the plan",
    "proof_form": "a part of the proof is missing or of the wrong kind",
    "proof_set": "a set of sites does not need as much as the proof says",
    "proof_sum": "the sets together do not add up to the lower bound",
    # what a certificate says
    "certificate_form": "a certificate is not written in the format",
    "certificate_scope": "a certificate is about other plans than those of this fleet",
    "certificate_program": "the program of a certificate is not that of the fleet",
    "certificate_solution": "the plan in a certificate breaks a row of its program, or misses its bound",
    "certificate_line": "a line of a certificate does not follow from those before it",
    "certificate_plan": "a certificate is about another plan",
    # what it says about the rollout
    "step_form": "a step or wave does not say what it should",
    "step_length": "a step takes longer or shorter than the policy says",
    "step_order": "a step comes before what it needs",
    "host_running": "a step uses a host that does not run, or retires one that does not stand empty",
    "window": "a step lies outside the window of its site or hub",
    "freeze": "a step lies in a freeze",
    "wave_limit": "a wave holds more than the policy allows",
    "spacing": "two changes are too near to each other",
    "incomplete": "the rollout does not end with the plan",
    "carried_out": "sites are on their planned hosts already",
    "other_input": "the plan was made from other input than this fleet",
}


@dataclass(frozen=True, slots=True)
class Violation:
    """One disagreement between a plan and its fleet.

    ``code`` is one of `CODES`; ``where`` names the site, host or pool, or ``plan``; ``message`` has the figures. A
    ``note`` is worth knowing but does not fail the plan.
    """

    code: str
    where: str
    message: str
    severity: Literal["violation", "note"] = "violation"

    def __str__(self) -> str:
        return f"{self.where}: {self.message}"


# Sums of money and times in floating point.
RELATIVE_TOLERANCE = 1e-6


def number(value: object) -> float:
    """Return ``value`` as a float; NaN for anything that is no number."""
    try:
        return float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return math.nan


def whole(value: object) -> int | None:
    """Return ``value`` as an int; None for anything that is no whole number."""
    figure = number(value)
    return int(figure) if math.isfinite(figure) and figure == int(figure) else None


def differs(claimed: object, actual: float, slack: float = 0.0) -> bool:
    """Say whether ``claimed`` is further from ``actual`` than ``slack`` and rounding; what is no number always is."""
    figure = number(claimed)
    return not (figure == actual or abs(figure - actual) <= max(slack, RELATIVE_TOLERANCE * abs(actual)))
