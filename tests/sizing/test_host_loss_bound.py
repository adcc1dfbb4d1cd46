"""The bound on hosts against the loss of one host: never above the best of all plans, and at it for most small fleets.

The program of levels is also held against its own meaning: at counts that are given, it is the linear program of pools.
"""

import dataclasses

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings

from planner.sizing import plan
from planner.sizing.cover import covered_plan
from planner.sizing.cover.host_levels import Beside, Conditions, LevelProgram, Window
from planner.sizing.cover.host_loss_bound import HostLossBound
from planner.sizing.cover.host_loss_branch_and_bound import LevelBound
from planner.sizing.cover.losses import read_losses
from planner.sizing.cover.primal_search import pool_relaxation
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.neighbourhoods import Neighbourhoods
from planner.sizing.cover.primal_search.pool_counts import dived_counts
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram
from planner.sizing.six_sites import problem_of
from planner.sizing.solution.prices import search_prices_of
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from tests.benchmarks import generated
from tests.how_many import mostly
from tests.sizing.test_cover_brute_force import as_fleet, brute_force, cases

CLOSE = 1e-6


def ground_of(fleet):
    problem = problem_of(fleet)
    return Ground(problem, read_losses(fleet, problem))


def program_of(ground):
    return PoolProgram(ground, np.ones(ground.problem.sites, dtype=np.bool_), 0)


@pytest.fixture(scope="module")
def few_hubs():
    fleet = generated.few_hubs("60x5", mixed_caps=True, kept=True)
    return ground_of(dataclasses.replace(fleet, policy=dataclasses.replace(fleet.policy, cover="host")))


@pytest.mark.parametrize("together", [False, True], ids=["single", "kept_together"])
def test_bound_is_never_above_the_best_of_all_plans(make, together, examples, monkeypatch):
    """Fleets as small as these have engines of their own, which are left out here."""
    monkeypatch.setattr(covered_plan, "solve_host_by_host", lambda *_: None)
    met = [0, 0]

    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases("host", together=together))
    def check(case):
        fleet = as_fleet(make, case)
        result = plan(fleet)
        make.sound(fleet, result)
        _, served, covered, hosts = brute_force(case)
        assume(make.covered(fleet, result, case["weight"])[:2] == pytest.approx((served, covered)))
        assert result.lower_bound <= hosts + CLOSE
        assert result.hosts >= hosts
        met[0] += 1
        met[1] += result.lower_bound == result.hosts == hosts

    check()
    assert mostly(met[1], met[0], 0.3)


def test_counts_that_are_given_have_room_where_the_program_of_pools_lacks_nothing(few_hubs):
    program, prices = program_of(few_hubs), search_prices_of(few_hubs.problem)
    rng = np.random.Generator(np.random.PCG64(5))
    seen = set()
    for _ in range(30):
        hosts = rng.integers(0, 4, few_hubs.problem.pools)
        lacking = program.solve(hosts, SolveBudget()).lacking
        levels = LevelProgram(program, prices, Window(hosts, hosts))
        answer = solve_arrays(levels.program(), SolveBudget())
        # What single large sites need of a host only the program of levels knows.
        assert answer.outcome.has_solution <= (lacking <= CLOSE)
        seen.add(answer.outcome.has_solution)
    assert seen == {False, True}


def test_bound_of_branch_and_bound_is_the_optimum_of_the_program(few_hubs):
    problem, program = few_hubs.problem, program_of(few_hubs)
    prices = search_prices_of(problem)
    window = Window(np.zeros(problem.pools, dtype=np.int64), problem.max_hosts)
    best = solve_arrays(LevelProgram(program, prices, window).program(), SolveBudget()).outcome.objective
    known = HostLossBound(few_hubs, prices, SolveBudget())
    for conditions in (Conditions.of((), problem.pools), known._known):
        for below in (round(best), round(best) + 3):
            search = LevelBound(LevelProgram(program, prices, window), conditions, float(below), whole=True)
            search.search(10**7, SolveBudget())
            assert search.bound == pytest.approx(best)


