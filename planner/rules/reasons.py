"""One function a rule: the reason, with figures, for one site's pairs that break it."""

from __future__ import annotations

import numpy as np

from planner.counted_words import first_few
from planner.latency import EVIDENCE
from planner.rules.facts import Facts
from planner.rules.pairs import Pairs


def _site(facts: Facts, pairs: Pairs, column: str) -> str:
    return str(facts.fleet.sites[column].iloc[pairs.site[0]])


def _hubs(facts: Facts, pairs: Pairs) -> str:
    return first_few(dict.fromkeys(facts.fleet.hub_ids[hub] for hub in facts.hub(pairs)))


def nodes(facts: Facts, pairs: Pairs) -> str:
    nodes = facts.fleet.sites["nodes"].iloc[pairs.site[0]]
    return f"the site has {nodes:g} data nodes; a shared tie-breaker serves clusters of two"


def release_floor(facts: Facts, pairs: Pairs) -> str:
    floor = facts.policy.release_floor
    release = _site(facts, pairs, "release")
    return (
        f"release {release} is older than the release floor {floor}"
        if release
        else f"the release is not known; the release floor is {floor}"
    )


def pinned_hub(facts: Facts, pairs: Pairs) -> str:
    return f"pinned_hub is {_site(facts, pairs, 'pinned_hub')}, so the site must not go to {_hubs(facts, pairs)}"


def barred_hub(facts: Facts, pairs: Pairs) -> str:
    return f"barred_hubs says that the site must not go to {_hubs(facts, pairs)}"


def region(facts: Facts, pairs: Pairs) -> str:
    region = _site(facts, pairs, "region") or "(blank)"
    return (
        f"region {region} is not among those that the pool serves: "
        f"{first_few(facts.fleet.pool_ids[p] for p in pairs.pool)}"
    )


def host_release(facts: Facts, pairs: Pairs) -> str:
    hosts = first_few(f"{facts.fleet.pool_ids[p]} ({facts.fleet.host_releases[p]})" for p in pairs.pool)
    need = "the same first number as" if facts.policy.host_release_rule == "same_major" else "at least"
    return f"host release must be {need} the site's {_site(facts, pairs, 'release')}: {hosts}"


def unknown_latency(facts: Facts, pairs: Pairs) -> str:
    return f"no round-trip time known to hub {_hubs(facts, pairs)}"


def loss(facts: Facts, pairs: Pairs) -> str:
    best = int(np.argmin(pairs.loss_percent))
    return (
        f"the best path loses {pairs.loss_percent[best]:.3g} % of the probes "
        f"(hub {facts.fleet.hub_ids[facts.hub(pairs)[best]]}); {facts.policy.max_loss_percent:g} % are allowed"
    )


def evidence(facts: Facts, pairs: Pairs) -> str:
    kinds = dict.fromkeys(
        f"{EVIDENCE[e]} (hub {facts.fleet.hub_ids[h]})" for e, h in zip(pairs.evidence, facts.hub(pairs), strict=True)
    )
    return f"the RTT is only {first_few(kinds)}; the policy asks for {facts.policy.accepted_evidence} or better"


def old_latency(facts: Facts, pairs: Pairs) -> str:
    asked = f"the policy wants it at most {facts.policy.max_age_days} days old on {facts.fleet.as_of}"
    newest = int(np.argmax(np.nan_to_num(pairs.measured_at.astype("datetime64[D]").astype(float), nan=-np.inf)))
    hub = facts.fleet.hub_ids[facts.hub(pairs)[newest]]
    if np.isnat(pairs.measured_at[newest]):
        return f"the RTT has no date of measurement (hub {_hubs(facts, pairs)}); {asked}"
    return f"the newest RTT is of {pairs.measured_at[newest].astype('datetime64[D]')} (hub {hub}); {asked}"


def latency(facts: Facts, pairs: Pairs) -> str:
    return _beyond(facts, pairs, facts.fleet.budgets_ms[pairs.site[0]], "the budget of")


def loss_latency(facts: Facts, pairs: Pairs) -> str:
    budget, daily = facts.fleet.loss_budgets_ms[pairs.site[0]], facts.fleet.budgets_ms[pairs.site[0]]
    return _beyond(facts, pairs, budget, "the budget during a loss of" if budget > daily else "the budget of")


