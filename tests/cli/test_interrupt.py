"""Ctrl-C: nothing before there is a result, the best plan so far while solving."""

import json
import os
import random
import re
import signal
import subprocess
import time
from contextlib import suppress

import pytest

from planner.interrupts import STILL_WRITING, WORDS
from tests.cli.conftest import PATIENCE_S, command, environment


def test_ctrl_c_while_reading_ends_in_130_and_writes_nothing(terminal, tmp_path, fleets):
    at = terminal("plan", fleets.slow_to_read(), "-o", "plan.xlsx", "--json", "plan.json")
    at.read(until="Reading the fleet")
    at.interrupt(signal.SIGINT)
    assert at.end() == 130
    assert "Interrupted before there was a result" in at.seen
    assert "Traceback" not in at.seen
    assert [path.name for path in tmp_path.iterdir()] == ["fleet"]


def test_ctrl_c_while_solving_writes_the_best_plan_so_far(terminal, call, tmp_path, fleets):
    at = terminal("plan", fleets.slow_to_solve(), "-o", "plan.xlsx", "--json", "plan.json", COLUMNS="200")
    at.read(until=", best ")  # so that the signal meets a solver that has a plan
    at.interrupt(signal.SIGINT)
    assert at.end() in (0, 1)
    assert "Traceback" not in at.seen
    plan = json.loads((tmp_path / "plan.json").read_text())
    assert plan["status"] == "feasible"
    assert plan["lower_bound"] < plan["objective_value"]
    assert plan["gap"] > 0
    assert len(plan["assignments"]) == 400
    assert call("verify", fleets.folder, "plan.xlsx").code == 0
    assert call("verify", fleets.folder, "plan.json").code == 0


def test_ctrl_c_while_a_report_plans_other_budgets_keeps_those_that_are_known(terminal, call, tmp_path, fleets):
    fleet = fleets.slow_to_cover()
    assert call("plan", fleet, "--json", "plan.json", "-q", "--time-limit", 1).code in (0, 1)
    at = terminal("report", fleet, "plan.json", "-o", "page.html", "--curve-seconds", 1000, COLUMNS="200")
    at.read(until=": 110% of today's budgets")
    at.interrupt(signal.SIGINT)
    assert at.end() == 0
    assert "Traceback" not in at.seen
    page = (tmp_path / "page.html").read_text()
    told = {int(share) for share in re.findall(r'<td class="n">(\d+) %</td>', page)}
    assert {90, 100} <= told < {50, 60, 70, 80, 90, 100, 110, 125, 150, 200}


def test_ctrl_c_while_a_report_is_written_loses_nothing_and_a_second_one_ends_it(
    terminal, call, tmp_path, twelve_sites
):
    assert call("plan", twelve_sites, "--json", "plan.json", "-q").code in (0, 1)
    for presses, code in ((1, 0), (2, 130)):
        page = tmp_path / f"page{presses}.html"
        at = terminal("report", twelve_sites, "plan.json", "-o", page, "--curve-seconds", 0, COLUMNS="200")
        at.read(until="Writing the report")
        at.interrupt(signal.SIGINT)
        at.read(until=STILL_WRITING)
        if presses == 2:
            at.interrupt(signal.SIGINT)
        assert at.end() == code
        assert page.exists() == (code == 0)
        assert "Traceback" not in at.seen


SWEEP = (
    "--vary",
    "latency_budget_ms=20,40",
    "--vary",
    "cluster_cap=3,4",
    "--jobs",
    2,
    "--solve-all",
    "-o",
    "sweep.xlsx",
)


def interrupted(arguments, folder, moment):
    """Start a command, send Ctrl-C to all its processes after so many seconds; return its code and standard error."""
    with subprocess.Popen(
        command(arguments),
        cwd=folder,
        env=environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        time.sleep(moment)
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGINT)
        _, told = process.communicate(timeout=PATIENCE_S)
    return process.returncode, told


@pytest.mark.parametrize("name", ["plan", "sweep"])
def test_ctrl_c_at_any_moment_ends_in_130_with_one_line_or_with_a_result(name, tmp_path, twelve_sites):
    arguments = (name, twelve_sites, *(SWEEP if name == "sweep" else ("-o", "plan.xlsx")))
    rng = random.Random(int(os.environ.get("CASTINGVOTE_SEED", "1")))
    for number in range(int(os.environ.get("CASTINGVOTE_INTERRUPTS", "2"))):
        folder = tmp_path / str(number)
        folder.mkdir()
        moment = rng.uniform(0.05, 4.0 if name == "sweep" else 2.0)
        code, told = interrupted(arguments, folder, moment)
        if code in (1, -signal.SIGINT) and "planner" not in told and not list(folder.iterdir()):
            continue  # Python itself was starting: until it reads the first line of the program, it answers
        # A sweep warns of what it was asked for, interrupted or not.
        rest = [line for line in told.splitlines() if not line.startswith("warning ")]
        if code == 130:
            assert rest == [WORDS], moment
            assert not list(folder.iterdir()), moment
        else:
            assert (code in (0, 1), rest) == (True, []), (moment, told)
            assert list(folder.iterdir()) == [folder / f"{name}.xlsx"], moment


def test_a_sweep_that_has_no_point_yet_ends_in_130_with_one_line(call, twelve_sites, monkeypatch):
    def interrupted_at_once(*_arguments, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("planner.scenarios.sweeping.sweep", interrupted_at_once)
    done = call("sweep", twelve_sites, "--vary", "cluster_cap=3,4", "-o", "sweep.xlsx")
    assert (done.code, done.out, done.err) == (130, "", f"{WORDS}\n")
