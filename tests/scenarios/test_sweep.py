"""Sweeps as a whole: parallel, on Dask, kept in a store, stopped and gone on with, with failures kept to themselves."""

import dataclasses
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

import planner
from planner.errors import InputError
from planner.scenarios import task
from planner.scenarios.runners import Processes
from planner.scenarios.store import fleet_digest, key_of
from planner.scenarios.sweep_results import Scenario
from planner.scenarios.sweeping import sweep
from planner.scenarios.task import Options
from planner.scenarios.vary import axis_of, combined
from planner.sizing import SolveBudget
from tests.scenarios.worker_tasks import DEADLY, double_or_die

ROOT = Path(__file__).parents[2]
TWELVE_SITES = ROOT / "sample_fleets" / "twelve_sites.xlsx"
VARIED = [axis_of("latency_budget_ms=10:40:10"), axis_of("cover=none,hub")]
NAMED = [Scenario("usual"), Scenario("odd", closed_hubs=("NONE",))]


def substance(found):
    """What a sweep says, without how long it took and where its points were taken from."""
    return [
        dataclasses.replace(point, seconds=0.0, origin="bounds" if point.origin == "bounds" else "solved")
        for point in found.points
    ]


@pytest.fixture(scope="module")
def straight(twelve_sites):
    """The sweep in this process."""
    return sweep(twelve_sites, combined(VARIED, NAMED), jobs=1)


def test_a_point_is_what_a_plan_of_the_changed_fleet_gives(make, twelve_sites):
    points = make.swept(twelve_sites, "latency_budget_ms=15,20")
    for budget in (15, 20):
        policy = twelve_sites.policy.replace(latency_budget_ms=float(budget))
        plan = planner.plan(twelve_sites.replace(policy=policy))
        figures = points[f"latency_budget_ms={budget}"].figures
        assert (figures.hosts, figures.bound) == (plan.hosts, plan.lower_bound)
        assert figures.unserved == tuple(u.site for u in plan.unserved)
        assert figures.served == len({a.site for a in plan.assignments})


def test_processes_give_the_same_table(twelve_sites, straight):
    there = sweep(twelve_sites, combined(VARIED, NAMED), jobs=2)
    assert substance(there) == substance(straight)


def test_a_dask_address_where_nobody_answers_is_told(twelve_sites):
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="No Dask scheduler answers"):
        sweep(twelve_sites, [Scenario("a")], dask="not an address")


def test_a_failure_is_a_row_with_its_error_and_the_others_go_on(straight):
    failed = [point for point in straight.points if point.figures is None]
    assert len(failed) == len(straight.points) // 2 == 8
    assert all(point.scenario.name.startswith("odd ") and "no hub NONE" in point.error for point in failed)
    assert all(point.figures.hosts for point in straight.points if point not in failed)


def test_cover_never_needs_fewer_hosts(straight):
    hosts = {point.scenario.name: point.figures.hosts for point in straight.points if point.figures}
    for budget in (10, 20, 30, 40):
        name = f"usual latency_budget_ms={budget} cover="
        assert hosts[f"{name}hub"] >= hosts[f"{name}none"]


def test_a_scenario_that_names_what_is_not_there_fails_alone(make, twelve_sites):
    points = make.swept(twelve_sites, named=[Scenario("odd", closed_hubs=("NONE",)), Scenario("even")])
    assert "no hub NONE" in points["odd"].error
    assert points["even"].figures.hosts == 4


def test_a_worker_that_dies_costs_only_its_own_task():
    items = [DEADLY, 2, 3]
    runner = Processes(double_or_die, 2, 2, threading.Event())
    answers = dict(runner.run(items))
    runner.close()
    assert (answers[1], answers[2]) == (4, 6)
    assert isinstance(answers[0], Exception)


def test_ctrl_c_ends_the_plan_of_a_scenario_at_once_though_it_tells_no_progress(monkeypatch, twelve_sites):
    heard, make_plan = [], task.make_plan

    def plan_that_tells_nothing(fleet, **limits):
        if heard:
            own = SolveBudget()
            with own.listening():
                signal.raise_signal(signal.SIGINT)
                heard.append(own.spent)
        heard.append(False)
        return make_plan(fleet, **limits)

    monkeypatch.setattr(task, "make_plan", plan_that_tells_nothing)
    scenarios = combined([axis_of("cluster_cap=3,4,5")], [])
    swept = sweep(twelve_sites, scenarios, jobs=1, solve_all=True)
    assert heard == [False, True, False]
    assert [point.figures is not None for point in swept.points] == [True, False, False, False]


def test_names_that_are_there_twice_are_refused(twelve_sites):
    with pytest.raises(InputError, match="called a"):
        sweep(twelve_sites, [Scenario("a"), Scenario("a")], jobs=1)


def test_what_the_store_has_is_not_planned_again(tmp_path, twelve_sites, straight):
    scenarios = combined(VARIED, NAMED)
    first = sweep(twelve_sites, scenarios, jobs=1, store=tmp_path / "kept.sqlite")
    before = rows(tmp_path / "kept.sqlite")
    again = sweep(twelve_sites, scenarios, jobs=1, store=tmp_path / "kept.sqlite")
    assert substance(again) == substance(first) == substance(straight)
    assert rows(tmp_path / "kept.sqlite") == before
    assert {p.origin for p in again.points if p.figures is not None} <= {"store", "bounds"}


