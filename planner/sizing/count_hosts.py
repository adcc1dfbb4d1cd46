"""The count alone: how many hosts it takes and what no plan beats, without who goes where. For sliders and what-ifs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.fleet import Fleet
from planner.plan import Objective, Plan
from planner.rules import Checker
from planner.sizing.asked import asked_limit, refuse_unmodelled
from planner.sizing.assignment.aims_in_order import SecondaryCosts
from planner.sizing.best_plan import best_plan
from planner.sizing.host_counts.fewest_hosts import searchable, size
from planner.sizing.host_counts.too_little_room import count_crowded
from planner.sizing.instance.problem import Problem, build_problem, unlimited
from planner.sizing.solution.counts import Sized
from planner.sizing.solvers.budget import Progress, SolveBudget


@dataclass(frozen=True, slots=True)
class HostCount:
    """The hosts that a plan runs, and what is known of its objective.

    ``objective_value`` and ``lower_bound`` are in the unit of the policy's ``objective``: hosts, new hosts or money.
    The bound holds for plans that serve, and where cover is asked for cover, as much weight. ``unserved`` are the sites
    that need a shared host and get none, ``uncovered`` those without the standby that the policy asks for. ``proven``:
    no plan serves more weight, covers more, nor has a smaller objective.
    """

    hosts: int
    objective: Objective
    objective_value: float
    lower_bound: float
    unserved: int
    proven: bool
    uncovered: int = 0


def count(
    fleet: Fleet,
    *,
    time_limit: float | None = None,
    seed: int = 0,
    watch: Callable[[Progress], bool | None] | None = None,
) -> HostCount:
    """Return how many hosts the best plan of ``fleet`` runs, which is the question of a slider.

    It is that of `planner.plan` without the aims among equals, hosts by name and the proof in words, hundreds of times
    faster where no cover is asked for; with cover it takes a plan. Fleets that differ in their policy alone,
    ``fleet.replace(policy=...)``, share their tables, so that nothing is read twice. ``time_limit``, ``seed``,
    ``watch`` and what is raised are those of `planner.plan`.
    """
    if fleet.policy.cover != "none":
        asked = fleet.replace(policy=fleet.policy.replace(then=""))
        return _of_plan(best_plan(asked, time_limit=time_limit, seed=seed, watch=watch))
    limit = asked_limit(time_limit, seed)
    refuse_unmodelled(fleet)
    budget = SolveBudget(seconds=limit, seed=seed, watch=watch)
    checker = Checker.of(fleet)
    with budget.listening():
        problem = build_problem(fleet, checker)
        crowded = count_crowded(problem, budget)
        sized = crowded or _sized(problem, budget)
    left_out = int(checker.needs_host.sum()) - problem.sites
    if isinstance(sized, Sized):
        hosts, left_out = sized.counts.hosts, left_out + int(sized.counts.unserved.sum())
        proven = sized.weight_proven and sized.bound >= sized.value
    else:
        hosts, left_out = sized.hosts, left_out + sized.left_out
        proven = sized.bound >= sized.value
    return HostCount(int(hosts.sum()), fleet.policy.objective, sized.value, sized.bound, left_out, proven)


def _sized(problem: Problem, budget: SolveBudget) -> Sized:
    """Return the best counts; where the flow model keeps limits that join pools, no less than without them."""
    if not problem.limited or searchable(problem):
        return size(problem, budget)
    free = size(unlimited(problem), budget)
    least = 0.0 if free.counts.unserved.any() else free.bound
    return size(problem, budget, secondary=SecondaryCosts(least))


def _of_plan(made: Plan) -> HostCount:
    return HostCount(
        made.hosts,
        made.objective,
        made.objective_value,
        made.lower_bound,
        len(made.unserved),
        made.proves(made.objective),
        len(made.uncovered),
    )
