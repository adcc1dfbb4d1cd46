"""How many hosts of each pool: aims in order, packing made exact, and a bound that holds.

Aims: most weight served, then the policy's objective, then what decides among equals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import maximum_flow

from planner.fleet import Floats, Ints
from planner.sizing.core import solve_core
from planner.sizing.greedy import greedy_counts
from planner.sizing.layers import Cut
from planner.sizing.model import Aim, Counts, FlowModel
from planner.sizing.packing import pack
from planner.sizing.problem import Classes, Problem, group
from planner.sizing.realise import realise
from planner.sizing.search import search_counts
from planner.sizing.solver import Effort, Outcome

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
    uncovered: int = 0  # weight of sites without standby, where the policy asks for cover


def size(problem: Problem, effort: Effort, reference: Floats | None = None) -> Sized:
    """Return the fewest hosts (or the least of the policy's objective) with a bound; the best found if time ends.

    ``reference`` (P,) chooses among equals: host counts near it, see `planner.sizing.search.spread`.
    """
    if problem.sites == 0:
        none = np.zeros(0, dtype=np.int64)
        classes = group(problem, by_weight=False)
        counts = Counts(np.zeros(problem.pools, dtype=np.int64), np.zeros(0), none, none)
        return Sized(classes, counts, 0.0, 0.0, True, "nothing to serve")
    if all_fit(problem):
        classes = group(problem, by_weight=False)
        sized = (
            _by_cuts(problem, classes, effort, reference)
            if counts_decide(problem)
            else _by_flow(problem, classes, effort)
        )
        if sized is not None:
            return sized
        # Infeasible because of packing, or no plan in time: fall through to serving what can be served.
    classes = group(problem, by_weight=True)
    model = FlowModel(problem, classes, serve_all=False)
    served, found = minimise(model, "unserved_weight", effort)
    if found is None:
        counts = greedy_counts(problem, classes)
        return Sized(classes, counts, objective_value(problem, classes, counts), 0.0, False, served.word)
    model.settle("unserved_weight", float(found.unserved @ classes.weight))
    outcome, better = minimise(model, problem.objective, effort)
    return finish(model, better or found, outcome, effort, weight_proven=served.state == "optimal")


def counts_decide(problem: Problem) -> bool:
    """Say whether host counts alone settle the objective: no own tie-breakers, no pair costs, no tight uplinks."""
    priced = problem.objective == "cost" and problem.pair_cost.any()
    return not priced and not problem.uplinks_bind and not np.isfinite(problem.own_cost).any()


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
            tuple(search.cuts),
        )
    model = FlowModel(problem, classes, serve_all=True)
    model.at_least(problem.objective, bound)
    outcome, found = minimise(model, problem.objective, effort)
    return None if found is None else finish(model, found, outcome, effort, weight_proven=True, known_bound=bound)


def _by_flow(problem: Problem, classes: Classes, effort: Effort) -> Sized | None:
    """Serve everybody by the flow model, where it is only about costs of hosts and pairs by its core."""
    plain = not problem.uplinks_bind and not np.isfinite(problem.own_cost).any()
    if problem.objective == "cost" and plain and effort.engine == "highs":
        solved = solve_core(problem, classes, effort)
        if solved is not None and not _unpacked(problem, classes, solved[1], effort):
            outcome, counts = solved
            value = objective_value(problem, classes, counts)
            bound = value if outcome.state == "optimal" else min(value, outcome.bound)
            return Sized(classes, counts, value, bound, True, outcome.word)
    model = FlowModel(problem, classes, serve_all=True)
    outcome, found = minimise(model, problem.objective, effort)
    return None if found is None else finish(model, found, outcome, effort, weight_proven=True)


def finish(
    model: FlowModel, counts: Counts, outcome: Outcome, effort: Effort, *, weight_proven: bool, known_bound: float = 0.0
) -> Sized:
    """Settle the objective and let a last aim choose among equals."""
    problem = model.problem
    value = objective_value(problem, model.classes, counts)
    bound = value if outcome.state == "optimal" else min(value, max(known_bound, _rounded(problem, outcome.bound)))
    last: list[Aim] = []
    if problem.objective == "new_hosts":
        last.append("hosts")
    if problem.objective != "cost" and model.o:
        last.append("own_cost")
    model.settle(problem.objective, value)
    for aim in last:
        _, better = minimise(model, aim, effort)
        counts = better or counts
        model.settle(aim, objective_value(problem, model.classes, counts, aim))
    return Sized(model.classes, counts, value, bound, weight_proven, outcome.word)


def minimise(model: FlowModel, aim: Aim, effort: Effort) -> tuple[Outcome, Counts | None]:
    """Minimise ``aim``, adding exact packing rows to each pool whose items turn out not to pack."""
    while True:
        outcome, counts = model.solve(aim, effort)
        if counts is None:
            return outcome, None
        unpacked = _unpacked(model.problem, model.classes, counts, effort)
        if not unpacked:
            return outcome, counts
        if effort.spent or unpacked <= model.packed:
            # No time to make it exact: what was solved is a bound, not a plan.
            return Outcome("unsolved", outcome.word, bound=outcome.bound), None
        for p in unpacked - model.packed:
            model.pack_pool(p)


def _unpacked(problem: Problem, classes: Classes, counts: Counts, effort: Effort) -> set[int]:
    """Return the pools whose items do not go into their hosts."""
    pools: dict[int, list[int]] = {}
    for arc in np.flatnonzero(classes.heavy[classes.of_arc] & (counts.flow > 0.5)):
        copies = int(counts.flow[arc])
        pools.setdefault(int(classes.pool[arc]), []).extend([int(classes.items[classes.of_arc[arc]])] * copies)
    return {
        p for p, sizes in pools.items() if pack(sizes, int(counts.hosts[p]), int(problem.caps[p]), effort).bins is None
    }


def objective_value(problem: Problem, classes: Classes, counts: Counts, aim: Aim | None = None) -> float:
    """Recompute an aim (the objective by default) from the counts: the solver's 17.999999999999993 hosts are 18."""
    own = float(np.where(counts.own > 0, classes.own_cost, 0.0) @ counts.own)
    match aim or problem.objective:
        case "hosts":
            return float(counts.hosts.sum())
        case "new_hosts":
            return float(np.maximum(0, counts.hosts - problem.existing).sum())
        case "own_cost":
            return own
        case _:
            hosts = float(np.where(counts.hosts > 0, problem.host_cost, 0.0) @ counts.hosts)
            return hosts + float(classes.cost @ counts.flow) + own


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
