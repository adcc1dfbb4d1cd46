"""Sets of sites against the loss of one host: what they force is never above the best of all plans, and mostly it."""

import functools

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings

from planner.sizing import plan
from planner.sizing.cover.host_loss_cuts import force_hosts
from planner.sizing.cover.loss_conditions import loss_conditions
from planner.sizing.cover.losses import read_losses
from planner.sizing.host_counts.certificate import host_model
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.hall_conditions import hall_conditions
from planner.sizing.instance.classes import group
from planner.sizing.six_sites import problem_of
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.verify import verify_proof
from tests.benchmarks import generated
from tests.how_many import mostly
from tests.sizing.test_cover_brute_force import as_fleet, brute_force, cases


def conditions_of(problem, fleet):
    classes = group(problem, by_weight=False)
    plain = hall_conditions(problem, classes)
    return [*plain, *loss_conditions(problem, classes, read_losses(fleet, problem), len(plain))]


@pytest.mark.parametrize("together", [False, True], ids=["single", "kept_together"])
def test_what_sets_force_is_never_above_the_best_of_all_plans(make, together, examples):
    met = [0, 0]

    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases("host", together=together))
    def check(case):
        case["kept"] = [False] * len(case["rtt"])
        fleet = as_fleet(make, case)
        problem = problem_of(fleet)
        _, served, covered, hosts = brute_force(case)
        can = read_losses(fleet, problem).coverable_sites(problem)
        everybody = problem.sites == len(case["rtt"]) and served == sum(case["weight"])
        assume(everybody and covered == sum(np.array(case["weight"])[problem.site_at][can]))
        forcing = force_hosts(problem, conditions_of(problem, fleet), [], 99.0, SolveBudget())
        assert forcing.bound <= hosts
        again = solve_arrays(host_model(problem, forcing.rows, whole=True), SolveBudget())
        assert round(again.outcome.objective) == forcing.bound
        met[0] += 1
        met[1] += forcing.bound == hosts

    check()
    assert mostly(met[1], met[0], 0.7)


@pytest.mark.parametrize("together", [False, True], ids=["single", "kept_together"])
def test_proofs_of_small_fleets_hold_when_they_are_counted_again(make, together, examples):
    proven = []

    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases("host", together=together))
    def check(case):
        fleet = as_fleet(make, case)
        result = plan(fleet)
        checked = verify_proof(fleet, result)
        assert checked.verdict != "broken", checked.words
        if result.proof.kind in ("counting", "search"):
            assert checked.verdict == "proof", checked.words
        if result.hosts > 1 and not result.uncovered:
            proven.append(checked.verdict == "proof")

    check()
    assert mostly(sum(proven), len(proven), 0.7)


def test_sets_of_each_lost_host_force_more_than_those_of_the_smallest():
    build = functools.partial(generated.few_hubs, mixed_caps=True, kept=True)
    fleet = generated.standing_by("60x5", build=build, loss="host")
    problem = problem_of(fleet)
    conditions = conditions_of(problem, fleet)
    plain = len(hall_conditions(problem, group(problem, by_weight=False)))
    smallest = search_counts(problem, group(problem, by_weight=False), SolveBudget(), more=conditions[plain:])
    forcing = force_hosts(problem, conditions, [], 99.0, SolveBudget())
    result = plan(fleet)
    assert smallest.objective_bound < forcing.bound == result.hosts
    assert result.proof.kind == "search"
    assert any(each["lost_pool"] for each in result.proof.details["sets"])
    assert verify_proof(fleet, result).verdict == "proof"
