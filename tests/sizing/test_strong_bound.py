"""The sharper bound on a later aim: equal to brute force on small fleets, to the straight model in HiGHS on larger."""

import itertools

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp
from scipy.sparse import coo_array, csr_array, diags_array, hstack, vstack

from planner.rules import Checker
from planner.sizing import plan
from planner.sizing.cover import exact_aims
from planner.sizing.instance.problem import build_problem
from planner.sizing.solution.placement import PairCost
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks import swap_search as location
from planner.sizing.tie_breaks.branch_and_bound import EpsilonConstraint, LocationModel, strong_bound
from planner.sizing.tie_breaks.lagrangian import LagrangianRelaxation
from tests.how_many import seeds

CAP = 3


def random_fleet(make, seed, sites=7, hubs=4, cap=CAP):
    rng = np.random.default_rng(seed)
    rtt = np.round(rng.uniform(5, 75, (sites, hubs)), 1)
    rtt[np.arange(sites), rng.integers(hubs, size=sites)] = 20.0
    return make.fleet(rtt, cluster_cap=cap)


def read(fleet):
    problem = build_problem(fleet, Checker(fleet))
    costs = np.full((problem.sites, problem.pools), np.inf)
    costs[problem.site, problem.pool] = problem.rtt_ms
    return problem, costs


def least(costs, counts):
    """Return the least total of one seat for each site, by the Hungarian method (scipy); inf if they do not fit."""
    seats = np.repeat(costs, np.asarray(counts) * CAP, axis=1)
    try:
        rows, columns = linear_sum_assignment(seats)
    except ValueError:  # no way to seat all
        return np.inf
    return float(seats[rows, columns].sum()) if len(rows) == len(costs) else np.inf


def best_of_all(costs, hosts):
    every = itertools.product(range(hosts + 1), repeat=costs.shape[1])
    return min(least(costs, counts) for counts in every if sum(counts) == hosts)


def never(_hosts, _shares):
    return np.inf


def bound_of(problem, hosts, evaluator=never, before=(), work=10**9, budget=None):
    model = LocationModel(problem, PairCost(problem.rtt_ms, 1e-3), hosts, before)
    return strong_bound(model, evaluator, work, budget or SolveBudget())


