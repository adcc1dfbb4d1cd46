"""Status and completeness of a sweep, a horizon and designs: a proven plan with unserved sites is both."""

import datetime as dt
import json
from dataclasses import replace

import pytest

from planner.scenarios.designs.compare_designs import compare_designs
from planner.scenarios.designs.design_sentences import to_json as designs_to_json
from planner.scenarios.horizon import horizon_sentences
from planner.scenarios.horizon.plan_horizon import horizon
from planner.scenarios.sweep_words import headline, proof_in_words, to_json
from planner.scenarios.sweeping import sweep
from planner.scenarios.vary import axis_of, combined


@pytest.fixture
def fleet(make):
    """Three sites and a hub that the third, which it serves today, does not reach within its budget."""
    return make.fleet([[10.0], [10.0], [90.0]], current={"site": ["S02"], "hub": ["H0"]})


@pytest.fixture
def swept(fleet):
    return sweep(fleet, combined([axis_of("latency_budget_ms=100")], []), jobs=1)


def test_sweep_says_where_sites_are_unserved_and_how_good_each_point_is(swept):
    assert headline(swept) == (
        "2 scenarios need 1 host; 1 leaves sites without a host, some of which have one today. All results are proven."
    )
    figures = [point["figures"] for point in json.loads(to_json(swept))["points"]]
    assert [(one["status"], one["complete"], one["left_out_today"]) for one in figures] == [
        ("optimal", False, 1),
        ("optimal", True, 0),
    ]


def test_point_is_not_called_proven_where_an_aim_before_the_objective_is_open(swept):
    point = swept.points[0]
    open_yet = replace(point, figures=replace(point.figures, proven=False))
    assert (point.proven, open_yet.proven, open_yet.gap) == (True, False, 0.0)
    assert proof_in_words(open_yet) == "not proven"
    assert "1 of 2 results are proven." in headline(replace(swept, points=(open_yet, swept.points[1])))


def test_horizon_says_who_is_unserved_in_its_first_sentence(fleet):
    found = horizon(fleet, dt.date(2027, 1, 1), period="year", periods=1)
    told = json.loads(horizon_sentences.to_json(found))
    assert (told["status"], told["complete"], told["left_out_today"]) == ("optimal", False, 1)
    assert horizon_sentences.headline(found) == (  # one host is assumed to run where the sheet Current has a site
        "From 2027-01-01 to 2027-12-31 the existing hosts are enough, and you need to buy none; "
        "1 site is not served in some period (1 of them with a host today)."
    )
    open_yet = replace(found, served_proven=False)
    doubt = "Not proven: another plan may serve a greater weight of sites."
    assert (open_yet.status, horizon_sentences.proof_in_words(open_yet)) == ("feasible", doubt)
    assert horizon_sentences.headline(open_yet).endswith(f" {doubt}")


def test_horizon_with_hosts_to_buy_says_that_fewer_do_not_serve_the_same_sites(make):
    found = horizon(make.fleet([[10.0], [90.0]]), dt.date(2027, 1, 1), period="year", periods=1)
    assert "you need to buy 1 host; 1 site is not served in some period." in horizon_sentences.headline(found)
    assert "serve the same sites" in horizon_sentences.headline(found)


def test_designs_say_for_whom_they_are(fleet):
    designs = json.loads(designs_to_json(compare_designs(fleet)))["designs"]
    shared = next(one for one in designs if "shared" in one["name"])
    assert (shared["status"], shared["complete"], shared["unserved"]) == ("optimal", False, 1)
