"""A rollout that holds, spoilt in one way at a time: the replay must name what was spoilt."""

import dataclasses
import datetime as dt

import pandas as pd
import pytest

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.plan import Assignment, Host, Plan
from planner.rollout import roll_out
from planner.schedule import Rollout, Wave
from planner.verify import verify, verify_rollout

HOURS = dt.timedelta(hours=1)


def small():
    """Hosts E-01 (full, gets 8.4) and F-01 (goes away), G-01 is new; A stays, B, C move, D joins, E is raised first."""
    sites = {
        "site": ["A", "B", "C", "D", "E"],
        "region": ["North", "North", "South", "North", "South"],
        "release": ["8.2", "8.2", "8.2", "8.2", "8.0"],
        "target_release": ["8.4", "", "", "", "8.2"],
        "neighbours": [("B",), (), (), (), ()],
    }
    pools = {
        "hub": ["E", "F", "G"],
        "pool": ["E", "F", "G"],
        "region": ["North", "South", "South"],
        "existing_hosts": [1, 1, 0],
        "max_hosts": [1.0] * 3,
        "cluster_cap": [2.0, 2.0, 3.0],
        "host_release": ["8.4", "8.2", "8.4"],
        "host_release_today": ["8.2", "", ""],
    }
    pairs = [(s, h) for s in sites["site"] for h in "EFG"]
    fleet = Fleet(
        typed_table(columns.SITES, sites),
        typed_table(columns.HUBS, pools),
        typed_table(
            columns.LATENCY, {"site": [s for s, _ in pairs], "hub": [h for _, h in pairs], "rtt_ms": [9.0] * 15}
        ),
        current=typed_table(
            columns.CURRENT,
            {"site": ["A", "B", "C"], "hub": ["E", "E", "F"], "host": ["E-01", "E-01", "F-01"]},
        ),
        freezes=typed_table(columns.FREEZES, {"first": ["2027-04-01"], "last": ["2027-04-20"]}),
        policy=Policy(
            latency_budget_ms=20, release_floor="8.2", timezone="Europe/London",
            window="Sun 20:00-04:00; Wed 20:00-04:00", pilot_sites=2, sites_per_wave=2,
            sites_per_region=2, sites_per_host=1, sites_per_crew=2,
        ),
    )  # fmt: skip
    hosts = (Host("E-01", "E", "E", "8.4", 2, 2, 2, True), Host("G-01", "G", "G", "8.4", 3, 3, 3, False))

    def row(site, host, action, left=None):
        return Assignment(site, host, host[0], 1, 9.0, 20.0, "measured", moved_from=left, action=action)

    rows = (
        row("A", "E-01", "keep"),
        row("B", "G-01", "move", "E-01"),
        row("C", "E-01", "move", "F-01"),
        row("D", "G-01", "attach"),
        row("E", "G-01", "attach"),
    )
    plan = Plan("feasible", "hosts", 2, 0, hosts, rows)
    return fleet, plan, roll_out(fleet, plan, start=dt.date(2027, 3, 1))


FLEET, PLAN, ROLLOUT = small()


def codes(rollout, fleet=FLEET):
    return {violation.code for violation in verify_rollout(fleet, PLAN, rollout)}


def rebuilt(steps_by_wave):
    """Return a rollout of these waves, with times, numbers and pilot as they should be."""
    waves = []
    for steps in steps_by_wave:
        pilot = any(s.site for s in steps) and not any(w.pilot for w in waves)
        starts, ends = min(s.starts for s in steps), max(s.ends for s in steps)
        waves.append(Wave(len(waves) + 1, starts, ends, tuple(sorted(steps, key=lambda s: s.starts)), pilot))
    return Rollout(tuple(waves), 0, "")


def changed(name, **changes):
    return rebuilt([[dataclasses.replace(s, **changes) if s.id == name else s for s in w.steps] for w in ROLLOUT.waves])


def without(name):
    return rebuilt([steps for w in ROLLOUT.waves if (steps := [s for s in w.steps if s.id != name])])


