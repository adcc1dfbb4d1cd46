"""How many hosts of each pool: aims in order, packing made exact, and a bound that holds.

Aims: most weight served, then the policy's objective, then what decides among equals.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import maximum_flow

from planner.fleet import Floats, Ints
from planner.sizing.core import solve_core
from planner.sizing.greedy import greedy_counts
from planner.sizing.layers import Cut
from planner.sizing.model import Aim, Counts, FlowModel
from planner.sizing.packed import unpacked
from planner.sizing.problem import Classes, Problem, group
from planner.sizing.realise import realise
from planner.sizing.search import search_counts
from planner.sizing.solver import Effort, Outcome
from planner.sizing.transport import Cost
from planner.sizing.worth import Worth

_WISH_SECONDS = 120.0  # for the later aims of the flow model, at most
_EQUAL_COST_SECONDS = 5.0  # for fewer own tie-breakers at the same cost, at most
_SAME_MONEY = 1e-12  # relative; what adding up in another order makes of the same prices

if TYPE_CHECKING:
    from planner.sizing.cover.evidence import Evidence

_SHARINGS = 6  # before a flow is asked; fleets of 100,000 sites with a tenth of the room to spare took three


@dataclass(frozen=True, slots=True)
class Sized:
    """Counts with what is known of them.

    ``value`` and ``bound`` are in the unit of the objective; the bound holds for plans that serve at
    least as much weight. ``weight_proven``: no plan serves more weight.
    """

    classes: Classes
    counts: Counts
    value: float
    bound: float
    weight_proven: bool
    word: str
    cuts: tuple[Cut, ...] | None = None  # of the cut search, where it answered
    # Finds sets with standbys that force a value, where the search for spare room answered.
    evidence: Callable[[float, Effort], Evidence | None] | None = None
    uncovered: int = 0  # weight of sites without standby, where the policy asks for cover
    # Bounds on the weight that plans leave out, and on what those that leave out the least leave without a standby.
    least: Mapping[Worth, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Wishes:
    """What the flow model knows beforehand and shall choose among equals.

    ``least``: a bound on the objective of plans that serve all. ``apart`` (S,): as in `group`; the model then places
    every class. ``costs`` returns the later aims on the arcs of classes.
    """

    least: float
    apart: Ints | None = None
    costs: Callable[[Classes], Sequence[Cost]] = lambda _: ()


def size(problem: Problem, effort: Effort, reference: Floats | None = None, wishes: Wishes | None = None) -> Sized:
    """Return the fewest hosts (or the least of the policy's objective) with a bound; the best found if time ends.

    ``reference`` (P,) chooses among equals: host counts near it, see `planner.sizing.search.spread`.
    """
    apart = None if wishes is None else wishes.apart
    if problem.sites == 0:
        none = np.zeros(0, dtype=np.int64)
        classes = group(problem, by_weight=False)
        counts = Counts(np.zeros(problem.pools, dtype=np.int64), np.zeros(0), none, none)
        return Sized(classes, counts, 0.0, 0.0, True, "nothing to serve")
    if all_fit(problem):
        classes = group(problem, by_weight=False, apart=apart)
        sized = (
            _by_cuts(problem, classes, effort, reference)
            if _searchable(problem)
            else _by_flow(problem, classes, effort, wishes)
        )
        if sized is not None:
            return sized
        # Infeasible because of packing, or no plan in time: fall through to serving what can be served.
    classes = group(problem, by_weight=True, apart=apart)
    model = FlowModel(problem, classes, serve_all=False)
    served = serve_most(model, effort)
    if served.counts is None:
        counts = greedy_counts(problem, classes)
        value = objective_value(problem, classes, counts)
        return Sized(classes, counts, value, 0.0, False, served.word, least=served.least)
    outcome, better = minimise(model, problem.objective, effort)
    best = better or served.counts
    if not served.proven:  # stopped while the weight of all was open, it may have left out anybody
        best = min((best, greedy_counts(problem, classes)), key=model.left_out_in_order)
    sized = finish(model, best, outcome, effort, weight_proven=served.proven)
    sized = dataclasses.replace(sized, least=served.least)
    return _wished(model, sized, wishes, effort)


@dataclass(frozen=True)
class Served:
    """The counts that leave out the least weight, None where time ended before any; ``least`` as in `Sized`."""

    counts: Counts | None
    proven: bool
    least: dict[Worth, float]
    word: str


_LEFT: tuple[tuple[Aim, Worth], ...] = (("unserved_kept", "kept_served"), ("unserved_weight", "served"))


def serve_most(model: FlowModel, effort: Effort) -> Served:
    """Leave out the least weight of sites that are to be kept, then of all, and keep to that in what follows."""
    found, word, proven, least = None, "", True, {}
    for aim, worth in _LEFT[0 if model.classes.kept.any() else 1 :]:
        outcome, better = minimise(model, aim, effort)
        found, word, least[worth] = better or found, outcome.word, least_of(outcome)
        proven = proven and outcome.state == "optimal"
        if found is None:
            break
        model.settle(aim, model.left_out(aim, found))
    return Served(found, proven, least, word)


def counts_decide(problem: Problem) -> bool:
    """Say whether host counts alone settle the objective: no own tie-breakers, no pair costs, no further limits."""
    return _searchable(problem) and not problem.limited


def _searchable(problem: Problem) -> bool:
    """Say whether the cut search settles the objective; it knows limits that are those of a flow."""
    priced = problem.objective == "cost" and problem.pair_cost.any()
    return not priced and problem.flows and not np.isfinite(problem.own_cost).any()


def _by_cuts(problem: Problem, classes: Classes, effort: Effort, reference: Floats | None) -> Sized | None:
    """Serve everybody by the cut search; the flow model decides where kept-together sites do not fit its counts."""
    search = search_counts(problem, classes, effort, reference)
    if search.best is None:
        return None
    bound = search.objective_bound
    counts = realise(problem, classes, search.best)
    if counts is not None:
        value = objective_value(problem, classes, counts)
        bound = value if search.closed else min(value, bound)
        return Sized(
            classes,
            counts,
            value,
            bound,
            True,
            "cuts and plan meet" if search.closed else "stopped early",
            None if problem.limited else tuple(search.cuts),  # a proof has no place for limits
        )
    model = FlowModel(problem, classes, serve_all=True)
    model.at_least(problem.objective, bound)
    outcome, found = minimise(model, problem.objective, effort)
    return None if found is None else finish(model, found, outcome, effort, weight_proven=True, known_bound=bound)


def _by_flow(problem: Problem, classes: Classes, effort: Effort, wishes: Wishes | None = None) -> Sized | None:
    """Serve everybody by the flow model, where it is only about costs of hosts and pairs by its core."""
    plain = not problem.limited and not np.isfinite(problem.own_cost).any()
    if problem.objective == "cost" and plain:
        solved = solve_core(problem, classes, effort)
        if solved is not None and not unpacked(problem, classes, solved[1].hosts, solved[1].flow, effort):
            outcome, counts = solved
            value = objective_value(problem, classes, counts)
            bound = value if outcome.state == "optimal" else min(value, outcome.bound)
            return Sized(classes, counts, value, bound, True, outcome.word)
    halves = None if wishes is None else _by_halves(problem, classes, effort, wishes)
    if halves is not None and halves.bound >= halves.value:
        return halves
    model = FlowModel(problem, classes, serve_all=True)
    least = halves.bound if halves is not None else 0.0 if wishes is None else wishes.least
    if least > 0:
        model.at_least(problem.objective, least)
    outcome, found = minimise(model, problem.objective, effort)
    if found is None:
        return halves
    sized = finish(model, found, outcome, effort, weight_proven=True, known_bound=least)
    if halves is not None and halves.value <= sized.value:
        sized = dataclasses.replace(halves, bound=min(halves.value, sized.bound))
    return _wished(model, sized, wishes, effort)


def _by_halves(problem: Problem, classes: Classes, effort: Effort, wishes: Wishes) -> Sized | None:
    """Return the hosts that divisible sites need, and whole sites on these hosts; None where they do not go there.

    The first is a relaxation, and its value a bound; both are far smaller problems than hosts and whole sites at once.
    """
    if problem.objective != "hosts" or wishes.apart is None:
        return None
    relaxed = FlowModel(problem, dataclasses.replace(classes, fixed=np.zeros_like(classes.fixed)), serve_all=True)
    relaxed.at_least("hosts", wishes.least)
    outcome, counts = relaxed.solve("hosts", effort)
    if counts is None:
        return None
    model = FlowModel(problem, classes, serve_all=True)
    model.give(counts.hosts)
    _, found = minimise(model, "hosts", effort)
    if found is None:
        return None
    sized = finish(model, found, outcome, effort, weight_proven=True, known_bound=wishes.least)
    sized = _wished(model, sized, wishes, effort)
    if sized.bound < sized.value:
        return sized
    # As many hosts elsewhere may be better, but that takes longer to find.
    model = FlowModel(problem, classes, serve_all=True)
    model.settle("hosts", sized.value)
    elsewhere = dataclasses.replace(sized, counts=_fewest_own(model, sized.counts, effort))
    costs = wishes.costs(classes)

    def among_equals(one: Sized) -> list[float]:
        own = [objective_value(problem, classes, one.counts, aim) for aim in ("own", "own_cost")]
        return own + [round(float(cost.values @ one.counts.flow), 6) for cost in costs]

    return min(sized, _wished(model, elsewhere, wishes, effort), key=among_equals)


def _wished(model: FlowModel, sized: Sized, wishes: Wishes | None, effort: Effort) -> Sized:
    """Return ``sized`` with the arcs that are best for the later aims among equals, as far as time allows."""
    effort = effort.within(_WISH_SECONDS)
    for cost in () if wishes is None else wishes.costs(model.classes):
        better = model.choose_arcs(cost.values, effort)
        if better is None:
            break
        sized = dataclasses.replace(sized, counts=better)
    return sized


def finish(
    model: FlowModel, counts: Counts, outcome: Outcome, effort: Effort, *, weight_proven: bool, known_bound: float = 0.0
) -> Sized:
    """Settle the objective and let the last aims choose among equals."""
    problem = model.problem
    value = objective_value(problem, model.classes, counts)
    bound = value if outcome.state == "optimal" else min(value, max(known_bound, _rounded(problem, outcome.bound)))
    model.settle(problem.objective, value)
    counts = _fewest_own(model, counts, effort)
    return Sized(model.classes, counts, value, bound, weight_proven, outcome.word)


def _fewest_own(model: FlowModel, counts: Counts, effort: Effort) -> Counts:
    """Return counts at the value that was settled with, in this order, the fewest hosts and own tie-breakers.

    Hosts only where new ones are the objective. Of as few own tie-breakers the cheapest are used.
    """
    problem, classes = model.problem, model.classes
    last: list[Aim] = ["hosts"] if problem.objective == "new_hosts" else []
    if model.o:
        alike = len(np.unique(classes.own_cost[list(model.o)])) == 1
        last += ["own"] if alike or problem.objective == "cost" else ["own", "own_cost"]
    if problem.objective == "cost":
        effort = effort.within(_EQUAL_COST_SECONDS)
    most = objective_value(problem, classes, counts) * (1 + _SAME_MONEY)
    for aim in last:
        _, better = minimise(model, aim, effort)
        # Settled money has a little slack, which is not to be spent.
        if better is not None and objective_value(problem, classes, better) <= most:
            counts = better
        model.settle(aim, objective_value(problem, classes, counts, aim))
    return counts


def minimise(model: FlowModel, aim: Aim, effort: Effort) -> tuple[Outcome, Counts | None]:
    """Minimise ``aim``, adding exact packing rows to each pool whose items turn out not to pack."""
    while True:
        outcome, counts = model.solve(aim, effort)
        if counts is None:
            return outcome, None
        loose = unpacked(model.problem, model.classes, counts.hosts, counts.flow, effort)
        if not loose:
            return outcome, counts
        if effort.spent or loose <= model.packed:
            # No time to make it exact: what was solved is a bound, not a plan.
            return Outcome("unsolved", outcome.word, bound=outcome.bound), None
        for p in loose - model.packed:
            model.pack_pool(p)


def objective_value(problem: Problem, classes: Classes, counts: Counts, aim: Aim | None = None) -> float:
    """Recompute an aim (the objective by default) from the counts: the solver's 17.999999999999993 hosts are 18."""
    own = float(np.where(counts.own > 0, classes.own_cost, 0.0) @ counts.own)
    match aim or problem.objective:
        case "hosts":
            return float(counts.hosts.sum())
        case "new_hosts":
            return float(np.maximum(0, counts.hosts - problem.existing).sum())
        case "own":
            return float(counts.own.sum())
        case "own_cost":
            return own
        case _:
            hosts = float(np.where(counts.hosts > 0, problem.host_cost, 0.0) @ counts.hosts)
            return hosts + float(classes.cost @ counts.flow) + own


def least_of(outcome: Outcome) -> float:
    """Return the bound of a solve whose aim is a weight, none of which is below 0."""
    return max(0.0, outcome.bound) if np.isfinite(outcome.bound) else 0.0


def _rounded(problem: Problem, bound: float) -> float:
    """Round a bound on whole hosts up; a bound on money stays, and none is below 0."""
    if problem.objective == "cost" or not np.isfinite(bound):
        return max(0.0, bound) if np.isfinite(bound) else 0.0
    return float(max(0, np.ceil(bound - 1e-6)))


def all_fit(problem: Problem) -> bool:
    """Say whether a flow carries every cluster when every host runs; False proves that somebody is left out.

    Sites with a possible own tie-breaker always fit. Kept-together sites are treated as divisible, so
    True is not yet a promise for them.
    """
    must = ~np.isfinite(problem.own_cost)
    clusters = np.where(must, problem.clusters, 0)
    room = problem.max_hosts * problem.caps
    return _shares_fit(problem, clusters, room) or max_load(problem, clusters, room) == int(clusters.sum())


def _shares_fit(problem: Problem, clusters: Ints, room: Ints) -> bool:
    """Say whether some shares of every site's clusters over its pools are found that fit; False proves nothing.

    They are even at first. Then pools weigh more by how much room they have for what they got, as in iterative
    proportional fitting (W. E. Deming, F. F. Stephan, Annals of Mathematical Statistics 11 (1940) 427-444).
    """
    weight = (room > 0).astype(np.float64)
    for _ in range(_SHARINGS):
        of_pair = weight[problem.pool]
        total = np.bincount(problem.site, weights=of_pair, minlength=problem.sites)
        if (total[clusters > 0] == 0).any():
            return False
        each = np.divide(clusters, total, out=np.zeros(problem.sites), where=total > 0)
        load = np.bincount(problem.pool, weights=of_pair * each[problem.site], minlength=problem.pools)
        if (load <= room * (1 - 1e-9)).all():
            return True
        weight *= np.divide(room, load, out=np.zeros(problem.pools), where=load > 0)
    return False


def max_load(problem: Problem, clusters: Ints, room: Ints) -> int:
    """Return the most clusters that pools of ``room`` (P,) can take when site s brings ``clusters[s]`` (S,)."""
    sites, pools = problem.sites, problem.pools
    source, sink = sites + pools, sites + pools + 1
    tail = np.concatenate((np.full(sites, source), problem.site, sites + np.arange(pools)))
    head = np.concatenate((np.arange(sites), sites + problem.pool, np.full(pools, sink)))
    most = np.concatenate((clusters, clusters[problem.site], np.minimum(room, clusters.sum())))
    graph = csr_array(coo_array((most.astype(np.int32), (tail, head)), shape=(sink + 1, sink + 1)))
    return int(maximum_flow(graph, source, sink).flow_value)
