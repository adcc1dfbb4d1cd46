"""A plan in sentences: the headline, and what its status, objective, bound and gap mean in plain words."""

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
    "cost": "as little cost as possible",
}


# The outcomes and severities of the readiness audit, as people read them.
READINESS = {
    "ready": "ready",
    "ready_after": "ready after",
    "not_a_fit": "not a fit",
    "no_host_needed": "no host needed",
}
MANAGEMENT_BY = {"nearest_hub": "by the eligible hub of least RTT", "plan": "by the hub of the plan"}
ITEM_SEVERITY = {"blocks": "not a fit", "open": "open", "unknown": "not known"}

CAUTIONS = (
    "Verify the latency on site before a cluster is cut over.",
    "Read the supplier's release notes before the release of a host changes.",
    "Keep a rollback ready: the old tie-breaker stays until the new one has proved itself.",
    "Licensed and local rules prevail over this plan.",
)


# What each aim makes large or small.
MEASURES = {
    "kept_served": "weight served of sites that are served today",
    "served": "weight served",
    "covered": "weight with a standby",
    "hosts": "number of hosts",
    "new_hosts": "number of new hosts",
    "cost": "cost",
    "moves": "number of moves",
    "latency": "total RTT",
    "margin": "worst latency margin",
    "spread": "clusters on the fullest host",
}


def headline(plan: Plan) -> str:
    """Return the plan in one sentence: hosts, hubs, and of each aim in order how far it is met, and if that is proven.

    For example ``"14 tie-breaker hosts at 6 hubs serve 176 of 180 sites; 4 are unserved, 1 of which has a host today,
    and no plan serves more weight; no plan that serves the same sites has fewer."`` Nothing is called the best there is
    after the first aim that is not proven.
    """
    served, wanting = len(sites_served(plan)), len(sites_wanting(plan))
    if wanting == 0:
        return "No site needs a shared tie-breaker host."
    if served == 0:
        known = "can be" if not plan.before or plan.proves("served") else "is"
        return f"None of {counted(wanting, 'site')} {known} served; no tie-breaker host is planned."
    hubs = len({host.hub for host in plan.host_list})
    verb = "serves" if plan.hosts == 1 else "serve"
    new = sum(not host.existing for host in plan.host_list)
    extra = {"hosts": "", "new_hosts": f" ({new:,} new)", "cost": f" at a cost of {amount(plan, plan.objective_value)}"}
    parts = [
        f"{counted(plan.hosts, 'tie-breaker host')}{extra[plan.objective]} at {counted(hubs, 'hub')} {verb} "
        f"{served:,} of {counted(wanting, 'site')}",
        _left_out(plan),
        _bare(plan),
        _quality(plan),
    ]
    return f"{'; '.join(part for part in parts if part)}."


def _left_out(plan: Plan) -> str:
    """Return how many sites are unserved, how many of them are served today, and whether more could be served."""
    if plan.complete:
        return ""
    number = len(plan.unserved)
    verb = "is" if number == 1 else "are"
    return f"{number:,} {verb} unserved{_with_host_today(plan)}{_claim_of_served(plan)}"


def _claim_of_served(plan: Plan) -> str:
    """Return what is proven of who is served; where sites of today come first, of their weight before that of all."""
    if all(aim.aim != "kept_served" for aim in plan.before):
        return _claim(plan, "served", "serves more weight")
    first = _claim(plan, "kept_served", "serves more weight of sites with a host today")
    return first + _claim(plan, "served", "that is as good there serves more weight")


def _with_host_today(plan: Plan) -> str:
    today = len(served_today(plan))
    return f", {today:,} of which {'has' if today == 1 else 'have'} a host today" if today else ""


def _bare(plan: Plan) -> str:
    """Return how many of the sites served have no standby where cover is asked for, and whether more could have one."""
    cover = plan.policy.get("cover", "none")
    if cover == "none":
        return ""
    bare = len(plan.uncovered)
    if not bare:
        each = "each" if plan.complete else "each of those served"
        return f"{each} has a standby for the loss of {_ANY_ONE[cover]}"
    verb = "has" if bare == 1 else "have"
    return f"{bare:,} of those served {verb} no standby{_claim(plan, 'covered', 'covers more weight')}"


def _claim(plan: Plan, aim: str, better: str) -> str:
    """Return that no plan is ``better`` on ``aim``, or that this is not proven; "" for the aims after such a one."""
    if plan.proves(aim):
        return f", and no plan {better}"
    first = next((one.aim for one in plan.aims if not one.proven), "")
    return f"; whether a plan {better} is not proven" if first == aim else ""


