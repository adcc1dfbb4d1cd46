"""The best host counts among the fewest: swaps of single hosts, proposed by a relaxation and judged by a flow."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from itertools import islice

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.aims import PairAim, aim_of
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import PairCost, Placement
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.as_good import AsGood
from planner.sizing.tie_breaks.branch_and_bound import EpsilonConstraint, LocationModel, strong_bound
from planner.sizing.tie_breaks.flow_evaluator import FlowEvaluator
from planner.sizing.tie_breaks.lagrangian import LagrangianRelaxation, Priced
from planner.sizing.tie_breaks.lexicographic import placed
from planner.sizing.tie_breaks.moves_over_counts import most_staying

# Work is fixed by counting pairs, not seconds, so that runs repeat.
_CLIMB_WORK = 60_000_000  # pairs that all subgradient rounds together may look at
_FEWEST_ROUNDS, _MOST_ROUNDS = 20, 300  # the bound moves little after that many
_FLOW_WORK = 4_000_000  # pairs that all flows together may look at
_FEWEST_FLOWS, _MOST_FLOWS = 2, 200
_PATIENCE = 60  # swaps in a row that are worse before no more are tried: those to come promise less
_TREE_WORK = 15_000_000  # pairs times steps of the simplex method
_THOROUGH = 10  # times the work, and ten times that for the tree


def improve(
    case: Case, sized: Sized, budget: SolveBudget, *, thorough: bool
) -> tuple[Sized, dict[TieBreak, float], Placement]:
    """Return counts of as many hosts that do better on the first later aims, bounds on these, and the placement.

    Only moves and latency before any other aim are improved here, and only where hosts are the objective and
    all sites are served; otherwise the hosts are those of ``sized`` and there are no bounds.
    """
    problem, incumbent = case.problem, case.incumbent
    aims = _leading_costs(case)
    if not aims or problem.sites == 0:
        return sized, {}, placed(problem, sized, incumbent, case.tie_breaks)
    began = time.monotonic()
    now = placed(problem, sized, incumbent, aims)
    flow_seconds = time.monotonic() - began
    times = _THOROUGH if thorough else 1
    budget.tell("moves and round trips", sized.value, sized.bound)
    looks = _looks(problem) * times
    evaluator = FlowEvaluator(case.by(aims), sized, now, looks, budget)
    evaluator.flow_seconds = flow_seconds
    if whole(problem, sized):
        evaluator.try_counts(sized.counts.hosts)  # what stays together may go elsewhere
    searched = comparable(problem, sized) and not evaluator.spent
    bounds = _searched(evaluator, times) if searched else {}
    return evaluator.sized, bounds, _finished(case, evaluator)


def _searched(evaluator: FlowEvaluator, times: int) -> dict[TieBreak, float]:
    """Let the judge look at counts that may be better, ``times`` as many as usual; return bounds on its aims."""
    problem = evaluator.problem
    aims, hosts = evaluator.aims, int(evaluator.sized.value)
    costs = evaluator.costs  # of staying in a pool: no more than of staying on a host, so that bounds hold for both
    least = _fewest_moves(evaluator, times)
    proven = least is not None and evaluator.values[0] <= least
    settled = 1 if proven else 0  # aims that need no more search
    affordable = _CLIMB_WORK * times / max(1, len(problem.pool))
    rounds = int(np.clip(affordable, _FEWEST_ROUNDS, _MOST_ROUNDS))
    climbs = []
    for cost, value in zip(costs[settled:], evaluator.values[settled:], strict=True):
        relaxation = LagrangianRelaxation(problem, cost.values, hosts)
        climbs.append(relaxation.climb(value, rounds, evaluator.budget))
    for best, met in climbs:
        for counts in (best.hosts, *met[-3:]):
            evaluator.try_counts(counts)
    for best, _ in climbs:
        _swap(evaluator, best, _PATIENCE * times)
    work = _TREE_WORK * times**2
    sharp = _sharper(evaluator, costs, settled, work, least or 0.0)
    relaxed = [best.bound for best, _ in climbs]
    better = map(max, relaxed, sharp)
    bounds = dict(zip(aims[settled:], better, strict=True))
    if aims[0] == "moves":  # they are whole
        whole_moves = np.ceil(bounds.get("moves", 0.0) - 1e-6)
        in_pools = max(least or 0.0, float(whole_moves))
        bounds["moves"] = in_pools - evaluator.first_served
    return bounds


def _fewest_moves(evaluator: FlowEvaluator, times: int) -> float | None:
    """Return a bound on moves, where these come first, and let the judge look at the counts that have as few.

    From then on the judge takes nobody for staying whose host does not run on there. Sites without a host today move.
    """
    if evaluator.aims[0] != "moves":
        return None
    problem = evaluator.problem
    sized = evaluator.sized
    most = int(sized.counts.hosts.sum())
    as_good = AsGood(float(most), most, 0, 0, 0, 0.0, sized.cuts or ())
    found = most_staying(evaluator.case, sized.classes, as_good, evaluator.budget, times=times)
    if found is None:
        return None
    if found.counts is not None:
        evaluator.stay_only(found.keeps)
        multi_cluster = sized.classes.arc_multi_cluster
        flow = np.where(multi_cluster, np.rint(found.counts.flow), 0)
        hosts = _filled(problem, found.counts.hosts, most)
        evaluator.try_flow(hosts, flow.astype(np.int64))
    return found.moves + evaluator.first_served


def _filled(problem: Problem, hosts: Ints, most: int) -> Ints:
    """Return ``hosts`` (P,) with as many as ``most``, the largest first, though nobody needs them."""
    hosts = hosts.copy()
    spare = most - int(hosts.sum())
    for p in np.argsort(-problem.caps, kind="stable").tolist():
        fit = int(problem.max_hosts[p] - hosts[p])
        more = min(spare, fit)
        hosts[p] += more
        spare -= more
    return hosts


def _sharper(evaluator: FlowEvaluator, costs: Sequence[PairCost], settled: int, work: int, least: float) -> list[float]:
    """Return bounds by branch and bound on ``costs`` after those ``settled``; the judge may meet better counts."""
    problem = evaluator.problem
    bounds, hosts = [], int(evaluator.sized.value)
    for level in range(settled, len(costs)):
        # More sites can have to move than leave their pool, and the plan at hand may yet do so.
        moves = max(evaluator.values[0], least)
        allowed = [moves, *evaluator.values[1:]]
        before = list(map(EpsilonConstraint, costs[:level], allowed))

        def judged(counts: Ints, shares: Floats | None, level: int = level) -> float:
            evaluator.try_counts(counts, shares)
            return evaluator.values[level]

        model = LocationModel(problem, costs[level], hosts, before, cuts=evaluator.sized.cuts or ())
        bounds.append(strong_bound(model, judged, work, evaluator.budget))
    return bounds


def _finished(case: Case, evaluator: FlowEvaluator) -> Placement:
    """Return the placement by all aims of ``case``: that of the judge, where its aims are all that count."""
    counting = [name for name in case.tie_breaks if aim_of(name).applies(case.incumbent)]
    if tuple(counting) == evaluator.aims:
        return evaluator.placement
    return placed(case.problem, evaluator.sized, case.incumbent, case.tie_breaks)


def _leading_costs(case: Case) -> tuple[TieBreak, ...]:
    """Return the aims before the first that is not a cost; moves only where there is something to keep."""
    leading: list[TieBreak] = []
    for name in case.tie_breaks:
        aim = aim_of(name)
        if not isinstance(aim, PairAim):
            break
        if aim.applies(case.incumbent):
            leading.append(name)
    return tuple(leading)


def whole(problem: Problem, sized: Sized) -> bool:
    """Say whether shared hosts serve every site, and other places at as many hosts cost nothing."""
    elsewhere = sized.counts.unserved.any() or sized.counts.own.any()
    return problem.objective != "cost" and not elsewhere and problem.flows


def comparable(problem: Problem, sized: Sized) -> bool:
    """Say whether plans of as many hosts serve the same sites at the same value."""
    by_hosts = problem.objective == "hosts"
    return by_hosts and whole(problem, sized) and sized.value >= 1


def _looks(problem: Problem) -> int:
    affordable = _FLOW_WORK / max(1, len(problem.pool))
    return int(np.clip(affordable, _FEWEST_FLOWS, _MOST_FLOWS))


def _swap(evaluator: FlowEvaluator, priced: Priced, patience: int) -> None:
    """Move one host at a time while that helps, the ``patience`` moves that the relaxation thinks most of first."""
    while not evaluator.spent:
        for hosts in islice(_proposals(evaluator.problem, evaluator.sized.counts.hosts, priced), patience):
            if evaluator.try_counts(hosts):
                break
            if evaluator.spent:
                return
        else:
            return


def _proposals(problem: Problem, hosts: Ints, priced: Priced) -> Iterator[Ints]:
    pools = np.arange(problem.pools)
    worth = np.where(np.isfinite(priced.worth), priced.worth, 0.0)
    last = np.maximum(hosts - 1, 0)
    following = np.minimum(hosts, worth.shape[1] - 1)
    lost = worth[pools, last]
    loss = np.where(hosts > 0, -lost, np.inf)
    won = worth[pools, following]
    gain = np.where(hosts < problem.max_hosts, won, np.inf)
    change = loss[:, None] + gain[None, :]
    np.fill_diagonal(change, np.inf)
    for at in np.argsort(change, axis=None, kind="stable").tolist():
        giver, taker = divmod(at, problem.pools)
        if not np.isfinite(change[giver, taker]):
            return
        swapped = hosts.copy()
        swapped[giver] -= 1
        swapped[taker] += 1
        yield swapped
