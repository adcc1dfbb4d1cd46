"""How good a plan is, and how sure that is: the headline, the aims, the bound and the gap in plain words."""

from __future__ import annotations

import re

from planner.counted_words import counted
from planner.outputs.plan_sentences import ANY_ONE, amount, sites_served, sites_wanting, with_host_today
from planner.own import PREFIX
from planner.plan import Aim, Plan

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
    """Return the plan in two or three sentences: what it does and what is not met, then what is proven of it.

    For example ``"14 tie-breaker hosts at 6 hubs serve 176 of 180 sites; 4 sites are not served (1 of them has a host
    today). Proven: no plan serves a greater weight of sites, and fewer hosts cannot serve these sites."`` The first
    sentence tells every aim up to the objective; nothing is called proven after the first aim that is not.
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
        _estimated(plan),
    ]
    return " ".join([f"{'; '.join(part for part in parts if part)}.", *_how_sure(plan)])


def _left_out(plan: Plan) -> str:
    """Return how many sites are not served, and how many of them are served today."""
    if plan.complete:
        return ""
    number = len(plan.unserved)
    return f"{counted(number, 'site')} {'is' if number == 1 else 'are'} not served{with_host_today(plan)}"


def _bare(plan: Plan) -> str:
    """Return how many of the sites served have no standby, where cover is asked for."""
    cover = plan.policy.get("cover", "none")
    if cover == "none":
        return ""
    bare = len(plan.uncovered)
    if not bare:
        each = "each" if plan.complete else "each of those served"
        return f"{each} has a standby for the loss of {ANY_ONE[cover]}"
    return f"{bare:,} of those served {'has' if bare == 1 else 'have'} no standby"


def _estimated(plan: Plan) -> str:
    """Return how many of the sites served are so on an estimate: nobody knows yet whether they are within budget."""
    number = len({row.site for row in plan.assignments if row.evidence == "estimated"})
    return f"the round-trip time of {number:,} of those served is only an estimate" if number else ""


def _how_sure(plan: Plan) -> list[str]:
    """Return what is proven in one sentence, and the first aim that is not in another."""
    claims = [(plan.proves(aim.aim), _better(plan, aim)) for aim in plan.before if not _nothing_left(plan, aim)]
    proven = [words for sure, words in claims if sure]
    doubts = [f"Not proven: whether {_NONE.sub('another plan', words)}." for sure, words in claims if not sure]
    if all(aim.proven for aim in plan.before):
        if plan.proves(plan.objective):
            proven.append(_LEAST[plan.objective].format(serve=_serve(plan)))
        else:
            doubts.append(_how_far(plan))
    told = f"{', '.join(proven[:-1])}, and {proven[-1]}" if len(proven) > 1 else "".join(proven)
    return [f"Proven: {told}."] * bool(proven) + doubts[:1]


def _nothing_left(plan: Plan, aim: Aim) -> bool:
    """Say whether an aim is met in full, so that nothing has to be proven of it."""
    return (aim.aim == "served" and plan.complete) or (aim.aim == "covered" and not plan.uncovered)


def _better(plan: Plan, aim: Aim) -> str:
    """Return that no plan is better on an aim."""
    if aim.aim == "served" and any(one.aim == "kept_served" for one in plan.before):
        return "no plan that does the same serves a greater weight of all sites"
    return _BETTER[aim.aim]


def _how_far(plan: Plan) -> str:
    """Return how far the objective can be from the best, or how many hosts more it was asked to use."""
    enough = plan.hosts - plan.extra_hosts
    if plan.extra_hosts and plan.lower_bound >= enough:
        fewest = f"Proven: {counted(enough, 'host')} are the fewest, and enough."
        return f"{fewest} As asked, the plan uses {plan.extra_hosts:,} more to move fewer sites."
    if plan.lower_bound <= 0:
        return "Not proven: the smallest number that these sites need is not known."
    return f"Not proven: these sites need at least {amount(plan, plan.lower_bound)}; whether that is enough is open."


def _serve(plan: Plan) -> str:
    return "serve" if plan.policy.get("cover", "none") == "none" else "serve and cover"


_NONE = re.compile("no plan|none")
_BETTER = {
    "kept_served": "no plan serves a greater weight of sites with a host today",
    "served": "no plan serves a greater weight of sites",
    "covered": "no plan covers a greater weight of sites",
}
_LEAST = {
    "hosts": "fewer hosts cannot {serve} these sites",
    "new_hosts": "fewer new hosts cannot {serve} these sites",
    "cost": "no cheaper plan can {serve} these sites",
}


def later_aims_in_words(plan: Plan) -> str:
    """Return what became of each aim among equals, a sentence each, with how far it can be from the best."""
    told: list[str] = []
    for level, aim in zip(plan.then, plan.aims[len(plan.before) + 1 :], strict=True):
        told.append(f"{'it' if told else 'this one'} {_does(level, aim.proven)}")
    if not told:
        return ""
    hosts = f"with {counted(plan.hosts, 'host')}"
    among = {"hosts": hosts, "new_hosts": "with as few new hosts", "cost": "of this cost"}[plan.objective]
    first, *rest = told
    return " ".join([f"Among plans {among}, {first}", *(f"Then {one}" for one in rest)])


_DOES = {
    "moves": "moves {figure}",
    "latency": "has a total round-trip time of {figure}",
    "margin": "has a smallest latency margin of {figure}",
    "spread": "puts {figure} on the fullest host",
}
_BEST = {
    "moves": "moves the fewest sites: {figure} (proven).",
    "latency": "has the least total round-trip time: {figure} (proven).",
    "margin": "keeps the smallest latency margin as large as possible: {figure} (proven).",
    "spread": "puts the fewest clusters on the fullest host: {figure} (proven).",
}


def measure_of(aim: str) -> str:
    """Return what an aim makes large or small."""
    return f"your own aim {aim.removeprefix(PREFIX)}" if aim.startswith(PREFIX) else MEASURES.get(aim, aim)


def _does(level: Aim, proven: bool) -> str:
    """Return what the plan makes of an aim among equals, and how far that can be from the best."""
    if level.aim.startswith(PREFIX):
        return _does_own(level, proven)
    if proven:
        figure = _figure(level.aim, level.value)
        return _BEST[level.aim].format(figure=figure if level.aim in ("latency", "margin") else figure.split()[0])
    does = _DOES[level.aim].format(figure=_figure(level.aim, level.value))
    if level.proven:
        return f"{does} (the best of all plans that are equally good on the aims before it)."
    return f"{does} (not proven best: no such plan {_BEYOND[level.aim]} {_figure(level.aim, level.bound)})."


_BEYOND = {
    "moves": "moves fewer than",
    "latency": "has less than",
    "margin": "has more than",
    "spread": "has a fullest host with fewer than",
}


def _does_own(level: Aim, proven: bool) -> str:
    name = level.aim.removeprefix(PREFIX)
    figure, least = f"{level.value:,.6g}", f"{level.bound:,.6g}"
    if proven:
        return f"has the least total of your own aim {name}: {figure} (proven)."
    told = f"has a total of {figure} by your own aim {name}"
    if level.proven:
        return f"{told} (the best of all plans that are equally good on the aims before it)."
    return f"{told} (not proven best: no such plan has less than {least})."


def _figure(aim: str, value: float) -> str:
    if aim == "moves":
        return counted(round(value), "site")
    return counted(round(value), "cluster") if aim == "spread" else f"{value:,.1f} ms"


def status_in_words(plan: Plan) -> str:
    """Return how far the plan is proven."""
    order = [MEASURES[aim.aim] for aim in plan.aims[: len(plan.before) + 1]]
    if plan.proves(plan.objective):
        return f"Proven best, in this order: {', '.join(order)}."
    proven = sum(aim.proven for aim in plan.aims[: len(plan.before) + 1])
    best = f" Proven best: {', '.join(order[:proven])}." if proven else ""
    return f"Not proven best: {order[proven]}{' (see the gap)' if plan.gap > 0 else ''}.{best}"


def bound_in_words(plan: Plan) -> str:
    """Return what the lower bound claims: it holds for plans that are best on the aims before the objective."""
    fewer = "less" if plan.objective == "cost" else "fewer"
    return f"No plan {_as_good(plan)} needs {fewer} than {amount(plan, plan.lower_bound)} (proven)."


def gap_in_words(plan: Plan) -> str:
    """Return what the gap says about the plan."""
    if plan.gap == 0 and plan.proves(plan.objective):
        return "None: the plan is as good as the lower bound, so no plan can be better."
    if plan.gap == 0:
        return "None, but an aim that comes before the objective is not proven: see Status."
    spare = amount(plan, plan.objective_value - plan.lower_bound)
    return f"A better plan could save at most {spare}. The search ended before this was decided."


def _as_good(plan: Plan) -> str:
    """Return which plans the lower bound is about."""
    asks = plan.policy.get("cover", "none") != "none"
    if all(aim.proven for aim in plan.before):
        return f"that serves {'and covers ' if asks else ''}the same sites"
    return f"that serves {'and covers ' if asks else ''}the greatest weight"