def served_today(plan: Plan) -> list[str]:
    """Return the sites that are served today and left out by the plan."""
    return [one.site for one in plan.unserved if one.current]


def asks_for_cover(plan: Plan) -> bool:
    """Say whether the policy asks for cover, or the plan has a standby all the same."""
    return plan.policy.get("cover", "none") != "none" or any(row.standby for row in plan.assignments)


_ANY_ONE = {"host": "any one host", "hub": "any one hub", "zone": "any one hub or failure zone of hubs"}


def survives(plan: Plan, listed: str = f"sheet {headings.STANDBYS}") -> str:
    """Return in one sentence what the plan survives and what it does not; ``listed`` is where the latter is."""
    cover = plan.policy.get("cover", "none")
    if not plan.host_list:
        return "There is nothing to lose."
    if cover == "none":
        fullest = max(plan.host_list, key=lambda host: host.clusters)
        return (
            f"No loss is covered: without {fullest.host}, the fullest host, {counted(fullest.clusters, 'cluster')} "
            "run on two votes until somebody gives them another host."
        )
    bare = len(plan.uncovered)
    after = f"After the loss of {_ANY_ONE[cover]}"
    if not bare:
        every = "every site" if plan.complete else "every site that is served"
        return f"{after}, {every} has a standby with room for it; two such losses at once are not covered."
    verb = "has" if bare == 1 else "have"
    return (
        f"{after}, {counted(len(sites_served(plan)) - bare, 'site')} have a standby with room, and "
        f"{counted(bare, 'site')} {verb} none: see {listed}."
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
    has = "has a tie-breaker of its own" if had == 1 else "have tie-breakers of their own"
    parts = [f"{had:,} {has}"] if had else []
    if chosen:
        parts.append(f"{len(chosen):,} {'gets' if len(chosen) == 1 else 'get'} one in this plan ({first_few(chosen)})")
    if idle:
        parts.append(f"{idle:,} {'runs' if idle == 1 else 'run'} no cluster")
    verb = "needs" if len(plan.no_host_needed) == 1 else "need"
    return f"{counted(len(plan.no_host_needed), 'more site')} {verb} no shared host: {', '.join(parts)}."


def left_in_place_in_words(fleet: Fleet, plan: Plan) -> str:
    """Return what becomes of the sites that are served today and left out by the plan; "" where there are none.

    The plan does not count them, and its rollout takes no third vote away: they stay, and so do their hosts.
    """
    sites = left_in_place(fleet, plan)
    if not sites:
        return ""
    them = "It stays" if len(sites) == 1 else "They stay"
    verb = "is" if len(sites) == 1 else "are"
    where = first_few(f"{site} on {host}" for site, host in sorted(sites.items()))
    words = f"The plan leaves out {counted(len(sites), 'site')} that {verb} served today. {them} there: {where}."
    hosts = running_on(fleet, plan)
    if hosts:
        verb = "runs" if len(hosts) == 1 else "run"
        words += f" So {first_few(hosts)} {verb} on beside the plan: {counted(plan.hosts + len(hosts), 'host')} in all."
    if full := overfull_with_left(fleet, plan):
        verb, their = ("is", "its cap") if len(full) == 1 else ("are", "their caps")
        words += f" With them {first_few(full)} {verb} above {their}."
        words += " Some moves to there must wait, and the hosts that these would leave run on."
    return words


def _aim_in_words(aim: str, value: float) -> str:
    if aim == "moves":
        return counted(round(value), "move")
    if aim == "spread":
        return f"{counted(round(value), 'cluster')} on the fullest host"
    return f"{'a worst margin' if aim == 'margin' else 'a total RTT'} of {value:,.1f} ms"


def later_aims_in_words(plan: Plan) -> str:
    """Return what became of each aim among equals, and how far it can be from the best; "" where there is none."""
    parts = []
    for level, aim in zip(plan.then, plan.aims[len(plan.before) + 1 :], strict=True):
        how_far = "the best there is" if aim.proven else "the best of plans as good so far"
        if not level.proven:
            figure = f"{level.bound:,.1f} ms" if level.aim in ("latency", "margin") else f"{level.bound:,.0f}"
            how_far = f"at {'most' if level.aim == 'margin' else 'least'} {figure} in any"
        parts.append(f"{_aim_in_words(level.aim, level.value)} ({how_far})")
    return f"Among such plans, in this order: {'; '.join(parts)}." if parts else ""


def cover_prices_in_words(plan: Plan) -> str:
    """Return what every kind of cover takes, in a sentence each; "" where they were not compared."""
    parts = []
    for price in plan.cover_prices:
        value = amount(plan, price.objective_value)
        proven = "" if price.lower_bound >= price.objective_value else f", at least {amount(plan, price.lower_bound)}"
        bare = price.served - price.covered
        without = f", {counted(bare, 'site')} without standby" if bare and price.cover != "none" else ""
        parts.append(f"Cover {price.cover}: {value}{proven}{without}.")
    same = plan.cover_prices[0].alike if parts else 0
    if any(price.covered != same for price in plan.cover_prices if price.cover != "none") and same:
        figures = (f"{price.cover} {_of_these(plan, price)}" for price in plan.cover_prices)
        alone = f"For {counted(same, 'site')} that every kind covers, planned alone: {', '.join(figures)}."
        parts.append(f"These cover different sites, so do not compare them. {alone}")
    return " ".join(parts)


def _of_these(plan: Plan, price: CoverPrice) -> str:
    proven = price.alike_bound >= price.alike_value
    return amount(plan, price.alike_value) + ("" if proven else f" (at least {amount(plan, price.alike_bound)})")


def readiness_headline(readiness: Readiness) -> str:
    """Return the audit in one sentence."""
    number = readiness.counts
    after, unknown = number["ready_after"], sum(site.only_unknown for site in readiness.sites)
    facts = f" ({unknown:,} of these only lack facts)" if unknown else ""
    return (
        f"{counted(number['ready'], 'site')} ready for a shared host, {after:,} ready after open items{facts}, "
        f"{number['not_a_fit']:,} not a fit."
    )


def missing_in_words(readiness: Readiness, missing: Sequence[str]) -> str:
    """Return what nobody wrote down of any site, as one thing to do for the whole fleet."""
    sites = sum(site.outcome != "no_host_needed" for site in readiness.sites)
    columns = "column" if len(missing) == 1 else "columns"
    return f"Not known for all {counted(sites, 'site')}: add the {columns} {', '.join(missing)}."


def status_in_words(plan: Plan) -> str:
    """Return how far the plan is proven."""
    order = [MEASURES[aim.aim] for aim in plan.aims[: len(plan.before) + 1]]
    if plan.proves(plan.objective):
        return f"Proven best, in this order: {', '.join(order)}."
    proven = sum(aim.proven for aim in plan.aims[: len(plan.before) + 1])
    best = f" Proven best: {', '.join(order[:proven])}." if proven else ""
    return f"Not proven best: {order[proven]}{' (see the gap)' if plan.gap > 0 else ''}.{best}"


def complete_in_words(plan: Plan) -> str:
    """Return whether everybody is served, and how many of those left out are served today."""
    if plan.complete:
        return "Every site that needs a shared host has one."
    verb = "is" if len(plan.unserved) == 1 else "are"
    number = counted(len(plan.unserved), "site")
    return f"{number} {verb} unserved{_with_host_today(plan)}: see sheet {headings.UNSERVED}."


def bound_in_words(plan: Plan) -> str:
    """Return what the lower bound claims: it holds for plans that are best on the aims before the objective."""
    fewer = "less" if plan.objective == "cost" else "fewer"
    return f"No plan {_as_good(plan)} can do with {fewer} than {amount(plan, plan.lower_bound)}."


def gap_in_words(plan: Plan) -> str:
    """Return what the gap says about the plan."""
    if plan.gap == 0 and plan.proves(plan.objective):
        return "The plan meets its lower bound: the objective cannot be better."
    if plan.gap == 0:
        return "The plan meets its lower bound, but an aim that comes first is not proven: see the status."
    spare = amount(plan, plan.objective_value - plan.lower_bound)
    return f"At most {spare} could still be saved; the search ended before this was settled."


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


def _as_good(plan: Plan) -> str:
    """Return which plans the lower bound is about."""
    asks = plan.policy.get("cover", "none") != "none"
    if all(aim.proven for aim in plan.before):
        return f"that serves {'and covers ' if asks else ''}the same sites"
    return f"that serves {'and covers ' if asks else ''}the greatest weight"


def _quality(plan: Plan) -> str:
    """Return how good the objective is; "" where an aim before it is not proven, which then has been said."""
    if not all(aim.proven for aim in plan.before):
        return ""
    if plan.gap > 0:
        if plan.lower_bound <= 0:
            return "how little would do is not known"
        return f"the same sites need at least {amount(plan, plan.lower_bound)}"
    least = {"hosts": "has fewer", "new_hosts": "adds fewer", "cost": "costs less"}
    return f"no plan {_as_good(plan)} {least[plan.objective]}"
