"""Why not fewer hosts: the sets of sites that force the count, in words and as data that `verify --proof` re-checks."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.arrays import falses
from planner.counted_words import counted, more_groups
from planner.fleet import Bools, Fleet
from planner.plan import Proof
from planner.sizing.host_counts.certificate import Certificate, Inequality, certify, inequalities, searched
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition, hall_conditions
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.problem import Problem, restrict, unlimited
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.placement import Placement
from planner.sizing.solvers.budget import SolveBudget

if TYPE_CHECKING:
    from planner.sizing.cover.certificate import Evidence

_NAMED_SETS = 6  # sets told in words; the data hold all of them
_NAMED_SITES = 4
_UNCHECKED = "There is no proof of it that others can check."


def prove(fleet: Fleet, problem: Problem, draft: Draft, budget: SolveBudget) -> tuple[Proof, float]:
    """Return the proof that no plan which serves the same sites by shared hosts has a smaller objective, and the bound.

    The bound is that of the draft, or a higher one that the sets force.

    ``kind`` is ``counting`` when the sets and multipliers add up to the bound, ``search`` when it takes a search
    over whole host counts on top of the sets, ``solver`` when the bound rests on the solver's word, and ``bound``
    when the plan is not proven best.
    """
    sized, placement = draft.sized, draft.placement
    if not problem.sites:
        return _nothing_to_prove(fleet), sized.bound
    if problem.objective == "cost" and problem.pair_cost.any():
        return _word_of_solver(fleet, sized), sized.bound
    must = ~placement.unserved & ~problem.may_own
    served, classes, more = _served(fleet, problem, draft, must)
    conditions = [*hall_conditions(served, classes), *more]
    cuts, found = sized.cuts, sized.bound
    if cuts is None or not must.all() or sized.bound < sized.value or more:
        limited = SolveBudget(seed=budget.seed, seconds=_proof_seconds(budget))
        search = search_counts(served, classes, limited, more=more)
        cuts = tuple(search.cuts)
        found = min(search.objective_bound, sized.value)
    bound = max(found, sized.bound)
    sets_of = sized.evidence if found < bound else None
    evidence = None if sets_of is None else sets_of(bound, budget)
    if evidence is not None:
        return _by_cover_sets(fleet, problem, sized, evidence, bound), bound
    certificate = certify(served, cuts, found, budget)
    if more and found < sized.value:
        from planner.sizing.cover.host_loss_cuts import force_hosts

        known = sized.forcing if must.all() else None
        forcing = known or force_hosts(served, conditions, _rows(cuts), sized.value, limited)
        if forcing.bound > found:
            certificate, found = searched(forcing.rows), forcing.bound
            bound = max(bound, found)
    pairs = _pairs(certificate)
    told = [_as_data(fleet, served, classes, row, y) for row, y in pairs]
    left_out = _left_out_of_sets(problem, placement)
    details = _details(sized) | {"sets": told, "bound": float(found), "left_out": left_out}
    if found < bound:
        kind, how = "solver", _solver_says_more(problem, found)
    else:
        kind = "counting" if certificate.closed else "search"
        how = _adding_up(certificate, found)
    words = " ".join((_opening(fleet, sized, bound), *_sets_in_words(told, len(fleet.pool_ids)), left_out, how))
    proven = bound >= sized.value
    return Proof(kind if proven else "bound", " ".join(words.split()), details), bound


def _word_of_solver(fleet: Fleet, sized: Sized) -> Proof:
    closed = sized.bound >= sized.value
    words = f"{_opening(fleet, sized, sized.bound)} This is the solver's result. {_UNCHECKED}"
    return Proof("solver" if closed else "bound", words, _details(sized))


def _details(sized: Sized) -> dict[str, Any]:
    return {"solver_word": sized.word, "most_weight_proven": sized.weight_proven, "sets": []}


def _by_cover_sets(fleet: Fleet, problem: Problem, sized: Sized, evidence: Evidence, bound: float) -> Proof:
    from planner.sizing.cover.certificate_in_words import told_with_standbys

    kind, words, data = told_with_standbys(fleet, problem, evidence)
    details = _details(sized) | {"cover_sets": data, "bound": float(bound)}
    kind = kind if bound >= sized.value else "bound"
    return Proof(kind, f"{_opening(fleet, sized, bound)} {words}", details)


def _nothing_to_prove(fleet: Fleet) -> Proof:
    wanting = (fleet.clusters > 0) & (fleet.own_tie_breaker != "yes")
    return Proof("none", "No site can be served." if wanting.any() else "No site needs a shared host.")


def _solver_says_more(problem: Problem, found: float) -> str:
    rest = "The rest is the solver's result."
    if problem.limited:
        rest = "The rest comes from limits on hubs, zones, weight or rack units, and is the solver's result."
    return f"These groups alone need at least {found:g}. {rest} {_UNCHECKED}"


def _rows(cuts: Iterable[Cut]) -> list[Inequality]:
    return [row for cut in cuts for row in inequalities(cut)]


def _served(fleet: Fleet, problem: Problem, draft: Draft, must: Bools) -> tuple[Problem, Classes, list[HallCondition]]:
    """Return the problem of the sites that ``must`` (S,) marks, their classes, and what a lost host asks.

    That is nothing where another plan may serve others, or give others a standby.
    """
    served = restrict(unlimited(problem), must)
    plain = group(served, by_weight=False)
    if fleet.policy.cover != "host" or draft.placement.unserved.any():
        return served, plain, []
    from planner.sizing.cover.loss_conditions import loss_conditions
    from planner.sizing.cover.losses import read_losses

    losses = read_losses(fleet, problem)
    bare = falses(problem.sites)
    bare[draft.bare] = True
    if (bare & losses.coverable_sites(problem)).any():
        return served, plain, []
    without, classes = bare[must], plain
    if without.any():
        classes = group(served, by_weight=False, apart=without.astype(np.int64))
    conditions = hall_conditions(served, classes)
    return served, classes, loss_conditions(served, classes, losses, len(conditions), without)


def _proof_seconds(budget: SolveBudget) -> float:
    """Return the time for finding sets after the plan is made: what is left, but a little even if nothing is."""
    left = budget.left
    return 60.0 if left is None else max(1.0, left)


def _pairs(certificate: Certificate) -> list[tuple[Inequality, Fraction]]:
    """Return the inequalities that count, the one that forces most hosts first."""
    both = zip(certificate.inequalities, certificate.multipliers, strict=True)
    return sorted(both, key=lambda pair: -pair[0].demand)


def _as_data(fleet: Fleet, problem: Problem, classes: Classes, row: Inequality, multiplier: Fraction) -> dict[str, Any]:
    """Return one inequality as plain data: sites, size of items, pools with their room, divisor, demand, multiplier."""
    inside: Bools = falses(classes.count)
    inside[row.cut.classes] = True
    sites = problem.site_at[inside[classes.of_site]]
    clusters = int((classes.demand * classes.items)[inside].sum())
    lost = row.cut.demand - clusters if row.cut.size == 1 else 0  # the host that may be lost comes on top
    return {
        "sites": [fleet.site_ids[s] for s in sites],
        "at_least": row.cut.size,
        "demand": row.cut.demand - lost,
        "lost": lost,
        "lost_pool": "" if row.lost < 0 else fleet.pool_ids[problem.pool_at[row.lost]],
        "pools": {fleet.pool_ids[problem.pool_at[p]]: int(row.cut.room[p]) for p in np.flatnonzero(row.cut.room)},
        "divisor": row.divisor,
        "needs": row.demand,
        "multiplier": str(multiplier),
    }


def _opening(fleet: Fleet, sized: Sized, bound: float) -> str:
    unit = {"hosts": "hosts", "new_hosts": "new hosts", "cost": f"{fleet.policy.currency or 'money'} a year"}[
        fleet.policy.objective
    ]
    value, least = (f"{x:,.2f}".rstrip("0").rstrip(".") for x in (sized.value, bound))
    # Another plan may cover less, or as much of other sites.
    same = (
        "that serves the same sites" if fleet.policy.cover == "none" else "that serves and covers the greatest weight"
    )
    below = "less" if fleet.policy.objective == "cost" else "fewer"
    if bound >= sized.value:
        return f"No plan {same} needs {below} than {value} {unit}."
    return f"Not proven: this plan needs {value} {unit}; any plan {same} needs at least {least}."


def _left_out_of_sets(problem: Problem, placement: Placement) -> str:
    """Say which sites the sets do not count although the plan serves them; "" where there are none."""
    free = int((~placement.unserved & problem.may_own).sum())
    if not free:
        return ""
    may = "may use its own tie-breaker" if free == 1 else "may use their own tie-breakers"
    return f"These groups leave out {counted(free, 'site')} that {may}."


def _sets_in_words(told: list[dict[str, Any]], all_pools: int) -> list[str]:
    words = [_set_in_words(data, all_pools) for data in told[:_NAMED_SETS]]
    if len(told) > _NAMED_SETS:
        words.append(more_groups(len(told) - _NAMED_SETS))
    return words


def _set_in_words(data: dict[str, Any], all_pools: int) -> str:
    """Say one inequality as a person would; ``all_pools`` is how many pools the fleet has."""
    sites = data["sites"]
    pools = data["pools"]
    size = data["at_least"]
    dots = ", …" if len(sites) > _NAMED_SITES else ""
    named = ", ".join(sites[:_NAMED_SITES]) + dots
    if size == 1:
        who = f"{counted(len(sites), 'site')} with {counted(data['demand'], 'cluster')}"
        item = "of these clusters"
    else:
        who = f"{counted(data['demand'], 'site')} with {size} or more clusters each"
        item = "of these sites"
    listed = ", ".join(pools) if len(pools) <= _NAMED_SITES else ""
    some = f"{len(pools)} of the {all_pools} pools"
    where = f"{'pools' if len(pools) > 1 else 'pool'} {listed}" if listed else some
    use = f"any of the {counted(all_pools, 'pool')}" if len(pools) == all_pools else f"only {where}"
    names = "" if len(pools) == all_pools else f" ({named})"
    largest = max(pools.values(), default=0)
    if data["lost"]:
        any_one = f"any one host is lost{', also one of ' + data['lost_pool'] if data['lost_pool'] else ''}"
        after = f"{who}{names} can use {use}. When {any_one}, the others must have room for all of them"
        if data["divisor"] == 1 and largest > 1:
            return f"{after}."
        return f"{after}: a host holds at most {largest:,}, so they need at least {counted(data['needs'], 'host')}."
    if data["needs"] == 1 and data["divisor"] > 1:
        return f"{who}{names} can use {use}: at least 1 host must run there."
    if data["divisor"] == 1 and largest > 1:
        return f"{who}{names} can use {use}, whose hosts must have room for all of them."
    most = f"a host holds at most {largest:,} {item}"
    return f"{who}{names} can use {use}: {most}, so they need at least {counted(data['needs'], 'host')}."


def _adding_up(certificate: Certificate, found: float) -> str:
    if not certificate.closed:
        return (
            f"No combination of hosts with fewer than {found:g} in all meets the "
            f"{len(certificate.inequalities)} conditions of these groups at once."
        )
    if len(certificate.inequalities) <= 1:
        return ""
    if all(y == 1 for y in certificate.multipliers):
        used = [set(np.flatnonzero(row.room)) for row in certificate.inequalities]
        if sum(map(len, used)) == len(set().union(*used)):
            return "No two of these groups share a pool, so their numbers add up."
    exact = certificate.bound
    return f"Added up exactly, these groups need at least {math.ceil(exact):,} (plan.json has the figures of the sum)."