@pytest.mark.parametrize("seed", seeds(20, 40))
def test_without_a_plan_at_hand_it_is_the_optimum(make, seed):
    problem, costs = read(random_fleet(make, seed))
    hosts = -(-problem.sites // CAP) + seed % 2
    wanted = best_of_all(costs, hosts)
    bound = bound_of(problem, hosts)
    assert bound == pytest.approx(wanted, abs=1e-5)


@pytest.mark.parametrize("seed", seeds(20, 40))
def test_counts_that_it_asks_about_make_the_plan_best_and_the_bound_meets_it(make, seed):
    problem, costs = read(random_fleet(make, seed))
    hosts = -(-problem.sites // CAP) + seed % 2
    asked = []

    def evaluator(counts, _shares):
        assert counts.sum() == hosts
        asked.append(least(costs, counts))
        return min(asked)

    bound = bound_of(problem, hosts, evaluator=evaluator)
    assert min(asked) == pytest.approx(best_of_all(costs, hosts), abs=1e-6)
    assert min(asked) - 1.1e-3 <= bound <= min(asked) + 1e-5


@pytest.mark.parametrize("seed", seeds(10, 20))
def test_an_aim_that_comes_before_holds(make, seed):
    """The least total RTT of those that leave the hosts of a second cost no more than it must be."""
    problem, costs = read(random_fleet(make, seed))
    hosts = -(-problem.sites // CAP)
    away = np.random.default_rng(seed).integers(2, size=len(problem.pool)).astype(float)
    before = np.full_like(costs, np.inf)
    before[problem.site, problem.pool] = away
    fewest = best_of_all(before, hosts)
    # Moves count a thousand times more than all RTT together, so their least comes first.
    both = best_of_all(costs + 1000 * before, hosts) - 1000 * fewest
    bound = bound_of(problem, hosts, before=[EpsilonConstraint(PairCost(away, 1.0), fewest)])
    assert bound == pytest.approx(both, abs=1e-3)


def straight(problem, hosts):
    """Return the optimum of the model without x <= n, by branch and bound of scipy's milp."""
    pairs, pools = len(problem.pool), problem.pools
    each = np.arange(pairs)
    site = csr_array((np.ones(pairs), (problem.site, each)), shape=(problem.sites, pairs))
    load = coo_array((np.ones(pairs), (problem.pool, each)), shape=(pools, pairs))
    matrix = vstack(
        (
            hstack((csr_array((problem.sites, pools)), site)),
            hstack((diags_array(-problem.caps.astype(float)), load)),
            hstack((csr_array(np.ones((1, pools))), csr_array((1, pairs)))),
        )
    )
    lower = np.concatenate((np.ones(problem.sites), np.full(pools, -np.inf), [hosts]))
    upper = np.concatenate((np.ones(problem.sites), np.zeros(pools), [hosts]))
    found = milp(
        np.concatenate((np.zeros(pools), problem.rtt_ms)),
        integrality=np.concatenate((np.ones(pools), np.zeros(pairs))),
        bounds=Bounds(0, np.concatenate((problem.max_hosts, np.ones(pairs)))),
        constraints=LinearConstraint(matrix, lower, upper),
        options={"mip_rel_gap": 0.0},
    )
    assert found.success
    return found.fun


@pytest.mark.parametrize("seed", range(4))
def test_more_sites_against_the_straight_model(make, seed):
    fleet = random_fleet(make, seed, sites=120, hubs=12, cap=16)
    result = plan(fleet, thorough=True)
    problem, _ = read(fleet)
    (latency,) = result.then
    assert latency.proven
    assert latency.value == pytest.approx(straight(problem, result.hosts), abs=2e-3)


def test_work_that_ends_early_leaves_a_lower_bound_and_says_so(make, monkeypatch):
    for model in ("_MOST_HOMES", "_MOST_VARIABLES"):  # which would prove it without the bound
        monkeypatch.setattr(exact_aims, model, 0)
    fleet = random_fleet(make, 1, sites=120, hubs=12, cap=16)
    whole = plan(fleet, thorough=True).then[0]
    problem, _ = read(fleet)
    little = problem.sites * len(problem.pool)
    monkeypatch.setattr(location, "_TREE_WORK", 0)
    root = bound_of(problem, 8, work=little)
    assert bound_of(problem, 8, work=little - 1) == 0
    assert 0 < root < whole.bound
    cut_short = plan(fleet, thorough=True).then[0]
    assert cut_short.bound < whole.bound <= whole.value <= cut_short.value
    assert not cut_short.proven


def test_no_time_gives_no_bound(make):
    problem, _ = read(random_fleet(make, 1))
    assert bound_of(problem, 3, budget=SolveBudget(seconds=0.0)) == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_the_relaxation_at_given_prices_is_what_hosts_one_by_one_are_worth(make, seed):
    """Every host of a pool takes the next sites of least price, and as many hosts run as are worth most."""
    problem, costs = read(random_fleet(make, seed, sites=12))
    hosts, prices = 4, np.random.default_rng(seed).uniform(0, 60, problem.sites)
    found = LagrangianRelaxation(problem, problem.rtt_ms, hosts).price(prices)
    worth = []
    for pool in range(problem.pools):
        left = np.sort(costs[:, pool] - prices)
        left = left[left < 0]
        worth += [left[CAP * k : CAP * (k + 1)].sum() for k in range(min(hosts, int(problem.max_hosts[pool])))]
    assert found.bound == pytest.approx(prices.sum() + np.sort(worth)[:hosts].sum())
    assert found.hosts.sum() == hosts