def step(name):
    return next(s for s in ROLLOUT.steps if s.id == name)


def later(name, by):
    return changed(name, starts=step(name).starts + by, ends=step(name).ends + by)


def test_the_rollout_holds():
    assert [str(v) for v in verify(FLEET, PLAN) if v.severity == "violation"] == []
    assert codes(ROLLOUT) == set()
    assert {s.id for s in ROLLOUT.steps} == {
        "move B", "move C", "attach D", "attach E", "install G-01", "host: change release of E-01", "retire F-01",
        "site: change release of A", "site: change release of E",
    }  # fmt: skip
    assert ROLLOUT.conflicts == ()
    assert any("third vote" in caution for caution in step("host: change release of E-01").cautions)
    assert any("release notes" in caution for caution in step("host: change release of E-01").cautions)


@pytest.mark.parametrize(
    ("spoilt", "code"),
    [
        (lambda: later("move B", -HOURS * 24), "window"),
        (lambda: later("move B", dt.timedelta(days=7 * 5)), "freeze"),
        (lambda: changed("move B", needs=("retire F-01",)), "step_order"),
        (lambda: changed("move B", from_host="F-01"), "step_form"),
        (lambda: changed("move B", to_host="F-01"), "incomplete"),
        (lambda: changed("move B", ends=step("move B").ends + HOURS), "step_length"),
        (lambda: changed("move B", site="Z"), "step_form"),
        (lambda: without("move C"), "incomplete"),
        (lambda: without("install G-01"), "host_running"),
        (lambda: without("host: change release of E-01"), "host_release"),
        (lambda: without("site: change release of E"), "release_floor"),
        (lambda: without("move B"), "capacity"),
        (lambda: rebuilt([list(ROLLOUT.steps)]), "wave_limit"),
        (lambda: ROLLOUT.replace(lower_bound_waves=99), "bound"),
    ],
)
def test_spoilt_rollouts(spoilt, code):
    assert code in codes(spoilt())


@pytest.mark.parametrize(
    ("policy", "code"),
    [
        ({"sites_per_wave": 1}, "wave_limit"),
        ({"sites_per_crew": 1}, "wave_limit"),
        ({"pilot_sites": 1, "wave_growth": 1.0}, "wave_limit"),
        ({"pilot_days": 30}, "spacing"),
        ({"neighbour_days": 60}, "spacing"),
        ({"window": "Tue 20:00-04:00"}, "window"),
        ({"timezone": "Asia/Tokyo"}, "window"),
        ({"release_floor": "8.4"}, "release_floor"),
        ({"site_minutes": 31}, "step_length"),
    ],
)
def test_other_policies_find_fault_with_it(policy, code):
    assert code in codes(ROLLOUT, FLEET.replace(policy=FLEET.policy.replace(**policy)))


def test_a_region_is_counted_in_any_letter_case():
    one = FLEET.replace(sites=FLEET.sites.assign(region=["North", "north ", "NORTH", "North", "north"]))
    assert codes(ROLLOUT, one) == set()
    assert codes(ROLLOUT, one.replace(policy=one.policy.replace(sites_per_region=1))) == {"wave_limit"}


def test_a_host_release_has_its_wave_to_itself():
    shared = [s for w in ROLLOUT.waves for s in w.steps if s.id in ("host: change release of E-01", "move C")]
    assert len({w.wave for w in ROLLOUT.waves for s in w.steps if s in shared}) == 2
    at = step("host: change release of E-01").ends
    moved = changed("move C", starts=at, ends=at + dt.timedelta(minutes=30), needs=())
    waves = [
        [s for s in moved.steps if s.starts.date() == day] for day in sorted({s.starts.date() for s in moved.steps})
    ]
    assert "wave_limit" in codes(rebuilt(waves))


def test_a_second_crew_is_seen():
    fleet = FLEET.replace(sites=FLEET.sites.assign(crew=pd.Series(["x"] * 5)))
    assert codes(ROLLOUT, fleet) == set()
    together = changed("attach D", starts=step("move C").starts, ends=step("move C").ends)
    assert codes(together, fleet)
