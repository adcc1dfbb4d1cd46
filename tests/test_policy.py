"""Policies and fleets built in Python: what no cell could say is refused, all of it at once."""

import dataclasses
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

import planner
from planner import columns
from planner.errors import InputError
from planner.fleet import Fleet, Policy, typed_table
from planner.scenarios.certainty import Uncertainty
from tests.arrays import fleet_of

NUMERIC = [setting for setting in columns.SETTINGS if setting.kind in ("whole", "number")]


def refused(make, **settings):
    with pytest.raises(InputError) as raised:
        make(**settings)
    return [(finding.where, finding.code) for finding in raised.value.findings], str(raised.value)


@pytest.mark.parametrize("make", [Policy, Policy().replace], ids=["Policy", "replace"])
def test_all_that_is_wrong_is_told_at_once(make):
    found, _ = refused(make, cover="planet", split_sites="no", cluster_cap=-3, percentile=math.nan, window="sometimes")
    assert found == [
        ("Policy", code)
        for code in ("number_limit", "choice_unknown", "choice_unknown", "number_infinite", "window_wrong")
    ]


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("cover", "planet", "cover is 'planet'; it must be one of none, host, hub, zone."),
        ("cover", None, "cover is None; it must be text."),
        ("split_sites", "no", "split_sites is 'no'; it must be True or False."),
        ("split_sites", 1, "split_sites is 1; it must be True or False."),
        ("cluster_cap", -3, "cluster_cap is -3; it must be at least 1 and at most 1000000 clusters."),
        ("cluster_cap", 6.5, "cluster_cap is 6.5; it must be a whole number."),
        ("cluster_cap", True, "cluster_cap is True; it must be a number."),
        ("cluster_cap", None, "cluster_cap is None; it must be a number."),
        ("latency_budget_ms", "20", "latency_budget_ms is '20'; it must be a number."),
        ("latency_budget_ms", 0, "latency_budget_ms is 0; it must be above 0 and at most 10000000000 ms, round trip."),
        ("max_share_percent", 100.5, "it must be above 0 and at most 100 %."),
        ("host_cost", math.inf, "host_cost is inf; it must be a finite number."),
        ("release_floor", "soon", "release_floor is 'soon'; it must be version text such as 8.10."),
        ("release_floor", 8.1, "release_floor is 8.1; it must be text."),
        ("timezone", "Middle/Earth", "timezone is 'Middle/Earth'; it must be an IANA time zone"),
        ("as_of", "31.3.2026", "as_of is '31.3.2026'; it must be a date, or text such as 2026-03-31."),
        ("rollout_start", 5, "rollout_start is 5; it must be a date"),
    ],
)
def test_a_setting_is_told_what_it_must_be(name, value, said):
    assert said in refused(Policy, **{name: value})[1]


def test_numbers_and_days_of_other_types_are_taken_as_plain_ones():
    policy = Policy(
        cluster_cap=np.int64(7), percentile=np.float64(50), split_sites=np.True_, as_of=dt.date(2026, 3, 31)
    )
    assert (policy.cluster_cap, policy.percentile, policy.split_sites, policy.as_of) == (7, 50.0, True, "2026-03-31")
    kinds = [type(value) for value in (policy.cluster_cap, policy.percentile, policy.split_sites)]
    assert kinds == [int, float, bool]
    assert type(Policy(cluster_cap=7.0).cluster_cap) is int


@pytest.mark.parametrize("setting", NUMERIC, ids=lambda setting: setting.name)
def test_every_numeric_setting_has_its_limits(setting):
    assert setting.least is not None
    for value in (setting.least, setting.highest):
        if value != setting.least or not setting.least_excluded:
            assert getattr(Policy(**{setting.name: value}), setting.name) == value
    for value in (setting.least - 1, 2 * setting.highest):
        assert refused(Policy, **{setting.name: value})[0] == [("Policy", "number_limit")]


def test_a_name_that_is_no_setting_is_a_type_error():
    with pytest.raises(TypeError):
        Policy().replace(clusters=3)


def test_the_defaults_are_policies_themselves():
    assert Policy(**dataclasses.asdict(Policy())) == Policy()


def test_a_fleet_wants_whole_tables_and_a_policy():
    sites, pools = typed_table(columns.SITES, {}), typed_table(columns.HUBS, {})
    found, said = refused(Fleet, sites=sites.drop(columns="clusters"), pools=[1, 2], policy={"cover": "hub"})
    assert [where for where, _ in found] == ["Sites", "Hubs", "Policy"]
    assert "sites lacks column clusters." in said
    assert refused(Fleet, sites=sites, pools=pools, latency=pd.DataFrame())[0] == [("Latency", "table_wanted")]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda fleet: planner.plan(fleet, time_limit=-1), "time_limit is -1; it must be at least 0"),
        (lambda fleet: planner.plan(fleet, time_limit=math.nan, seed=-3), "time_limit is nan"),
        (lambda fleet: planner.plan(fleet, seed="one"), "seed is 'one'; it must be a number."),
        (lambda fleet: planner.horizon(fleet, dt.date(2027, 1, 1), periods=0), "periods is 0; it must be at least 1"),
        (
            lambda fleet: planner.horizon(fleet, dt.date(2027, 1, 1), period="week"),
            "period is 'week'; it must be one of",
        ),
        (lambda _: Uncertainty(-5.0, draws=1), "pair_percent is -5.0; it must be at least 0 and at most 1000 %."),
    ],
)
def test_other_figures_of_a_call_are_checked_as_well(call, said):
    with pytest.raises(InputError) as raised:
        call(fleet_of([[5.0]]))
    assert said in str(raised.value)