def _beyond(facts: Facts, pairs: Pairs, budget: float, named: str) -> str:
    best = int(np.argmin(pairs.rtt_ms))
    hub = facts.fleet.hub_ids[facts.hub(pairs)[best]]
    if np.isinf(pairs.rtt_ms[best]):
        lost = (
            f"so many probes are lost that percentile {facts.policy.percentile:g} of the RTT has no value (hub {hub})"
        )
        bounded = f"the RTT to hub {hub} is above {named} {budget:g} ms; its exact value is not known"
        return lost if len(facts.fleet.samples) and not _states(facts, pairs, best) else bounded
    return f"best RTT {_figures(pairs.rtt_ms[best], budget)} ms (hub {hub}) exceeds {named} {budget:g} ms"


def _states(facts: Facts, pairs: Pairs, at: int) -> bool:
    """Return whether the sheet Latency says something of a pair, which then counts before its samples."""
    latency = facts.fleet.latency
    site, hub = facts.fleet.site_ids[pairs.site[at]], facts.fleet.hub_ids[facts.hub(pairs)[at]]
    return bool(((latency["site"] == site) & (latency["hub"] == hub) & latency["rtt_ms"].notna()).any())


def capacity(facts: Facts, pairs: Pairs) -> str:
    caps = facts.fleet.usable_caps[pairs.pool]
    clusters = facts.fleet.clusters[pairs.site[0]]
    if facts.policy.split_sites or caps.max() >= clusters:
        return f"no host may run in {first_few(facts.fleet.pool_ids[p] for p in pairs.pool)}"
    return f"its {clusters} clusters must be on one host, and the largest host has room for {caps.max()}"


def uplink(facts: Facts, pairs: Pairs) -> str:
    of_one = " for one cluster" if facts.fleet.parts[pairs.site[0]] > 1 else ""
    kbps, widest = facts.part_kbps[pairs.site[0]], facts.fleet.hub_uplinks_kbps[facts.hub(pairs)].max()
    return f"its tie-breaker traffic is {kbps:g} kb/s{of_one}; the largest uplink carries {widest:g} kb/s"


def blast_radius(facts: Facts, pairs: Pairs) -> str:
    site, fleet = pairs.site[0], facts.fleet
    split = fleet.parts[site] > 1
    weight, whole = fleet.whole_weights[site] / fleet.parts[site], fleet.whole_weights[fleet.needs_host].sum()
    parts = []
    for setting, over in facts.over_alone.items():
        most = getattr(facts.policy, setting)
        if over[site] and setting.startswith("max_share"):
            share = f"{_figures(100.0 * weight / whole, most)} % of the fleet's weight"
            said = f"one cluster has {share}, above" if split else f"the site has {share}, above"
            parts.append(f"{said} {setting}, {most:g} %")
        elif over[site]:
            parts.append(f"the site has {fleet.clusters[site]} clusters, above {setting}, {most}")
    return first_few(parts)


def third_location(facts: Facts, pairs: Pairs) -> str:
    row = facts.fleet.sites.iloc[pairs.site[0]]
    hubs_in = facts.fleet.hubs_in_zones
    parts = []
    for position, at in enumerate(facts.hub(pairs)):
        hub = facts.fleet.hub_ids[at]
        shared = [zone for zone in row["zone"] if zone in hubs_in and at in hubs_in[zone]]
        if hub == row["site"]:
            parts.append(f"hub {hub} is the site itself")
        elif shared:
            parts.append(f"hub {hub} is in the same failure zone: {', '.join(shared)}")
        else:
            km = facts.distance_km(pairs)[position]
            far = "an unknown distance" if np.isnan(km) else f"{km:.1f} km"
            parts.append(f"hub {hub} is {far} away; at least {facts.policy.third_location_km:g} km are needed")
    return first_few(dict.fromkeys(parts))


def _figures(value: float, limit: float) -> str:
    """Write ``value`` with as many decimals as it takes to see that it is not ``limit``."""
    for decimals in (1, 2, 3, 6):
        text = f"{value:.{decimals}f}"
        if float(text) != limit:
            return text
    return repr(value)
