"""Sites that are served today come first where the policy keeps them served: cases by hand."""

import pytest

from planner.sizing import plan
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.solvers.budget import Outcome
from planner.verify import verify

# One host for two of four sites; S2 and S3 weigh more, S0 is served today.
CROWDED = {"rtt_ms": [[10.0]] * 4, "pools": {"cluster_cap": [2], "max_hosts": [1]}}
WEIGHTS = {"weight": [1.0, 1.0, 10.0**9, 3.0]}


def crowded(make, *, keep, today=("S00",)):
    current = {"site": list(today), "hub": ["H0"] * len(today)}
    return make.fleet(**CROWDED, sites=WEIGHTS, current=current, keep_served=keep)


def left_out(result):
    return [(one.site, one.current) for one in result.unserved]


def test_the_weight_of_today_comes_first_whatever_others_weigh(make):
    kept = plan(crowded(make, keep=True))
    assert left_out(kept) == [("S01", None), ("S03", None)]
    assert [(aim.aim, aim.value, aim.proven) for aim in kept.before] == [
        ("kept_served", 1.0, True),
        ("served", 10.0**9 + 1, True),
    ]
    free = plan(crowded(make, keep=False))
    assert left_out(free) == [("S00", "H0"), ("S01", None)]
    assert verify(crowded(make, keep=True), kept) == ()
    # The plan that was made without the setting breaks it.
    broken = verify(crowded(make, keep=True), free)
    assert [(v.code, v.where) for v in broken if v.severity == "violation"] == [("kept_served", "site S00")]


def test_among_sites_of_today_the_heavier_stay(make):
    result = plan(crowded(make, keep=True, today=("S00", "S01", "S03")))
    assert [site for site, _ in left_out(result)] in (["S00", "S02"], ["S01", "S02"])


def test_a_site_that_no_rule_lets_in_does_not_count(make):
    fleet = make.fleet(
        [[10.0], [90.0]], current={"site": ["S01"], "hub": ["H0"]}, keep_served=True, pools={"max_hosts": [1]}
    )
    result = plan(fleet)
    assert [(aim.aim, aim.value, aim.bound, aim.proven) for aim in result.before] == [
        ("kept_served", 0.0, 0.0, True),
        ("served", 1.0, 1.0, True),
    ]


def test_time_that_ends_between_the_two_steps_leaves_nobody_out_for_nothing(make, monkeypatch):
    solved = FlowModel.minimise

    def first_only(model, aim, budget):
        if aim == "unserved_kept":
            return solved(model, aim, budget)
        return Outcome("unsolved", "stopped"), None

    monkeypatch.setattr(FlowModel, "minimise", first_only)
    result = plan(crowded(make, keep=True))
    assert len(result.unserved) == 2
    assert "S00" not in [site for site, _ in left_out(result)]
    assert [aim.proven for aim in result.before] == [True, False]
    assert result.status == "feasible"


@pytest.mark.parametrize("cover", ["host", "hub"])
def test_they_come_before_cover_too(make, cover):
    fleet = make.fleet(
        [[10.0, 10.0]] * 5,
        pools={"cluster_cap": [2, 2], "max_hosts": [1, 1]},
        sites={"weight": [1.0, 9.0, 9.0, 9.0, 9.0]},
        current={"site": ["S00"], "hub": ["H0"]},
        cover=cover,
        keep_served=True,
    )
    result = plan(fleet)
    assert "S00" not in {one.site for one in result.unserved}
    assert [aim.aim for aim in result.before] == ["kept_served", "served", "covered"]
    assert result.status == "optimal"
