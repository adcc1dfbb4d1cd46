"""A program of a user, which .ci/run checks with `mypy --strict` against the installed package."""

from __future__ import annotations

import datetime as dt

import pandas as pd

import planner


def near(pairs: pd.DataFrame) -> tuple[pd.Series[bool], str]:
    """Break pairs that are far apart."""
    return pairs["rtt_ms"] > 10, "far"


def drive(pairs: pd.DataFrame) -> pd.Series[float]:
    """Say what each pair costs."""
    return pairs["rtt_ms"] * 2.0


def main() -> None:
    """Plan with a rule and an aim, roll out, and hand over."""
    fleet: planner.Fleet = planner.read_fleet("fleet.xlsx")
    plan: planner.Plan = planner.plan(
        fleet.having(planner.OwnRule("near", near), planner.OwnAim("drive", drive, step=0.01)), time_limit=5.0
    )
    hosts: pd.DataFrame = plan.hosts_frame
    names: list[str] = [host.host for host in plan.host_list]
    rollout: planner.Rollout = planner.roll_out(fleet, plan, start=dt.date(2027, 1, 4))
    planner.write_json(rollout, "rollout.json")
    again: planner.Rollout = planner.read_rollout("rollout.json")
    print(hosts, names, again.steps_frame, [violation.message for violation in planner.verify(fleet, plan)])


if __name__ == "__main__":
    main()
