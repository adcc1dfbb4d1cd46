"""The planner itself: the whole plan from a Fleet, and the count alone."""

from __future__ import annotations

from planner.fleet import Fleet
from planner.sizing import plan
from planner.sizing.host_counts.fewest_hosts import size
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from tests.benchmarks.engines.answer import Answer


def solve_plan(fleet: Fleet, seconds: float, *, thorough: bool = False) -> Answer:
    """Return the answer of `planner.sizing.plan`."""
    made = plan(fleet, time_limit=seconds, thorough=thorough)
    proven = made.lower_bound >= made.objective_value and bool(made.proof.details.get("most_weight_proven", True))
    lacking = ((made.unserved, "unserved"), (made.uncovered, "without a standby"))
    note = "; ".join(f"{len(sites)} sites {word}" for sites, word in lacking if sites)
    gaps = [(aim.value - aim.bound) / aim.value for aim in made.then if aim.aim == "latency" and aim.value]
    return Answer(made.objective_value, made.lower_bound, proven, note, made, *gaps)


def solve_count(problem: Problem, seconds: float) -> Answer:
    """Return the answer of `fewest_hosts.size`: how many hosts of each pool, and the bound."""
    sized = size(problem, SolveBudget(seconds=seconds))
    return Answer(sized.value, sized.bound, sized.weight_proven and sized.bound >= sized.value)
