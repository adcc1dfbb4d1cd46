"""One function a rule: a mask over pairs, True where the pair breaks the rule.

Limits are inclusive: an RTT equal to the budget, a release equal to the floor and a distance equal to
the least distance are all allowed. A release that is not known passes ``host_release`` (intake warns)
but not ``release_floor``, which the planner asked for.
"""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools
from planner.latency import EVIDENCE
from planner.rules.facts import Facts
from planner.rules.pairs import Pairs


def nodes(facts: Facts, pairs: Pairs) -> Bools:
    """A shared tie-breaker is for clusters of two data nodes."""
    return facts.wrong_nodes[pairs.site]


def release_floor(facts: Facts, pairs: Pairs) -> Bools:
    """The site's clusters run the floor release or a newer one."""
    return facts.below_floor[pairs.site]


def pinned_hub(facts: Facts, pairs: Pairs) -> Bools:
    """A pinned site uses its hub only."""
    pinned = facts.pinned[pairs.site]
    elsewhere: Bools = (pinned >= 0) & (pinned != facts.hub(pairs))
    return elsewhere


def barred_hub(facts: Facts, pairs: Pairs) -> Bools:
    """A barred hub is not used."""
    return np.isin(facts.site_hub_keys(pairs.site, facts.hub(pairs)), facts.barred)


def region(facts: Facts, pairs: Pairs) -> Bools:
    """A pool that names regions serves sites of these regions only."""
    codes, serves = facts.regions
    return ~serves[codes[pairs.site], pairs.pool]


def host_release(facts: Facts, pairs: Pairs) -> Bools:
    """The host's release suits the site's (policy ``host_release_rule``)."""
    site, pool = facts.ranks[0][pairs.site], facts.ranks[1][pairs.pool]
    known = (site >= 0) & (pool >= 0)
    if facts.policy.host_release_rule == "not_older":
        unsuited: Bools = known & (pool < site)
    elif facts.policy.host_release_rule == "same_major":
        unsuited = known & (pool != site)
    else:
        unsuited = np.zeros(len(pairs), dtype=np.bool_)
    return unsuited


def unknown_latency(facts: Facts, pairs: Pairs) -> Bools:
    """The round-trip time is known from some source."""
    return np.isnan(pairs.rtt_ms)


def loss(facts: Facts, pairs: Pairs) -> Bools:
    """Not more probes are lost than the policy allows; unknown loss passes."""
    return pairs.loss_percent > facts.policy.max_loss_percent


def evidence(facts: Facts, pairs: Pairs) -> Bools:
    """The round-trip time rests on evidence that the policy accepts."""
    weaker: Bools = pairs.evidence > EVIDENCE.index(facts.policy.accepted_evidence)
    return weaker & ~np.isnan(pairs.rtt_ms)


def old_latency(facts: Facts, pairs: Pairs) -> Bools:
    """A measurement is not older than the policy's ``max_age_days``, if the policy makes that a condition.

    Ages are whole days up to the policy's day. An unknown date breaks the rule: it cannot be shown to be young enough.
    """
    policy = facts.policy
    if policy.max_age_days is None or policy.old_latency != "ineligible":
        return np.zeros(len(pairs), dtype=np.bool_)
    age = np.datetime64(facts.fleet.as_of, "D") - pairs.measured_at.astype("datetime64[D]")
    young = age <= np.timedelta64(policy.max_age_days, "D")  # False for NaT
    old: Bools = ~young & (pairs.evidence == EVIDENCE.index("measured")) & ~np.isnan(pairs.rtt_ms)
    return old


def latency(facts: Facts, pairs: Pairs) -> Bools:
    """The round-trip time is within the site's budget."""
    return pairs.rtt_ms > facts.fleet.budgets_ms[pairs.site]


def loss_latency(facts: Facts, pairs: Pairs) -> Bools:
    """The round-trip time to a standby is within what the site tolerates while a loss lasts."""
    return pairs.rtt_ms > facts.fleet.loss_budgets_ms[pairs.site]


def capacity(facts: Facts, pairs: Pairs) -> Bools:
    """A host may stand there, and one host can hold all clusters of the site."""
    too_big = facts.fleet.clusters[pairs.site] > facts.fleet.usable_caps[pairs.pool]
    if facts.policy.split_sites:
        too_big = facts.fleet.usable_caps[pairs.pool] < 1
    return too_big | (facts.fleet.max_hosts[pairs.pool] < 1)


def uplink(facts: Facts, pairs: Pairs) -> Bools:
    """The hub's uplink carries the site's traffic, or that of one cluster where the others may go elsewhere."""
    too_busy: Bools = facts.part_kbps[pairs.site] > facts.fleet.hub_uplinks_kbps[facts.hub(pairs)]
    return too_busy


def blast_radius(facts: Facts, pairs: Pairs) -> Bools:
    """The site alone, or one cluster of a split site, is not more than the loss of a host, hub or zone may hit."""
    broken = np.zeros(len(pairs), dtype=np.bool_)
    for over in facts.over_alone.values():
        broken |= over[pairs.site]
    return broken


def third_location(facts: Facts, pairs: Pairs) -> Bools:
    """The vote shares neither place, failure zone nor, within the policy's distance, surroundings with the site."""
    broken: Bools = facts.same_place[pairs.site] == facts.hub(pairs)
    broken = broken | np.isin(facts.site_hub_keys(pairs.site, facts.hub(pairs)), facts.shared_zones)
    if facts.policy.third_location_km > 0:
        # Written so that an unknown distance counts as broken: it cannot be shown to be enough.
        broken = broken | ~(facts.distance_km(pairs) >= facts.policy.third_location_km)
    return broken
