"""How many hosts of each pool: aims in order, packing made exact, and a bound that holds.

Aims: most weight served, then the policy's objective, then what decides among equals.
"""

from __future__ import annotations

import dataclasses

from planner.arrays import falses, int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.assignment.aims_in_order import SecondaryCosts, fewest_own, finish, serve_most, with_secondary_costs
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.assignment.greedy import greedy_counts
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.own_pools import cheapest_mix, counts_decide_mix
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.host_counts.rounding import round_counts
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.pools import unpacked
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solvers.budget import SolveBudget

_WHOLE_SITES_SECONDS = 10.0  # for whole sites on given hosts, at most


def size(
    problem: Problem, budget: SolveBudget, reference: Floats | None = None, secondary: SecondaryCosts | None = None
) -> Sized:
    """Return the fewest hosts (or the least of the policy's objective) with a bound; the best found if time ends.

    ``reference`` (P,) chooses among equals: host counts near it, see `reference_counts`.
    """
    apart = None if secondary is None else secondary.apart
    if problem.sites == 0:
        classes = group(problem, by_weight=False)
        counts = Counts.of_hosts(classes, int_zeros(problem.pools))
        return Sized(classes, counts, 0.0, 0.0, True, "nothing to serve")
    if all_fit(problem):
        classes = group(problem, by_weight=False, apart=apart)
        if searchable(problem):
            sized = _by_cuts(problem, classes, budget, reference)
        else:
            sized = _by_flow(problem, classes, budget, secondary)
        if sized is not None:
            return sized
        # Infeasible because of packing, or no plan in time: fall through to serving what can be served.
    classes = group(problem, by_weight=True, apart=apart)
    model = FlowModel(problem, classes, serve_all=False)
    served = serve_most(model, budget)
    if served.counts is None:
        counts = greedy_counts(problem, classes)
        value = objective_value(problem, classes, counts)
        return Sized(classes, counts, value, 0.0, False, served.word, least=served.least)
    outcome, better = model.minimise(problem.objective, budget)
    best = better or served.counts
    if not served.proven:  # stopped while the weight of all was open, it may have left out anybody
        best = min((best, greedy_counts(problem, classes)), key=model.left_out_in_order)
    sized = finish(model, best, outcome, budget, weight_proven=served.proven)
    sized = dataclasses.replace(sized, least=served.least)
    return with_secondary_costs(model, sized, secondary, budget)


def counts_decide(problem: Problem) -> bool:
    """Say whether host counts alone settle the objective: no own tie-breakers, no pair costs, no further limits."""
    return searchable(problem) and not problem.limited


def searchable(problem: Problem) -> bool:
    """Say whether the cut search settles the objective; it knows limits that are those of a flow."""
    priced = problem.objective == "cost" and problem.pair_cost.any()
    own = problem.may_own.any()
    return not priced and problem.flows and not own


def _by_cuts(problem: Problem, classes: Classes, budget: SolveBudget, reference: Floats | None) -> Sized | None:
    """Serve everybody by the cut search; the flow model decides where kept-together sites do not fit its counts."""
    search = search_counts(problem, classes, budget, reference)
    if search.best is None:
        return None
    bound = search.objective_bound
    counts = round_counts(problem, classes, search.best)
    if counts is None:
        counts = _whole_sites_on(problem, classes, search.best, budget)
    if counts is not None:
        value = objective_value(problem, classes, counts)
        bound = value if search.closed else min(value, bound)
        word = "lower bound and plan are equal" if search.closed else "stopped early"
        cuts = None if problem.limited else tuple(search.cuts)  # a proof has no place for limits
        return Sized(classes, counts, value, bound, True, word, cuts)
    model = FlowModel(problem, classes, serve_all=True)
    model.at_least(problem.objective, bound)
    outcome, found = model.minimise(problem.objective, budget)
    if found is None:
        return None
    return finish(model, found, outcome, budget, weight_proven=True, known_bound=bound)


