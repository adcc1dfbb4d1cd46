"""The gain from cover, against a simulation in time of parts that fail and are repaired."""

import numpy as np
import pytest

from planner import availability as compute
from planner.resilience.uptime.down_times import MINUTES_A_YEAR

HOURS = {
    "node_availability_percent": 90.0,
    "site_uplink_availability_percent": 100.0,
    "host_mtbf_hours": 100.0,
    "host_mttr_hours": 10.0,
    "hub_availability_percent": 100.0,
    "hub_uplink_availability_percent": 100.0,
    "rehoming_minutes": 240.0,
}


def outages(rng, horizon, up, down):
    """Starts and ends of the outages of one part, both exponential."""
    number = int(3 * horizon / (up + down)) + 50
    length = np.stack([rng.exponential(up, number), rng.exponential(down, number)], axis=1)
    ends = np.cumsum(length.ravel()).reshape(-1, 2)
    return ends[ends[:, 0] < horizon]


def is_down(spells, at):
    """Whether the part is down at each time, and since when."""
    which = np.searchsorted(spells[:, 0], at, side="right") - 1
    down = (which >= 0) & (at < spells[np.maximum(which, 0), 1])
    return down, at - spells[np.maximum(which, 0), 0]


@pytest.mark.parametrize("same_hub", [False, True])
def test_a_simulation_in_time_agrees_within_its_confidence_interval(build, same_hub):
    hosts = {"N": ["N-1", "N-2"]} if same_hub else {"N": ["N-1"], "S": ["S-1"]}
    standby = "N-2" if same_hub else "S-1"
    case = build(hosts, [("A", 1, "N-1", standby)], policy=HOURS)
    rng = np.random.default_rng(11)
    # Times so far apart (20 mean repairs) that they are as good as independent.
    at = np.arange(1, 40_001) * 220.0
    home, since = is_down(outages(rng, at[-1], 100.0, 10.0), at)
    spare, _ = is_down(outages(rng, at[-1], 100.0, 10.0), at)
    vote = ~home | ((since > 4.0) & ~spare)
    stopped = ((rng.random((2, len(at))) >= 0.1).sum(axis=0) + vote) < 2
    (site,) = compute(case.fleet, case.plan).sites
    for seen, minutes in ((~vote, None), (stopped, site.covered_minutes)):
        share = (0.1 / 1.1) * (1 - np.exp(-0.4) / 1.1) if minutes is None else minutes / MINUTES_A_YEAR
        assert abs(seen.mean() - share) <= 4 * np.sqrt(share * (1 - share) / len(at))
    assert site.covered_minutes < site.minutes


def test_re_homing_at_once_and_never_are_the_ends_of_the_gain(build):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1")], policy=HOURS)
    (never,) = compute(case.with_policy(rehoming_minutes=1e9).fleet, case.plan).sites
    assert never.covered_minutes == pytest.approx(never.minutes, rel=1e-12)
    (at_once,) = compute(case.with_policy(rehoming_minutes=0.0).fleet, case.plan).sites
    vote_down = (1 / 11) ** 2  # both hosts at the same time
    assert at_once.covered_minutes == pytest.approx((0.01 + 2 * 0.09 * vote_down) * MINUTES_A_YEAR, rel=1e-12)


def test_a_standby_at_the_same_hub_does_not_help_when_the_hub_is_lost(build):
    lost_hub = {**HOURS, "host_availability_percent": 100.0, "hub_availability_percent": 90.0, "hub_mttr_hours": 10.0}
    near = build({"N": ["N-1", "N-2"]}, [("A", 1, "N-1", "N-2")], policy=lost_hub)
    far = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1")], policy=lost_hub)
    (here,), (there,) = (compute(case.fleet, case.plan).sites for case in (near, far))
    assert here.covered_minutes == pytest.approx(here.minutes, rel=1e-12)
    assert there.covered_minutes < 0.99 * there.minutes


@pytest.mark.parametrize(
    ("change", "note"),
    [({"rehoming_minutes": None}, "fill in rehoming_minutes"), ({"hub_availability_percent": 99.0}, "hub_mttr_hours")],
)
def test_what_the_gain_lacks_is_said(build, change, note):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1")], policy={**HOURS, **change})
    found = compute(case.fleet, case.plan)
    assert found.covered_cluster_minutes is None
    assert any(note in words for words in found.notes)
    assert found.sites[0].minutes > 0


def test_sites_without_standby_keep_their_down_time_in_the_sum(build):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1"), ("B", 1, "N-1", None)], policy=HOURS)
    found = compute(case.fleet, case.plan)
    a, b = found.sites
    assert b.covered_minutes is None
    assert found.covered_cluster_minutes == pytest.approx(a.covered_minutes + b.minutes, rel=1e-12)


def test_at_one_hub_the_standby_needs_the_hub_that_is_up(build):
    figures = {**HOURS, "hub_availability_percent": 90.0, "hub_mttr_hours": 10.0, "rehoming_minutes": 0.0}
    case = build({"N": ["N-1", "N-2"]}, [("A", 1, "N-1", "N-2")], policy=figures)
    (site,) = compute(case.fleet, case.plan).sites
    host = 1 / 11
    vote = 0.9 * (1 - host**2)  # the hub, and one of its two hosts
    assert site.covered_minutes == pytest.approx((0.01 + 0.18 * (1 - vote)) * MINUTES_A_YEAR, rel=1e-12)
