"""Steps across the hour that a clock on the wall repeats or leaves out: their length is the time that passes."""

import dataclasses
import datetime as dt

import pytest

from planner.rollout import roll_out
from planner.verify import verify_rollout
from tests.rollout.cases import moves_case


def night(start, window):
    """Return a rollout of 12 moves, one after the other, in one night from ``window`` on, in London."""
    sites = [f"S{n:02d}" for n in range(12)]
    fleet, plan = moves_case(
        {"X": 12, "Y": 12},
        dict.fromkeys(sites, "X"),
        dict.fromkeys(sites, "Y") | {"S00": "X"},
        dict.fromkeys(sites, 1),
        lambda site, hub: False,
        timezone="Europe/London",
        window=window,
        site_minutes=45,
    )
    one_crew = fleet.replace(policy=fleet.policy.replace(crews=1))
    return one_crew, plan, roll_out(one_crew, plan, start=start)


@pytest.mark.parametrize(
    ("start", "window", "crossing"),
    [
        # Clocks go from 01:00 GMT to 02:00 BST on 2027-03-28, and from 02:00 BST to 01:00 GMT on 2027-10-31 (rules of
        # the EU and the UK since 1996; IANA tz database).
        (dt.date(2027, 3, 27), "Sat 22:15-06:15", {"00:30 02:15"}),
        (dt.date(2027, 10, 30), "Sat 22:15-06:15", {"01:15 01:00", "01:00 01:45"}),
    ],
)
def test_a_step_across_the_change_of_the_clock_has_its_length(start, window, crossing):
    fleet, plan, rollout = night(start, window)
    assert crossing <= {f"{step.starts:%H:%M} {step.ends:%H:%M}" for step in rollout.steps}
    assert [str(v) for v in verify_rollout(fleet, plan, rollout)] == []
    assert len(rollout.waves) == rollout.lower_bound_waves


def test_a_step_that_takes_an_hour_too_long_is_found_though_the_clock_on_the_wall_hides_it():
    fleet, plan, rollout = night(dt.date(2027, 10, 30), "Sat 22:15-06:15")
    (wave,) = rollout.waves
    last = next(step for step in wave.steps if f"{step.starts:%H:%M %Z}" == "01:15 BST")
    too_late = last.ends.replace(hour=2, minute=0)  # 45 minutes by the clock, 105 by the time that passes
    steps = tuple(dataclasses.replace(s, ends=too_late) if s is last else s for s in wave.steps)
    spoilt = rollout.replace(waves=(dataclasses.replace(wave, steps=steps),))
    assert "step_length" in {v.code for v in verify_rollout(fleet, plan, spoilt)}
