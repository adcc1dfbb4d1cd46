"""The aims after the objective, added up anew: value, bound, and whether it is called proven."""

import math

import pytest

from planner.plan import Aim

# One site changes host; 40 + 10 + 12.34 ms; A has no margin left; three clusters on each host.
THEN = {"moves": (1.0, 1.0), "latency": (62.34, 62.34), "margin": (0.0, 0.0), "spread": (3.0, 3.0)}


def told(desk, **changes):
    figures = {**THEN, **changes}
    return desk.of_plan(then=tuple(Aim(name, *pair, pair[0] == pair[1]) for name, pair in figures.items()))


def test_aims_that_add_up_are_none(desk) -> None:
    assert told(desk).everything() == ()


@pytest.mark.parametrize(
    ("changes", "figures"),
    [
        ({"moves": (2.0, 1.0)}, "the plan says that its aim moves is 2.0; counted again, it is 1"),
        ({"moves": (0.0, 0.0)}, "the plan says that its aim moves is 0.0; counted again, it is 1"),
        ({"latency": (62.5, 62.0)}, "the plan says that its aim latency is 62.5; counted again, it is 62.3"),
        ({"margin": (1.0, 2.0)}, "the plan says that its aim margin is 1; counted again, it is 0"),
        ({"spread": (4.0, 3.0)}, "the plan says that its aim spread is 4.0; counted again, it is 3"),
        ({"moves": (1.0, 2.0)}, "the aim moves is 1, but the plan says that no plan is better than 2.0"),
        ({"latency": (62.34, 63.0)}, "the aim latency is 62.34, but the plan says that no plan is better than 63.0"),
        ({"margin": (0.0, -1.0)}, "the aim margin is 0, but the plan says that no plan is better than -1.0"),
        ({"spread": (3.0, math.nan)}, "the aim spread is 3, but the plan says that no plan is better than nan"),
    ],
)
def test_an_aim_that_does_not_add_up_is_found(desk, changes, figures) -> None:
    violations = told(desk, **changes).everything()
    assert [(v.code, v.where) for v in violations] == [("aim", "plan")]
    assert figures in violations[0].message


def test_an_aim_called_proven_above_its_bound_is_found(desk) -> None:
    desk.of_plan(then=(Aim("latency", 62.34, 60.0, True),))
    assert (
        "the plan calls its aim latency proven, but it is 62.34 and the plan's own bound is 60.0"
        in desk.everything()[0].message
    )
    assert desk.of_plan(then=(Aim("latency", 62.34, 60.0, False),)).everything() == ()


def test_an_aim_that_is_not_known_is_found(desk) -> None:
    desk.of_plan(then=(Aim("tidiness", 1.0, 1.0, True),))
    told = "the plan lists 'tidiness' as an aim after the objective. Known aims there: moves, latency, margin, spread"
    assert told in desk.everything()[0].message


def test_a_site_that_needs_no_host_any_more_moves_too(desk) -> None:
    desk.today("A", site="D").row("A", action="attach")
    assert told(desk, moves=(2.0, 2.0)).found() == []
    assert told(desk).found() == [("aim", "plan")]
