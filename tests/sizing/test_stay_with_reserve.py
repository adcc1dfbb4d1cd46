"""Fewest moves of small fleets against the loss of a host: whole homes and what each host keeps free."""

import numpy as np
import pytest

from planner.rules import Checker
from planner.sizing.cover.best_draft import BestAmongEquals
from planner.sizing.cover.exact_aims import ExactAims
from planner.sizing.cover.fewest_moves import FewestMoves
from planner.sizing.cover.losses import read_losses
from planner.sizing.cover.primal_search.drafts import draft_of
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.search import PrimalSearch
from planner.sizing.cover.stay_on_hosts import StayOnHosts
from planner.sizing.cover.stay_with_reserve import StayWithReserve
from planner.sizing.cover.stay_with_standbys import StayWithStandbys
from planner.sizing.instance.case import case_of
from planner.sizing.instance.problem import build_problem
from planner.sizing.solvers.budget import SolveBudget
from tests.benchmarks.moving import moving
from tests.how_many import MORE

CLOSE = 1e-6


def started(seed):
    """Return case, ground and a first plan of a fleet with hardly any room."""
    rng = np.random.default_rng(seed)
    hubs, sites, cap = (int(rng.integers(*ends)) for ends in ((2, 4), (8, 22), (7, 14)))
    fleet = moving(seed, cap=cap, sites=sites, hubs=hubs, cover="host")
    case = case_of(fleet, build_problem(fleet, Checker.of(fleet)), ("moves",))
    ground = Ground(case.problem, read_losses(fleet, case.problem))
    search = PrimalSearch(ground, SolveBudget(10.0))
    found = search.first()
    if not search.all_covered(found):
        pytest.skip("not everybody has a standby there")
    return case, ground, draft_of(case, found.state)


def least(program):
    """Return the bound on moves of a program in which every host may run."""
    every = np.ones(len(program.pool))
    return program.solved(every, SolveBudget(60.0)).outcome.bound


@pytest.mark.parametrize("seed", range(40) if MORE else (3, 8, 18, 21, 32))
def test_no_plan_moves_fewer_than_the_bound_by_the_model_of_single_hosts(seed):
    case, ground, draft = started(seed)
    exact = ExactAims(case, ground.losses, draft, SolveBudget(60.0)).settle(lambda found: found)
    program = StayWithStandbys(case, ground, draft)
    assert least(StayWithReserve(program)) <= exact["moves"] + CLOSE


def test_whole_homes_tell_more_than_sites_that_may_be_divided():
    """Four sites have to move, as the model of single hosts says; with divisible homes three do."""
    case, ground, draft = started(26)
    program = StayWithStandbys(case, ground, draft)
    exact = ExactAims(case, ground.losses, draft, SolveBudget(60.0)).settle(lambda found: found)
    assert exact["moves"] == pytest.approx(4.0)
    assert least(StayWithReserve(program)) == pytest.approx(4.0)
    assert least(StayOnHosts(program)) == pytest.approx(3.0)


def test_the_fewest_moves_are_proven_by_it_alone(monkeypatch):
    for other in ("_by_seats", "_by_neighbourhoods", "_fewer"):
        monkeypatch.setattr(FewestMoves, other, lambda _self, *_: None)
    case, ground, draft = started(26)
    best = BestAmongEquals(case, draft)
    search = FewestMoves(case, ground, draft, SolveBudget(60.0))
    assert search.improve(best.offer) == search.moves == 4.0
