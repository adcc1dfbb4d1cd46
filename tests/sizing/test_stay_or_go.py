"""Sites stay or go to a host with room: plans keep every rule, and none moves fewer than the model of single hosts."""

import threading

import numpy as np
import pytest
from ortools.sat.python import cp_model

from planner.sizing.cover.best_draft import BestAmongEquals
from planner.sizing.cover.exact_aims import ExactAims
from planner.sizing.cover.fewest_moves import FewestMoves
from planner.sizing.cover.primal_search.drafts import draft_of
from planner.sizing.cover.stay_on_hosts import StayOnHosts
from planner.sizing.cover.stay_or_go import StayOrGo
from planner.sizing.cover.stay_with_standbys import StayWithStandbys
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.cp_sat import solve_model
from tests.how_many import MORE
from tests.sizing.test_stay_with_reserve import started


def on_hosts_of(seed):
    """Return case, first plan, and the program of its hosts with those that run by it."""
    case, ground, draft = started(seed)
    on_hosts = StayOnHosts(StayWithStandbys(case, ground, draft))
    every = np.ones(len(on_hosts.pool))
    answer = on_hosts.solved(every, SolveBudget(60.0))
    return case, draft, on_hosts, answer.x[on_hosts.r] > 0.5


@pytest.mark.parametrize("seed", range(40) if MORE else (3, 8, 21, 26, 32))
def test_plans_keep_every_rule_and_move_no_fewer_than_the_model_of_single_hosts(seed):
    case, draft, on_hosts, running = on_hosts_of(seed)
    exact = ExactAims(case, on_hosts.ground.losses, draft, SolveBudget(60.0)).settle(lambda found: found)
    state = StayOrGo(on_hosts, running).best(SolveBudget(60.0))
    if state is None:
        pytest.skip("no plan on the hosts of the relaxation")
    assert state.violation() == 0
    assert (state.home >= 0).all()
    assert ((state.standby >= 0) == on_hosts.ground.coverable).all()
    best = BestAmongEquals(case, draft)
    search = FewestMoves(case, on_hosts.ground, draft, SolveBudget(60.0))
    search.draft = best.offer(draft_of(case, state))
    assert search.moves >= exact["moves"] - 1e-6


def test_it_finds_the_fewest_moves_by_itself(monkeypatch):
    for other in ("_by_seats", "_by_neighbourhoods", "_fewer"):
        monkeypatch.setattr(FewestMoves, other, lambda _self, *_: None)
    case, ground, draft = started(26)
    search = FewestMoves(case, ground, draft, SolveBudget(60.0))
    search.improve(BestAmongEquals(case, draft).offer)
    assert search.moves == 4.0


def test_hosts_without_room_for_a_loss_have_no_plan():
    *_, on_hosts, running = on_hosts_of(26)
    one = np.zeros_like(running)
    one[np.flatnonzero(running)[0]] = True
    assert StayOrGo(on_hosts, one).best(SolveBudget(60.0)) is None


def test_a_search_ends_when_it_is_stopped():
    model = cp_model.CpModel()
    rng = np.random.default_rng(1)
    some = [model.new_bool_var("") for _ in range(50)]
    # Market splits (G. Cornuejols, M. Dawande, INFORMS J. Computing 11 (1999) 205-210) are hard for searches.
    for shares in rng.integers(100, size=(6, 50)):
        model.add(cp_model.LinearExpr.weighted_sum(some, shares.tolist()) == int(shares.sum()) // 2)
    stopped = threading.Event()
    threading.Timer(0.3, stopped.set).start()
    found = solve_model(model, some, 1e6, SolveBudget(stopped=stopped))
    assert found.chosen is None
    assert not found.impossible
    assert stopped.is_set()  # by then, it was still at it
