"""Every rule between a site and a pool, read from the glossary and the format of the fleet, one pair at a time.

Limits are inclusive: an RTT equal to the budget, a release equal to the floor, a loss equal to the limit and a
distance equal to the least distance keep the rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from fractions import Fraction

from planner.latency import distance_km
from planner.releases import Release, parse_release
from planner.verify.inventory import Inventory, Pool, Site

Rule = Callable[[Inventory, Site, Pool], str]


def broken_rules(inventory: Inventory, site: Site, pool: Pool, *, standby: bool = False) -> list[tuple[str, str]]:
    """Return code and figures of every rule that keeps ``site`` from a host of ``pool``.

    As a ``standby`` the host serves the site while a loss lasts, and limits of the ordinary day do not count.
    """
    asked = _STANDBY_RULES if standby else _RULES
    found = ((code, rule(inventory, site, pool)) for code, rule in asked.items())
    own = [("own_rule", message) for _, message in inventory.own.broken(site.site, pool.pool)]
    return [*((code, message) for code, message in found if message), *own]


def eligible(inventory: Inventory, site: Site, pool: Pool, *, standby: bool = False) -> bool:
    """Say whether an empty host of ``pool`` may serve ``site``, or stand by for it."""
    least_room = 1 if inventory.policy.split_sites else site.clusters
    if pool.max_hosts < 1 or pool.usable < least_room:
        return False
    asked = _STANDBY_RULES if standby else _RULES
    if any(rule(inventory, site, pool) for rule in asked.values()):
        return False
    return not inventory.own.broken(site.site, pool.pool)


# Each rule returns the broken limit in figures, or "" where it is kept.


def _latency(inventory: Inventory, site: Site, pool: Pool) -> str:
    pair = inventory.pairs.get(site.site, pool.hub)
    if pair is None or pair.rtt_ms <= site.budget_ms:
        return ""
    if math.isnan(site.budget_ms):
        return "no latency budget is known: it is neither in Sites nor in Policy"
    if math.isinf(pair.rtt_ms):
        return f"no probe to hub {pool.hub} was answered in time, so its RTT counts as above every budget"
    return f"its RTT to hub {pool.hub} is {pair.rtt_ms:.10g} ms; its budget is {site.budget_ms:.10g} ms"


def _loss_latency(inventory: Inventory, site: Site, pool: Pool) -> str:
    """Only what is beyond the budget of every day, and beyond that of a loss where one is given, is too far."""
    pair = inventory.pairs.get(site.site, pool.hub)
    message = _latency(inventory, site, pool)
    if not message or pair is None or not math.isfinite(site.loss_budget_ms):
        return message
    if pair.rtt_ms <= site.loss_budget_ms:
        return ""
    return f"{message}, and {site.loss_budget_ms:.10g} ms while a loss lasts"


def _unknown_latency(inventory: Inventory, site: Site, pool: Pool) -> str:
    return "" if inventory.pairs.get(site.site, pool.hub) else f"its RTT to hub {pool.hub} is not known"


def _loss(inventory: Inventory, site: Site, pool: Pool) -> str:
    pair, most = inventory.pairs.get(site.site, pool.hub), inventory.policy.max_loss_percent
    if pair is None or not pair.loss_percent > most:
        return ""
    return f"{pair.loss_percent:.10g} % of the probes to hub {pool.hub} are lost; {most:.10g} % are allowed"


def _evidence(inventory: Inventory, site: Site, pool: Pool) -> str:
    pair, wanted = inventory.pairs.get(site.site, pool.hub), inventory.policy.accepted_evidence
    accepted = {"measured": ("measured",), "modelled": ("measured", "modelled")}.get(wanted)
    if pair is None or accepted is None or pair.evidence in accepted:
        return ""
    return f"its RTT to hub {pool.hub} is {pair.evidence}; the policy accepts only {' or '.join(accepted)}"


def _old_latency(inventory: Inventory, site: Site, pool: Pool) -> str:
    pair, policy = inventory.pairs.get(site.site, pool.hub), inventory.policy
    if policy.old_latency != "ineligible" or policy.max_age_days is None:
        return ""
    if pair is None or pair.evidence != "measured":
        return ""
    if pair.measured_at is None:
        return f"its RTT to hub {pool.hub} has no date of measurement"
    days = (inventory.as_of - pair.measured_at.date()).days
    if days <= policy.max_age_days:
        return ""
    return f"its RTT to hub {pool.hub} is {days} days old on {inventory.as_of}; max_age_days is {policy.max_age_days}"


def _release_floor(inventory: Inventory, site: Site, pool: Pool) -> str:
    floor = inventory.policy.release_floor.strip()
    if not floor:
        return ""
    if not site.release:
        return f"its release is not known; the release floor is {floor}"
    own, least = _release(site.release), _release(floor)
    if own is None or least is None:
        return f"its release {site.release} cannot be compared with the release floor {floor}"
    return f"its release {site.release} is older than the release floor {floor}" if own < least else ""


def _host_release(inventory: Inventory, site: Site, pool: Pool) -> str:
    rule = inventory.policy.host_release_rule
    if suits(inventory, site.release, pool.release):
        return ""
    if None in (_release(site.release), _release(pool.release)):
        return f"the host's release {pool.release} and its own, {site.release}, cannot be compared"
    if rule == "same_major":
        return f"the host's release {pool.release} and its own, {site.release}, begin with different numbers"
    return f"the host's release {pool.release} is older than its own, {site.release}"


def suits(inventory: Inventory, site: str, host: str) -> bool:
    """Say whether a host of one release may serve a site of another; an unknown one passes, one without order not."""
    rule = inventory.policy.host_release_rule
    if rule == "any" or not site or not host:
        return True
    own, other = _release(site), _release(host)
    if own is None or other is None:
        return False
    return own.major == other.major if rule == "same_major" else other >= own


def _third_location(inventory: Inventory, site: Site, pool: Pool) -> str:
    if site.site == pool.hub:
        return f"hub {pool.hub} is the site itself, not a third location"
    if shared := site.zones & pool.zones:
        return f"it is in the same failure zone as pool {pool.pool}: {', '.join(sorted(shared))}"
    least_km = inventory.policy.third_location_km
    if not least_km > 0:
        return ""
    km = float(distance_km(site.latitude, site.longitude, pool.latitude, pool.longitude))
    if math.isnan(km):
        return f"its distance to pool {pool.pool} is not known; at least {least_km:g} km are needed"
    return f"pool {pool.pool} is {km:.3f} km away; at least {least_km:g} km are needed" if km < least_km else ""


def _region(inventory: Inventory, site: Site, pool: Pool) -> str:
    if not pool.serves_regions or site.region in pool.serves_regions:
        return ""
    return (
        f"pool {pool.pool} serves only {', '.join(sorted(pool.serves_regions))}; its region is "
        f"{site.region or '(blank)'}"
    )


def _pinned_hub(inventory: Inventory, site: Site, pool: Pool) -> str:
    if site.pinned_hub in ("", pool.hub):
        return ""
    return f"it must go to hub {site.pinned_hub} (pinned_hub), but is at {pool.hub}"


def _barred_hub(inventory: Inventory, site: Site, pool: Pool) -> str:
    return f"it must not go to hub {pool.hub} (barred_hubs)" if pool.hub in site.barred_hubs else ""


def _uplink(inventory: Inventory, site: Site, pool: Pool) -> str:
    kbps, uplink_kbps = site.cluster_kbps * _together(inventory, site), inventory.uplink_kbps(pool.hub)
    if not kbps > uplink_kbps:
        return ""
    return f"its traffic alone is {kbps:.10g} kb/s; the uplink of hub {pool.hub} carries {uplink_kbps:.10g} kb/s"


def _blast_radius(inventory: Inventory, site: Site, pool: Pool) -> str:
    policy, together = inventory.policy, _together(inventory, site)
    for setting in ("max_blast_radius_hub", "max_blast_radius_zone"):
        most = getattr(policy, setting)
        if most is not None and together > most:
            return f"its clusters alone are {together}; {setting} allows {most}"
    weight = site.weight * together / max(1, site.clusters)
    for setting in ("max_share_percent", "max_share_percent_hub", "max_share_percent_zone"):
        percent = getattr(policy, setting)
        if percent is not None and weight * 100 > Fraction(str(percent)) * inventory.whole_weight:
            weights = f"{float(weight):g} of {float(inventory.whole_weight):g}"
            return f"its weight alone is {weights}; {setting} allows {percent:g} %"
    return ""


def _together(inventory: Inventory, site: Site) -> int:
    """Return the clusters that must be in one place: all, or one of a site that may be split."""
    return min(1, site.clusters) if inventory.policy.split_sites else site.clusters


def _nodes(inventory: Inventory, site: Site, pool: Pool) -> str:
    return (
        ""
        if site.nodes == 2
        else f"its clusters have {site.nodes:g} data nodes; a shared tie-breaker serves clusters of two"
    )


_RULES: Mapping[str, Rule] = {  # the ones that break most often first
    "unknown_latency": _unknown_latency,
    "latency": _latency,
    "nodes": _nodes,
    "release_floor": _release_floor,
    "pinned_hub": _pinned_hub,
    "barred_hub": _barred_hub,
    "region": _region,
    "host_release": _host_release,
    "loss": _loss,
    "evidence": _evidence,
    "old_latency": _old_latency,
    "third_location": _third_location,
    "uplink": _uplink,
    "blast_radius": _blast_radius,
}
# Limits of the ordinary day say nothing of the time of a loss, which has a latency budget of its own.
_STANDBY_RULES: Mapping[str, Rule] = {
    code: rule for code, rule in _RULES.items() if code not in ("uplink", "blast_radius")
} | {"latency": _loss_latency}
RULE_CODES = frozenset(_RULES)


def _release(text: str) -> Release | None:
    try:
        return parse_release(text)
    except ValueError:
        return None