def test_the_key_tells_fleets_changes_and_options_apart_but_not_names(twelve_sites):
    digest = fleet_digest(twelve_sites)
    (tight, loose) = axis_of("latency_budget_ms=20,30")[1]
    key = key_of(digest, Scenario("a", (tight,)), Options())
    assert key == key_of(digest, Scenario("b", (tight,)), Options())
    assert key != key_of(digest, Scenario("a", (loose,)), Options())
    assert key != key_of(digest, Scenario("a", (tight,)), Options(seed=1))
    other = twelve_sites.replace(sites=twelve_sites.sites.assign(weight=2.0))
    assert fleet_digest(other) != digest
    assert fleet_digest(planner.read_fleet(TWELVE_SITES)) == digest


def test_the_day_is_part_of_the_key_where_the_age_of_measurements_counts(make):
    def digest(as_of, **policy):
        return fleet_digest(make.fleet([[10.0]], as_of=as_of, **policy))

    assert digest("2027-01-01") == digest("2027-01-02")
    assert digest("2027-01-01", max_age_days=30) != digest("2027-01-02", max_age_days=30)


def test_a_file_that_is_no_store_is_refused(tmp_path, twelve_sites):
    (tmp_path / "kept.sqlite").write_text("these are my notes, and they are longer than a header of SQLite would be")
    with pytest.raises(InputError, match="cannot be used"):
        sweep(twelve_sites, [Scenario("a")], jobs=1, store=tmp_path / "kept.sqlite")


def rows(path):
    """The rows of a store: key, and when it was saved."""
    with closing(sqlite3.connect(path)) as data:
        return dict(data.execute("SELECT key, saved_at FROM scenarios"))


def test_a_killed_sweep_goes_on_without_repeating(tmp_path):
    store = tmp_path / "kept.sqlite"
    fleet = ROOT / "sample_fleets" / "county_chain.xlsx"
    options = ["--vary", "sites.latency_budget_ms=x0.7:1.3:0.1", "--solve-all", "--store", str(store), "--jobs", "2"]
    call = [sys.executable, "-m", "planner", "sweep", str(fleet), *options, "-q"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    child = subprocess.Popen(call, cwd=tmp_path, env=env)
    give_up = time.monotonic() + 100
    while not (store.exists() and has_rows(store)):
        assert time.monotonic() < give_up
        assert child.poll() is None, "it ended before it could be killed"
        time.sleep(0.02)
    child.kill()
    child.wait()
    before = rows(store)
    assert 0 < len(before) < 7
    done = subprocess.run(
        [*call[:-1], "--jobs", "1", "--json", "-"],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        timeout=100,
        check=True,
    )
    points = json.loads(done.stdout)["points"]
    assert len(points) == 8
    assert all(point["figures"] for point in points)
    after = rows(store)
    assert {key: after[key] for key in before} == before
    # The fleet as it is and the factor x1 differ in their changes, so both are planned.
    assert sum(point["origin"] == "store" for point in points) == len(before)
    assert len(after) == 8


def has_rows(store):
    try:
        return bool(rows(store))
    except sqlite3.OperationalError:  # the table is not there yet
        return False


def broken_stores(path, number):
    """The bytes of a store with one bit turned at a random place, or cut short, ``number`` times."""
    whole = path.read_bytes()
    rng = random.Random(3)
    for turn in range(number):
        at = rng.randrange(len(whole))
        if turn % 4 == 3:
            yield whole[:at]
        else:
            yield whole[:at] + bytes([whole[at] ^ (1 << rng.randrange(8))]) + whole[at + 1 :]


def test_a_damaged_store_is_told_and_gives_no_false_figures(tmp_path, twelve_sites):
    path = tmp_path / "kept.sqlite"
    scenarios = [Scenario(f"without {site}", closed_sites=(site,)) for site in twelve_sites.site_ids[:4]]
    straight = substance(sweep(twelve_sites, scenarios, jobs=1, store=path))
    told = []
    for content in broken_stores(path, int(os.environ.get("CASTINGVOTE_FUZZ", "12"))):
        for old in tmp_path.glob("kept.sqlite*"):
            old.unlink()
        path.write_bytes(content)
        try:
            assert substance(sweep(twelve_sites, scenarios, jobs=1, store=path)) == straight
        except InputError as error:
            told += [finding.code for finding in error.findings]
    assert set(told) == {"store_unusable"}


def test_figures_that_were_changed_in_the_store_are_not_taken(tmp_path, twelve_sites):
    path = tmp_path / "kept.sqlite"
    sweep(twelve_sites, [Scenario("a")], jobs=1, store=path)
    with closing(sqlite3.connect(path)) as data:
        data.execute("""UPDATE scenarios SET figures = replace(figures, '"hosts": 4', '"hosts": 3')""")
        data.commit()
    (point,) = sweep(twelve_sites, [Scenario("a")], jobs=1, store=path).points
    assert (point.origin, point.figures.hosts) == ("solved", 4)
