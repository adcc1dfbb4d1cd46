"""Invented rollouts for the tests of what is written of them."""

import datetime as dt
from zoneinfo import ZoneInfo

from planner import columns
from planner.fleet import Fleet, Policy, Source, typed_table
from planner.plan import Plan
from planner.schedule import Conflict, Rollout, Step, Wave

NEW_YORK = ZoneInfo("America/New_York")
LONDON = ZoneInfo("Europe/London")


def small_fleet(name="shops.xlsx"):
    sites = typed_table(
        columns.SITES, {"site": ["0001", "0002", "=3"], "name": ["Alder, Quay; 1", "Birch\\Street", "=1+1"]}
    )
    pools = typed_table(columns.HUBS, {"hub": ["ESK"], "pool": ["ESK"]})
    policy = Policy(latency_budget_ms=40.0)
    return Fleet(sites, pools, policy=policy, sources=(Source(name, "00"),))


def step(number, starts, minutes=30, **changes):
    values = {"kind": "move", "site": f"{number:04d}", "from_host": "ESK-01", "to_host": "ESK-02", "hub": "ESK"}
    values |= changes
    ends = (starts.astimezone(dt.UTC) + dt.timedelta(minutes=minutes)).astimezone(starts.tzinfo)
    return Step(f"step {number}", starts=starts, ends=ends, **values)


def wave(number, *steps, timezone="America/New_York", pilot=False):
    return Wave(number, steps[0].starts, max(s.ends for s in steps), steps, pilot, timezone)


def small_rollout():
    pilot = wave(1, step(1, dt.datetime(2027, 3, 13, 23, tzinfo=NEW_YORK)), pilot=True)
    caution = "Read the supplier's release notes, twice; and keep a way back\\ready.\nThen go."
    release = {"kind": "host_release", "site": None, "from_host": None, "to_host": None, "host": "ESK-02"}
    release |= {"release": "8.10", "cautions": (caution,)}
    two = wave(
        2,
        step(2, dt.datetime(2027, 3, 20, 22, tzinfo=LONDON), release="", needs=("step 1",), crew="amber"),
        step(3, dt.datetime(2027, 3, 20, 22, tzinfo=NEW_YORK), minutes=120, **release),
    )
    conflict = Conflict("no_window", "site =3", "finds no night.", "Widen its window.")
    return Rollout((pilot, two), 2, "The pilot comes first.", conflicts=(conflict,), cautions=("Mind the gap.",))


def empty_plan():
    return Plan("optimal", "hosts", 1, 1, (), ())
