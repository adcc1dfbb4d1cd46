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
    "evidence": "the round-trip time is of a weaker kind of evidence than the policy accepts",
    "old_latency": "the measurement is older than the policy accepts, or its date unknown",
    "release_floor": "the site's release is older than the release floor, or unknown",
    "host_release": "the host's release does not suit the site's",
    "third_location": "the host is too near to the site: same place, same failure zone, or less than "
    "third_location_km away",
    "region": "the pool does not serve the site's region",
    "pinned_hub": "the site is pinned to another hub",
    "barred_hub": "the site is barred from the hub",
    "nodes": "a cluster of the site does not have two data nodes",
    "uplink": "the tie-breaker traffic of a hub exceeds its uplink",
    "capacity": "a host carries more clusters than it may",
    "blast_radius": "the loss of a host, hub or zone hits more clusters, or more of the weight, than the policy allows",
    "own_rule": "a rule of your own is broken",
    "own_aim": "an aim of your own is not checked",
    # what the plan says about the sites
    "unknown_site": "the fleet has no such site",
    "missing_site": "a site that needs a host is nowhere in the plan",
    "listed_twice": "a site is in the plan more than once",
    "clusters": "the plan does not place as many clusters of a site as it has",
    "host_not_needed": "a site that needs no host is in the plan's list of assigned or unserved sites",
    "host_needed": "the plan says that a site needs no host, but it needs one",
    "unserved": "a site is unserved, and no reason that the plan gives is true",
    "kept_served": "a site that is served today is unserved, while a site without a host today gets its place",
    # what it says about the hosts
    "unknown_host": "the plan has no such host",
    "unknown_pool": "the fleet has no such pool",
    "host_name": "a host has no name, or one that another host has",
    "hub": "a host or an assignment names a hub that is not the pool's",
    "load": "the plan states another number of clusters for a host than it assigns to it",
    "max_hosts": "a pool runs more hosts than fit",
    "rack_units": "the hosts at a hub take more rack units than the hub has",
    "retiring_host": "a host that is to be emptied carries clusters",
    "existing_hosts": "the plan counts more hosts of a pool as existing than the fleet has",
    # what it claims
    "claim": "a figure in the plan differs from the fleet",
    "current": "what the plan calls a move does not agree with the sheet Current",
    "standby": "a standby is missing, or cannot take over",
    "cover": "when a loss happens that the plan should survive, a host gets too many clusters",
    "objective": "the plan states another number of hosts, or cost, than its hosts add up to",
    "bound": "the plan claims that any plan needs more than it needs itself",
    "aim": "the plan states a wrong figure for one of its aims, such as the weight served or the moves",
    "status": "the plan says optimal, but its own figures do not show it",
    "proof_form": "a part of the proof is missing or of the wrong kind",
    "proof_set": "a group of sites in the proof does not need as many hosts as the proof says",
    "proof_sum": "the groups of sites together do not prove the lower bound that the plan claims",
    # what a certificate says
    "certificate_form": "the certificate is not written in the format VIPR 1.0",
    "certificate_scope": "the certificate is about another fleet or policy than this one",
    "certificate_program": "the mathematical model in the certificate is not the model of this fleet",
    "certificate_solution": "the plan in the certificate breaks a rule of its model, or does not reach "
    "the figure that it claims",
    "certificate_line": "a step of the proof in the certificate does not follow from the steps before it",
    "certificate_plan": "the certificate belongs to another plan",
    # what it says about the rollout
    "step_form": "a step or wave is incomplete or contradicts itself",
    "step_length": "a step is not as long as site_minutes or host_minutes says",
    "step_order": "a step begins before another step that it needs has ended",
    "host_running": "a step uses a host that does not run, or switches off a host that still carries sites",
    "window": "a step is outside the maintenance window of its site or hub",
    "freeze": "a step is on a day when the rollout must change nothing (a freeze)",
    "wave_limit": "a wave changes more than the policy allows",
    "spacing": "too few nights lie between two changes",
    "incomplete": "after the rollout, the sites and hosts are not as the plan says",
    "carried_out": "some sites are already on the host that the plan gives them",
    "measured_anew": "the fleet has a newer measurement of a round-trip time than the plan",
    "other_input": "the plan was made from other input files than this fleet",
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


def ms(claimed: object, actual: float) -> tuple[str, str]:
    """Return two times in ms for people: to a tenth, or with all digits where they would read the same then.

    >>> ms(544.6999999999999, 543.6), ms(62.34, 62.3)
    (('544.7', '543.6'), ('62.34', '62.3'))
    """
    figures = number(claimed), actual
    short = [f"{figure:.1f}".removesuffix(".0") for figure in figures]
    said, counted = short if short[0] != short[1] else [f"{figure:.10g}" for figure in figures]
    return said, counted


def differs(claimed: object, actual: float, slack: float = 0.0) -> bool:
    """Say whether ``claimed`` is further from ``actual`` than ``slack`` and rounding; what is no number always is."""
    figure = number(claimed)
    return not (figure == actual or abs(figure - actual) <= max(slack, RELATIVE_TOLERANCE * abs(actual)))
