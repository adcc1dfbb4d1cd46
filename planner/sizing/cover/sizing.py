"""How many hosts of each pool when a loss must be survived.

Two engines. Where host counts alone decide, the cut search with a layer for each loss gives a lower bound and counts
that meet every layer; the flow model with these counts then has to find homes that every loss leaves room for. Where
it cannot, or something else decides too, the flow model chooses the counts as well.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Sequence

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.counts import Sized, all_fit, counts_decide, finish, minimise, objective_value
from planner.sizing.cover.homes import HomeSearch
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.model import CoverModel, later_costs
from planner.sizing.cover.scenarios import scenario_layers
from planner.sizing.greedy import greedy_counts
from planner.sizing.layers import layers
from planner.sizing.model import Counts
from planner.sizing.problem import Classes, Problem, group
from planner.sizing.search import search_counts
from planner.sizing.solver import Effort

_MOST_ARCS = 30_000  # up to here the flow model is asked where something else than host counts decides
_MOST_ADDED = 12  # hosts
_FEW_ARCS = 3_000  # up to here a model closes what search and homes leave open, and chooses homes among equals
_MODEL_SECONDS = 120.0  # for that, at most


def size_covered(
    problem: Problem,
    losses: Losses,
    stays: Bools,
    then: Sequence[str],
    effort: Effort,
    reference: Floats | None = None,
) -> Sized:
    """Return counts and homes of every class such that every loss in ``losses`` finds room elsewhere.

    Aims: most weight served, most weight of sites with cover, the policy's objective, then moves and latency as
    ``then`` orders them. ``stays`` (E,) marks the pairs that keep a site where it is today.
    """
    apart = _today(problem, stays)
    if problem.sites and all_fit(problem):
        classes = group(problem, by_weight=False, apart=apart)
        sized = None
        if counts_decide(problem):
            sized = _by_search(problem, classes, losses, stays, then, effort, reference)
        elif len(classes.pool) <= _MOST_ARCS:
            sized = _by_model(
                CoverModel(problem, classes, losses, serve_all=True, cover_all=True), stays, then, _own(effort)
            )
        if sized is not None:
            return sized
    return _by_worth(problem, group(problem, by_weight=True, apart=apart), losses, stays, then, _own(effort))


def _today(problem: Problem, stays: Bools) -> Ints:
    """Return for each site the pool that it stays on if it does not move, -1 for none or several, shape (S,)."""
    today = np.full(problem.sites, -1, dtype=np.int64)
    once = np.bincount(problem.site[stays], minlength=problem.sites) == 1
    mine = stays & once[problem.site]
    today[problem.site[mine]] = problem.pool[mine]
    return today


def _by_search(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    stays: Bools,
    then: Sequence[str],
    effort: Effort,
    reference: Floats | None,
) -> Sized | None:
    """Serve and cover everybody with the counts that the cut search finds, or with a few hosts more."""
    more = scenario_layers(problem, classes, losses, len(layers(problem, classes)))
    search = search_counts(problem, classes, effort, reference, more)
    if search.best is None and np.isinf(search.bound):
        return None
    bound, hosts, found = search.objective_bound, search.best, None
    near: tuple[Ints, Floats] | None = None
    word = "cuts and plan meet"
    for _ in range(_MOST_ADDED + 1):
        if hosts is None or effort.spent:
            break
        trial = HomeSearch(problem, classes, losses, hosts, effort).run()
        if trial.homes is not None:
            met = search.closed and hosts is search.best
            found = _sized(problem, classes, losses, hosts, trial.homes, met, bound, word, stays, then, effort)
            break
        near = near if trial.near is None else (hosts, trial.near)
        room = np.where(hosts < problem.max_hosts, trial.short, 0.0)
        hosts = hosts + (np.arange(problem.pools) == np.argmax(room)) if room.any() else None
        word = "hosts were added for want of homes"
    if (found is None or found.value > bound) and len(classes.pool) <= _FEW_ARCS and not effort.spent:
        model = CoverModel(problem, classes, losses, serve_all=True, cover_all=True)
        model.at_least(problem.objective, bound)
        better = _by_model(model, stays, then, _own(effort), bound)
        found = better or found
    if found is None and near is not None:
        found = _sized(problem, classes, losses, *near, False, bound, "some losses find no room", stays, then, effort)
    return found


def _own(effort: Effort) -> Effort:
    """Return an effort that ends with ``effort``, and after `_MODEL_SECONDS` at the latest."""
    left = _MODEL_SECONDS if effort.left is None else min(_MODEL_SECONDS, effort.left)
    return dataclasses.replace(effort, seconds=left, started=time.monotonic())


def _sized(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    hosts: Ints,
    homes: Floats,
    proven: bool,
    bound: float,
    word: str,
    stays: Bools,
    then: Sequence[str],
    effort: Effort,
) -> Sized:
    """Return homes that were found, in a small fleet replaced by those of least moves and latency."""
    none = np.zeros(classes.count, dtype=np.int64)
    counts = Counts(hosts, homes, none, none)
    if len(classes.pool) <= _FEW_ARCS:
        model = CoverModel(problem, classes, losses, serve_all=True, cover_all=True, hosts=hosts)
        counts = _nicest(model, counts, stays, then, effort)
    value = objective_value(problem, classes, counts)
    return Sized(classes, counts, value, value if proven and value <= bound else min(bound, value), True, word)


def with_one_host_more(
    problem: Problem, losses: Losses, sized: Sized, stays: Bools, then: Sequence[str], effort: Effort
) -> Sized | None:
    """Return homes for the counts of ``sized`` and one host in the pool whose sites would fill it most.

    None where there are none, or not all are served.
    """
    classes = sized.classes
    if effort.spent or sized.counts.unserved.any() or sized.counts.own.any() or sized.uncovered:
        return None
    hosts = sized.counts.hosts
    load = np.bincount(classes.pool, weights=(classes.demand * classes.items)[classes.of_arc], minlength=problem.pools)
    wanted = np.where(hosts < problem.max_hosts, load / np.maximum(1, losses.room * (hosts + 1)), 0.0)
    if not wanted.any():
        return None
    hosts = hosts + (np.arange(problem.pools) == np.argmax(wanted))
    homes = HomeSearch(problem, classes, losses, hosts, effort).run().homes
    if homes is None:
        return None
    word = "a host was added for want of standbys"
    return _sized(problem, classes, losses, hosts, homes, False, sized.bound, word, stays, then, effort)


def _by_model(
    model: CoverModel, stays: Bools, then: Sequence[str], effort: Effort, known_bound: float = 0.0
) -> Sized | None:
    """Serve and cover everybody by the flow model."""
    outcome, counts = minimise(model, model.problem.objective, effort)
    if counts is None:
        return None
    sized = finish(model, counts, outcome, effort, weight_proven=True, known_bound=known_bound)
    return dataclasses.replace(sized, counts=_nicest(model, sized.counts, stays, then, effort))


def _by_worth(
    problem: Problem, classes: Classes, losses: Losses, stays: Bools, then: Sequence[str], effort: Effort
) -> Sized:
    """Serve the greatest weight, then cover the greatest weight, then the objective."""
    model = CoverModel(problem, classes, losses, serve_all=False, cover_all=False)
    served, counts = minimise(model, "unserved_weight", effort)
    if counts is None:
        counts = greedy_counts(problem, classes)
        return Sized(classes, counts, objective_value(problem, classes, counts), 0.0, False, served.word)
    model.settle("unserved_weight", float(counts.unserved @ classes.weight))
    covered, better = minimise(model, "uncovered_weight", effort)
    if better is not None:
        counts = better
        model.settle("uncovered_weight", model.uncovered_weight(counts))
    outcome, better = minimise(model, problem.objective, effort)
    if covered.state != "optimal":
        outcome = dataclasses.replace(outcome, state="feasible" if better is not None else "unsolved")
    sized = finish(model, better or counts, outcome, effort, weight_proven=served.state == "optimal")
    uncovered = int(sum(model.uncovered[a] * classes.weight[classes.of_arc[a]] for a in model.w))
    return dataclasses.replace(sized, counts=_nicest(model, sized.counts, stays, then, effort), uncovered=uncovered)


def _nicest(model: CoverModel, counts: Counts, stays: Bools, then: Sequence[str], effort: Effort) -> Counts:
    """Return the counts of least moves and latency, in the order of ``then``, of all that are as good so far."""
    for cost in later_costs(model.problem, model.classes, stays, then):
        better = model.choose_arcs(cost, effort)
        if better is None:
            break
        counts = better
    return counts
