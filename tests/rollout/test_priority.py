"""Who comes first over the nights of a rollout: sites without a third vote, then the column priority."""

import datetime as dt

import numpy as np

from planner.rollout import roll_out
from planner.sizing import plan
from planner.verify import verify_rollout
from tests.arrays import fleet_of

COUNT = 16


def waves_of(priority):
    """The wave of each site: 4 to 11 leave a host that is too full, 12 to 15 have no host today."""
    ids = [f"S{s:02d}" for s in range(COUNT)]
    fleet = fleet_of(
        np.full((COUNT, 2), 10.0),
        sites={"priority": priority, "pinned_hub": ["H0"] * 4 + ["H1"] * 12},
        pools={"max_hosts": [1.0, 1.0], "existing_hosts": [1.0, 1.0]},
        current={"site": ids[:12], "hub": ["H0"] * 12, "host": ["H0-01"] * 12},
        cluster_cap=COUNT,
        sites_per_wave=4,
        pilot_sites=0,
    )
    made = plan(fleet)
    found = roll_out(fleet, made, start=dt.date(2027, 3, 1))
    assert not [v for v in verify_rollout(fleet, made, found) if v.severity == "violation"]
    assert len(found.waves) == 3
    return {int(site[1:]): wave.wave for wave in found.waves for site in wave.sites}


def test_sites_without_a_third_vote_come_first_then_the_column_priority():
    first = dict.fromkeys(range(12, 16), 1)
    assert {s: w for s, w in waves_of([np.nan] * COUNT).items() if s >= 12} == first
    for early in (range(8, 12), range(4, 8)):
        asked = waves_of([1.0 if s in early else 2.0 if s == 0 else np.nan for s in range(COUNT)])
        assert {s: w for s, w in asked.items() if s >= 12} == first
        assert {asked[s] for s in early} == {2}


def test_sites_without_a_third_vote_come_first_in_full_nights_too():
    """Moves off a host that is retired a week later came first, for the length of what follows them alone."""
    leave, wait = 10, 4
    fleet = fleet_of(
        np.full((leave + wait, 2), 10.0),
        sites={"pinned_hub": ["H1"] * (leave + wait)},
        pools={"max_hosts": [0.0, 1.0], "existing_hosts": [1.0, 1.0]},
        current={"site": [f"S{s:02d}" for s in range(leave)], "hub": ["H0"] * leave, "host": ["H0-01"] * leave},
        cluster_cap=64,
        pilot_sites=0,
        timezone="UTC",
        window="Sun 20:00-23:30",
    )
    found = roll_out(fleet, plan(fleet), start=dt.date(2027, 3, 1))
    assert len(found.waves) == 3
    assert {wave.wave for wave in found.waves for step in wave.steps if step.kind == "attach"} == {1}
