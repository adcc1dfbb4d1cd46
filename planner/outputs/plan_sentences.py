"""A plan in sentences: what it survives, whom it leaves out, what cover takes, and who is ready."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from planner.counted_words import counted, first_few
from planner.fleet import Fleet
from planner.outputs import headings
from planner.plan import CoverPrice, Plan, left_in_place, overfull_with_left, running_on

if TYPE_CHECKING:
    from planner.readiness import Readiness

OBJECTIVES = {
    "hosts": "as few hosts as possible",
    "new_hosts": "as few new hosts as possible",
    "cost": "as low a cost as possible",
}


# The outcomes and severities of the readiness audit, as people read them.
READINESS = {
    "ready": "ready",
    "ready_after": "not confirmed",
    "not_a_fit": "cannot use one",
    "no_host_needed": "no host needed",
}
MANAGEMENT_BY = {"nearest_hub": "by the nearest hub that the site may use", "plan": "by the hub of the plan"}
ITEM_SEVERITY = {"blocks": "cannot use one", "open": "open", "unknown": "not known"}

CAUTIONS = (
    "Verify the latency on site before a cluster is cut over.",
    "Read the supplier's release notes before the release of a host changes.",
    "Keep a rollback ready: the old tie-breaker stays until the new one has proved itself.",
    "Rules of licences and local rules come before this plan.",
)


def served_today(plan: Plan) -> list[str]:
    """Return the sites that are served today and left out by the plan."""
    return [one.site for one in plan.unserved if one.current]


def with_host_today(plan: Plan) -> str:
    """Return how many of the sites left out are served today, in brackets; "" for none."""
    today = len(served_today(plan))
    if not today:
        return ""
    who = f"{today:,} of them" if today < len(plan.unserved) else "all" if today > 1 else "it"
    return f" ({who} {'has' if today == 1 else 'have'} a host today)"


def asks_for_cover(plan: Plan) -> bool:
    """Say whether the policy asks for cover, or the plan has a standby all the same."""
    return plan.policy.get("cover", "none") != "none" or any(row.standby for row in plan.assignments)


ANY_ONE = {"host": "any one host", "hub": "any one hub", "zone": "any one hub or failure zone of hubs"}


def survives(plan: Plan, listed: str = f"sheet {headings.STANDBYS}") -> str:
    """Return in one sentence what the plan survives and what it does not; ``listed`` is where the latter is."""
    cover = plan.policy.get("cover", "none")
    if not plan.host_list:
        return "The plan has no host that could be lost."
    if cover == "none":
        fullest = max(plan.host_list, key=lambda host: host.clusters)
        which = f"any one of the {plan.hosts:,} hosts" if plan.hosts > 1 else f"the only host, {fullest.host},"
        worst = (
            f" The largest loss is {fullest.host}: {counted(fullest.clusters, 'cluster')}." if plan.hosts > 1 else ""
        )
        return f"Losing {which} leaves clusters without a third vote, since no standby is planned.{worst}"
    bare = len(plan.uncovered)
    after = f"After the loss of {ANY_ONE[cover]}"
    if not bare:
        every = "every site" if plan.complete else "every site that is served"
        return f"{after}, {every} has a standby with room for it. Two such losses at once are not covered."
    return (
        f"{after}, {counted(len(sites_served(plan)) - bare, 'site')} have a standby with room. "
        f"{counted(bare, 'site')} {'has' if bare == 1 else 'have'} none: see {listed}."
    )


def spared_in_words(fleet: Fleet, plan: Plan) -> str:
    """Return which sites beside those served and unserved need no shared host, and why; "" where there are none."""
    if not plan.no_host_needed:
        return ""
    idle = sum(entry.why == "no_clusters" for entry in plan.no_host_needed)
    given = dict(zip(fleet.site_ids, fleet.own_tie_breaker.tolist(), strict=True))
    own = [entry.site for entry in plan.no_host_needed if entry.why == "own_tie_breaker"]
    chosen = [site for site in own if given.get(site) == "possible"]
    had = len(own) - len(chosen)
    has = "has its own tie-breaker" if had == 1 else "have their own tie-breakers"
    parts = [f"{had:,} {has}"] if had else []
    if chosen:
        parts.append(f"{len(chosen):,} {'gets' if len(chosen) == 1 else 'get'} one in this plan ({first_few(chosen)})")
    if idle:
        parts.append(f"{idle:,} {'runs' if idle == 1 else 'run'} no cluster")
    verb = "needs" if len(plan.no_host_needed) == 1 else "need"
    return f"{counted(len(plan.no_host_needed), 'more site')} {verb} no shared host ({', '.join(parts)})."


def left_in_place_in_words(fleet: Fleet, plan: Plan) -> str:
    """Return what becomes of the sites that are served today and left out by the plan; "" where there are none.

    The plan does not count them, and its rollout takes no third vote away: they stay, and so do their hosts.
    """
    sites = left_in_place(fleet, plan)
    if not sites:
        return ""
    one = len(sites) == 1
    where = first_few(f"{site} on {host}" for site, host in sorted(sites.items()))
    words = f"{counted(len(sites), 'site')} that the plan leaves out {'is' if one else 'are'} served today"
    words += f" and {'stays where it is' if one else 'stay where they are'}: {where}."
    hosts = running_on(fleet, plan)
    if hosts:
        verb = "keeps" if len(hosts) == 1 else "keep"
        words += (
            f" So {first_few(hosts)} {verb} running beside the plan: {counted(plan.hosts + len(hosts), 'host')} in all."
        )
    if full := overfull_with_left(fleet, plan):
        verb, their = ("is", "its cap") if len(full) == 1 else ("are", "their caps")
        words += f" With these sites {first_few(full)} {verb} above {their}."
        words += " Some moves to such a host must wait, and the hosts that the moves would empty keep running."
    return words


def cover_prices_in_words(plan: Plan) -> str:
    """Return what every kind of cover takes, in a sentence each; "" where they were not compared."""
    parts = []
    for price in plan.cover_prices:
        value, least = amount(plan, price.objective_value), amount(plan, price.lower_bound)
        proven = "proven" if price.lower_bound >= price.objective_value else f"not proven, at least {least}"
        said = [f"{value} ({proven})"]
        if price.moves is not None:
            fewest = "proven" if price.moves_proven else "not proven the fewest"
            said.append(f"{counted(price.moves, 'move')} ({fewest})")
        bare = price.served - price.covered
        if bare and price.cover != "none":
            said.append(f"{counted(bare, 'site')} without standby")
        parts.append(f"Cover {price.cover}: {', '.join(said)}.")
    same = plan.cover_prices[0].alike if parts else 0
    if any(price.covered != same for price in plan.cover_prices if price.cover != "none") and same:
        figures = (f"{price.cover} {_of_these(plan, price)}" for price in plan.cover_prices)
        alone = f"To compare, only the {counted(same, 'site')} that every kind covers: {', '.join(figures)}."
        parts.append(f"The kinds of cover do not cover the same sites, so do not compare these figures. {alone}")
    return " ".join(parts)


def _of_these(plan: Plan, price: CoverPrice) -> str:
    proven = price.alike_bound >= price.alike_value
    return amount(plan, price.alike_value) + ("" if proven else f" (at least {amount(plan, price.alike_bound)})")


def readiness_headline(readiness: Readiness) -> str:
    """Return the audit in one sentence."""
    number = readiness.counts
    unknown = sum(site.only_unknown for site in readiness.sites)
    after, work = number["ready_after"], number["ready_after"] - unknown
    parts = [f"{unknown:,} {'lacks' if unknown == 1 else 'lack'} data"] * bool(unknown)
    parts += [f"{work:,} {'needs' if work == 1 else 'need'} work"] * bool(work)
    lacking = f": {', '.join(parts)}." if parts else "."
    if number["ready"]:
        ready = f"{counted(number['ready'], 'site')} {'is' if number['ready'] == 1 else 'are'} ready for a shared host."
        ready += f" {counted(after, 'site')} {'is' if after == 1 else 'are'} not confirmed{lacking}" if after else ""
    else:
        ready = f"No site is confirmed as ready for a shared host{lacking}"
    if number["not_a_fit"]:
        ready += f" {counted(number['not_a_fit'], 'site')} cannot use one."
    return ready


def missing_in_words(missing: Sequence[str]) -> str:
    """Return what nobody wrote down of any site, as one thing to do for the whole fleet."""
    columns = "column" if len(missing) == 1 else "columns"
    return f"No site has data for some checks. Add the {columns} to the sheet Sites: {', '.join(missing)}."


def complete_in_words(plan: Plan) -> str:
    """Return whether everybody is served, and how many of those left out are served today."""
    if plan.complete:
        return "Every site that needs a shared host has one."
    verb = "is" if len(plan.unserved) == 1 else "are"
    number = counted(len(plan.unserved), "site")
    return f"{number} {verb} not served{with_host_today(plan)}: see sheet {headings.UNSERVED}."


def amount(plan: Plan, value: float) -> str:
    """Return ``value`` with the unit of the plan's objective: hosts, new hosts or money a year."""
    if plan.objective == "cost":
        return f"{value:,.2f} {plan.policy.get('currency') or 'money'} a year"
    noun = "host" if plan.objective == "hosts" else "new host"
    return counted(round(value), noun) if float(value).is_integer() else f"{value:,.2f} {noun}s"


def sites_served(plan: Plan) -> set[str]:
    """Return the ids of sites with a tie-breaker for every cluster."""
    return {assignment.site for assignment in plan.assignments} - {unserved.site for unserved in plan.unserved}


def sites_wanting(plan: Plan) -> set[str]:
    """Return the ids of sites that need a shared host, served or not."""
    return sites_served(plan) | {unserved.site for unserved in plan.unserved}