def test_branch_and_bound_goes_on_where_it_ended_also_below_a_cheaper_plan(few_hubs):
    problem, program = few_hubs.problem, program_of(few_hubs)
    window = Window(np.zeros(problem.pools, dtype=np.int64), problem.max_hosts)
    levels = LevelProgram(program, search_prices_of(problem), window)
    best = solve_arrays(levels.program(), SolveBudget()).outcome.objective
    search = LevelBound(levels, Conditions.of((), problem.pools), round(best) + 5.0, whole=True)
    seen = [search.bound]
    for below in range(round(best) + 5, round(best) - 1, -1):
        for _ in range(3):
            search.look_below(float(below))
            search.search(40, SolveBudget())
            seen.append(search.bound)
    search.search(10**7, SolveBudget())
    assert seen == sorted(seen)
    assert len(set(seen)) > 2
    assert search.bound == pytest.approx(best)


def test_neighbourhood_in_which_the_rest_stays_gives_counts_with_room(few_hubs):
    problem, program = few_hubs.problem, program_of(few_hubs)
    hosts = np.minimum(problem.max_hosts, 3)
    shares = program.solve(hosts, SolveBudget())
    assert shares.lacking <= CLOSE
    clusters = shares.flow * program.classes.items[program.kind]
    staying = program.kind % 2 == 0
    load = np.bincount(program.home[staying], weights=clusters[staying], minlength=problem.pools)
    sent = np.zeros((problem.pools, problem.pools))
    behind = staying & (program.standby >= 0)
    np.add.at(sent, (program.home[behind], program.standby[behind]), clusters[behind])
    sent /= np.maximum(1, hosts[:, None] - np.eye(problem.pools))
    levels = LevelProgram(program, search_prices_of(problem), Window(hosts, hosts), 0.0, Beside(~staying, load, sent))
    assert solve_arrays(levels.program(), SolveBudget()).outcome.has_solution


def test_cheaper_counts_are_found_near_those_of_plenty(few_hubs):
    problem, program = few_hubs.problem, program_of(few_hubs)
    near = Neighbourhoods(program, search_prices_of(problem), Conditions.of((), problem.pools), 1.0)
    hosts = np.minimum(problem.max_hosts, 3)
    rng = np.random.Generator(np.random.PCG64(2))
    tried = [near.cheaper(hosts, in_vain, rng, SolveBudget()) for in_vain in range(4)]
    found = [counts for counts in tried if counts is not None]
    assert found
    for counts in found:
        assert counts.sum() < hosts.sum()
        assert program.solve(counts, SolveBudget()).lacking <= CLOSE


def test_a_program_that_grows_lacks_what_the_whole_one_lacks_and_dives_as_deep(few_hubs, monkeypatch):
    whole, prices = program_of(few_hubs), search_prices_of(few_hubs.problem)
    monkeypatch.setattr(pool_relaxation, "_MOST_COLUMNS", 0)
    monkeypatch.setattr(pool_relaxation, "_FIRST", 1)
    monkeypatch.setattr(pool_relaxation, "_GAIN", 0.0)
    growing = program_of(few_hubs)
    assert whole.whole
    assert not growing.whole
    few = np.minimum(few_hubs.problem.max_hosts, 1)
    lacking = [program.solve(few, SolveBudget()).lacking for program in (whole, growing)]
    assert lacking[0] == pytest.approx(lacking[1], abs=1e-4)
    assert lacking[0] > 0
    hosts = np.minimum(few_hubs.problem.max_hosts, 3)
    for program in (whole, growing):
        counts = dived_counts(program, hosts, prices, SolveBudget())
        assert counts.sum() < hosts.sum()
        assert whole.solve(counts, SolveBudget()).lacking <= CLOSE
