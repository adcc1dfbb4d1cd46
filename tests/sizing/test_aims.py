"""The aims among equals: one place knows them all, and every switch refuses a name that it does not know."""

import numpy as np
import pytest

from planner.rules import Checker
from planner.sizing import plan
from planner.sizing.host_counts.fewest_hosts import size
from planner.sizing.instance.case import TIE_BREAKS, Case
from planner.sizing.instance.incumbent import today_of
from planner.sizing.instance.problem import build_problem
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.aims import AIMS, aim_of
from planner.sizing.solution.attained import attained_aims
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import evaluator_of
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks import break_ties
from planner.sizing.tie_breaks.lexicographic import place
from planner.sizing.tie_breaks.secondary_costs import secondary_costs
from planner.verify import aims as verified


def test_every_name_is_an_aim_and_verify_reads_each_a_second_time():
    assert set(AIMS) == set(TIE_BREAKS) == set(verified._AFTER)
    assert all(aim_of(name).name == name for name in TIE_BREAKS)


def test_a_name_that_is_no_aim_raises_wherever_aims_are_told_apart(make):
    fleet = make.fleet([[10.0, 20.0], [20.0, 10.0]])
    problem = build_problem(fleet, Checker.of(fleet))
    case = Case(fleet, problem, today_of(fleet, problem), ("tidiness",))
    budget = SolveBudget()
    sized = size(problem, budget)
    placement = place(problem, sized, case.incumbent, ())
    seating = seat_all(case, sized.counts.hosts, placement, budget)
    draft = Draft(sized, placement, seating, (None,) * len(seating.seats))
    switches = {
        "placing": lambda: place(problem, sized, case.incumbent, case.tie_breaks),
        "costs of arcs": lambda: secondary_costs(problem, sized.classes, case.incumbent, case.tie_breaks),
        "what was attained": lambda: attained_aims(case, placement, seating, {}),
        "comparing drafts": lambda: evaluator_of(case, cover=False)(draft),
        "breaking ties": lambda: break_ties(case, sized, budget, thorough=False),
    }
    for name, switch in switches.items():
        with pytest.raises(ValueError, match="'tidiness' is no aim among equals"):
            pytest.fail(f"{name}: {switch()}")


@pytest.mark.parametrize("cover", ["none", "hub"])
def test_aims_of_a_plan_are_those_of_the_policy(make, cover):
    current = {"site": ["S00", "S01"], "hub": ["H1", "H1"]}
    fleet = make.fleet(np.full((3, 3), 10.0), current=current, then="spread margin latency moves", cover=cover)
    result = plan(fleet)
    make.sound(fleet, result)
    assert [aim.aim for aim in result.then] == ["spread", "margin", "latency", "moves"]
