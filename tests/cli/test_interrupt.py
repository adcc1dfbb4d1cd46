"""Ctrl-C: nothing before there is a result, the best plan so far while solving."""

import json
import signal
import time


def test_ctrl_c_while_reading_ends_in_130_and_writes_nothing(terminal, tmp_path, fleets):
    at = terminal("plan", fleets.slow_to_read(), "-o", "plan.xlsx", "--json", "plan.json")
    at.read(until="Reading the fleet")
    at.interrupt(signal.SIGINT)
    assert at.end() == 130
    assert "Interrupted before there was a result" in at.seen
    assert "Traceback" not in at.seen
    assert [path.name for path in tmp_path.iterdir()] == ["fleet"]


def test_ctrl_c_while_solving_writes_the_best_plan_so_far(terminal, call, tmp_path, fleets):
    at = terminal("plan", fleets.slow_to_solve(), "-o", "plan.xlsx", "--json", "plan.json")
    at.read(until="Solving for 400 sites")
    time.sleep(1.0)  # so that the signal meets the solver and not the lines before it
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
