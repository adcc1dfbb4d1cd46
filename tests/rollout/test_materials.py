"""What a rollout has to buy, by when and for how much."""

import datetime as dt
import json

import pandas as pd
import pytest

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.outputs import write_rollout_workbook
from planner.outputs.rollout_json import rollout_to_json
from planner.rollout import roll_out
from planner.sizing import plan

START = dt.date(2031, 3, 3)


def fleet(lead=(10, None), owners=("Central IT", "West"), prices=True, **policy):
    sites = {"site": ["a", "b", "c", "d", "e"], "clusters": [2, 2, 2, 2, 3]}
    sites |= {"own_tie_breaker": ["no"] * 4 + ["possible"], "owner": ["Shops"] * 5}
    hubs = {"hub": ["N", "W"], "pool": ["N", "W"], "cluster_cap": [4, 4], "max_hosts": [1, 1]}
    hubs |= {"lead_time_days": list(lead), "owner": list(owners)}
    pairs = {"site": ["a", "b", "c", "d"], "hub": ["N", "N", "W", "W"], "rtt_ms": [5.0] * 4}
    rows = {"item": ["host", "own_tie_breaker"], "buy": [1000.0, 300.0], "yearly": [100.0, 20.0]}
    settings = {"latency_budget_ms": 20.0, "lead_time_days": 40, "visit_cost": 50.0} | policy
    return Fleet(
        typed_table(columns.SITES, sites),
        typed_table(columns.HUBS, hubs),
        latency=typed_table(columns.LATENCY, pairs),
        prices=typed_table(columns.PRICES, rows if prices else {"item": []}),
        policy=Policy(**settings),
    )


@pytest.fixture(scope="module")
def rollout():
    given = fleet(spare_percent=50)
    made = plan(given)
    return given, made, roll_out(given, made, start=START, time_limit=0)


def test_every_new_host_is_ordered_its_lead_time_before_it_is_installed(rollout):
    _, made, found = rollout
    installed = {s.host: s.starts.date() for s in found.steps if s.kind == "host_install"}
    hosts = {m.pool: m for m in found.materials if m.item == "host"}
    assert {n for m in hosts.values() for n in m.names} == {h.host for h in made.host_list} == set(installed)
    for pool, days in (("N", 10), ("W", 40)):
        assert hosts[pool].needed_on == installed[hosts[pool].names[0]]
        assert hosts[pool].order_by == hosts[pool].needed_on - dt.timedelta(days=days)


def test_own_tie_breakers_and_spares_are_bought_too(rollout):
    _, _, found = rollout
    own, spare = ([m for m in found.materials if m.item == item] for item in ("own_tie_breaker", "spare_host"))
    assert [(m.place, m.number, m.buy, m.yearly, m.owner) for m in own] == [("e", 3, 900.0, 60.0, "Shops")]
    assert [(m.number, m.needed_on, m.order_by) for m in spare] == [(1, START, START - dt.timedelta(days=40))]


def test_the_budget_adds_up_the_materials_by_owner(rollout):
    _, _, found = rollout
    lines = {(line.year, line.owner): line for line in found.budget}
    north, west, shops = lines[2031, "Central IT"], lines[2031, "West"], lines[None, "Shops"]
    # A host each: bought once, one visit, and running from Prices with no power and no visits.
    for line in (north, west):
        assert (line.hosts, line.visits, line.buying, line.visiting, line.running) == (1, 1, 1000.0, 50.0, 100.0)
    assert (shops.own_tie_breakers, shops.visits, shops.buying, shops.visiting) == (3, 1, 900.0, 50.0)
    assert sum(line.buying for line in found.budget) == sum(m.buy for m in found.materials)


def test_orders_before_the_first_day_are_named(rollout):
    caution = " ".join(c for c in rollout[2].cautions if c.startswith("Order before"))
    assert "N-01 by 2031-02-21" in caution
    assert "W-01 by 2031-01-22" in caution
    early = fleet()
    passed = roll_out(early, plan(early), start=dt.date.today(), time_limit=0).cautions
    assert any("2 orders have passed" in c for c in passed)


def test_nothing_is_said_where_nothing_is_known():
    given = fleet(lead=(None, None), prices=False, lead_time_days=None)
    found = roll_out(given, plan(given), start=START, time_limit=0)
    assert {(m.order_by, m.buy, m.yearly) for m in found.materials} == {(None, None, None)}
    assert {(line.buying, line.running) for line in found.budget} == {(None, None)}
    assert not any("order" in c.casefold() for c in found.cautions)


def test_workbook_and_json_hold_them(rollout, tmp_path):
    given, made, found = rollout
    write_rollout_workbook(given, made, found, tmp_path / "rollout.xlsx")
    sheets = pd.read_excel(tmp_path / "rollout.xlsx", sheet_name=None, engine="openpyxl")
    assert sheets["Materials"]["number"].sum() == sum(m.number for m in found.materials)
    assert list(sheets["Materials"]["order by"].dropna().dt.date) == [m.order_by for m in found.materials if m.order_by]
    assert len(sheets["Budget"]) == len(found.budget)
    assert len(json.loads(rollout_to_json(found))["materials"]) == len(found.materials)


def test_an_order_whose_day_has_passed_says_so_in_json_and_on_the_sheet(tmp_path):
    given = fleet()
    made = plan(given)
    today = dt.date.today()
    found = roll_out(given, made, start=today + dt.timedelta(days=15), time_limit=0)
    states = {m.pool: m.order_state for m in found.materials if m.item == "host"}
    assert states == {"N": "in time" if states["N"] == "in time" else "before the first day", "W": "passed"}
    write_rollout_workbook(given, made, found, tmp_path / "rollout.xlsx")
    table = pd.read_excel(tmp_path / "rollout.xlsx", sheet_name="Materials", engine="openpyxl")
    assert table.set_index("pool")["day of the order"]["W"] == "passed"
    told = json.loads(rollout_to_json(found))["materials"]
    assert {one["pool"]: one["order_state"] for one in told if one["item"] == "host"} == states
    assert any("have passed" in caution or "has passed" in caution for caution in found.cautions)