def _whole_sites_on(problem: Problem, classes: Classes, hosts: Ints, budget: SolveBudget) -> Counts | None:
    """Return where whole sites go on given ``hosts`` (P,); None where they do not, or not in time.

    Hosts and whole sites at once are a far harder model.
    """
    model = FlowModel(problem, classes, serve_all=True, hosts=hosts)
    return model.minimise(problem.objective, budget.within(_WHOLE_SITES_SECONDS))[1]


def _by_flow(
    problem: Problem, classes: Classes, budget: SolveBudget, secondary: SecondaryCosts | None = None
) -> Sized | None:
    """Serve everybody by the flow model, where it is only about costs of hosts and pairs by its core."""
    own = problem.may_own.any()
    plain = not problem.limited and not own
    if problem.objective == "cost" and plain:
        from planner.sizing.assignment.reduced_cost_fixing import solve_core

        solved = solve_core(problem, classes, budget)
        if solved is not None and not unpacked(problem, classes, solved[1].hosts, solved[1].flow, budget):
            outcome, counts = solved
            value = objective_value(problem, classes, counts)
            bound = value if outcome.state == "optimal" else min(value, outcome.bound)
            return Sized(classes, counts, value, bound, True, outcome.word)
    if secondary is None and counts_decide_mix(problem, classes):
        mixed = cheapest_mix(problem, classes, budget, [])
        if mixed is not None:
            return mixed
    halves = None if secondary is None else _by_halves(problem, classes, budget, secondary)
    if halves is not None and halves.bound >= halves.value:
        return halves
    model = FlowModel(problem, classes, serve_all=True)
    least = halves.bound if halves is not None else 0.0 if secondary is None else secondary.least
    if least > 0:
        model.at_least(problem.objective, least)
    outcome, found = model.minimise(problem.objective, budget)
    if found is None:
        return halves
    sized = finish(model, found, outcome, budget, weight_proven=True, known_bound=least)
    if halves is not None and halves.value <= sized.value:
        sized = dataclasses.replace(halves, bound=min(halves.value, sized.bound))
    return with_secondary_costs(model, sized, secondary, budget)


def _by_halves(problem: Problem, classes: Classes, budget: SolveBudget, secondary: SecondaryCosts) -> Sized | None:
    """Return the hosts that divisible sites need, and whole sites on these hosts; None where they do not go there.

    The first is a relaxation, and its value a bound; both are far smaller problems than hosts and whole sites at once.
    """
    if problem.objective != "hosts" or secondary.apart is None:
        return None
    divisible = dataclasses.replace(classes, fixed=falses(classes.count))
    relaxed = FlowModel(problem, divisible, serve_all=True)
    relaxed.at_least("hosts", secondary.least)
    outcome, counts = relaxed.solve("hosts", budget)
    if counts is None:
        return None
    model = FlowModel(problem, classes, serve_all=True, hosts=counts.hosts)
    _, found = model.minimise("hosts", budget)
    if found is None:
        return None
    sized = finish(model, found, outcome, budget, weight_proven=True, known_bound=secondary.least)
    sized = with_secondary_costs(model, sized, secondary, budget)
    if sized.bound < sized.value:
        return sized
    # As many hosts elsewhere may be better, but that takes longer to find.
    model = FlowModel(problem, classes, serve_all=True)
    model.fix_objective("hosts", sized.value)
    elsewhere = dataclasses.replace(sized, counts=fewest_own(model, sized.counts, budget))
    costs = secondary.costs(classes)

    def among_equals(one: Sized) -> list[float]:
        own = [objective_value(problem, classes, one.counts, aim) for aim in ("own", "own_cost")]
        later = [float(cost.values @ one.counts.flow) for cost in costs]
        return own + [round(value, 6) for value in later]

    return min(sized, with_secondary_costs(model, elsewhere, secondary, budget), key=among_equals)
