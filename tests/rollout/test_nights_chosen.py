"""Which nights are worked, how places are handed on in them, and what their bound counts."""

import datetime as dt
import random
from dataclasses import replace

import numpy as np
import pytest

from planner.rollout import allotment, campaign, night_program, roll_out
from planner.rollout.allotment import Asked, allot
from planner.rollout.bounds import lower_bound
from planner.rollout.campaign import Campaign
from planner.rollout.filling import ANY_NIGHT
from planner.rollout.guards import Guard
from planner.rollout.improve import Effort
from planner.rollout.night_kinds import NightKinds
from planner.rollout.night_program import Fewest, fewest_nights
from planner.rollout.nights import Opening
from planner.rollout.project import Job, Project
from planner.rollout.search import schedule
from planner.rollout.sheet import Sheet
from planner.verify import verify_rollout

from . import large
from .cases import moves_case
from .plain import plain_nights, project_of

START = dt.date(2027, 3, 1)


def weekly(*days, minutes=60, first=0):
    """Openings of ``minutes`` on these days of the week, from a night on."""
    return lambda night: (
        (Opening(night, night * 1440, night * 1440 + minutes),) if night % 7 in days and night >= first else ()
    )


def bound_of(project):
    return lower_bound(NightKinds(Sheet(project)), [str(at) for at in range(len(project.jobs))]).waves


def waves_of(project, work=1_000):
    kinds = NightKinds(Sheet(project))
    found = schedule(kinds, fewest_nights(kinds, range(len(project.jobs))), 0, Effort(work, lambda waves: True))
    assert None not in found.night
    return found.waves


def test_a_bound_looks_at_nights_after_a_long_freeze():
    """The longest night was looked for among the first 60, and taken for a minute where all of these are frozen."""
    jobs = tuple(Job(30, weekly(0, first=70), uses=(("crew", 1),)) for _ in range(2))
    project = Project(jobs, range(200), {"crew": 1})
    assert bound_of(project) == waves_of(project) == 1


def test_windows_crews_and_the_pilot_count_together():
    """Six sites, three on each of two days; a pilot of one site, then two, which one crew has time for."""
    jobs = tuple(Job(30, weekly(day), uses=(("crew", 1),), owner=f"{day}-{n}") for day in (0, 3) for n in range(3))
    project = Project(jobs, range(100), {"crew": 1}, sizes=(1, 2))
    assert bound_of(project) == waves_of(project) == 4
    single = replace(project, jobs=jobs[:3])
    assert bound_of(single) == waves_of(single) == 2


def test_two_that_may_not_share_a_night_ask_for_two_nights_of_theirs():
    """Neighbours A and B on Mondays, C on Thursdays: three nights, though no two groups of three are apart."""
    a, b, c = (
        Job(30, weekly(day), owner=name, apart=apart)
        for name, day, apart in (("A", 0, ((1, 1),)), ("B", 0, ()), ("C", 3, ()))
    )
    project = Project((a, b, c), range(100))
    assert bound_of(project) == waves_of(project) == 3


def test_one_free_place_is_handed_on_so_often_as_the_night_is_long():
    """Twelve hosts in a ring, each full but one; a night has room for four steps one after the other."""
    opened = weekly(0, minutes=120)
    jobs = tuple(
        Job(30, opened, owner=f"S{n}", takes=((f"H{n}", 1),), gives=((f"H{(n + 1) % 12}", 1),)) for n in range(12)
    )
    project = Project(jobs, range(100), room={f"H{n}": int(n == 0) for n in range(12)})
    assert bound_of(project) == waves_of(project) == 3


def test_a_place_is_not_given_away_that_a_circle_needs():
    """X holds the only place; A and B go round from X to Y and back. D, who takes it for good from Z, has to wait."""
    opened = weekly(*range(7), minutes=300)

    def move(name, source, target):
        return Job(30, opened, owner=name, takes=((target, 1),), gives=((source, 1),))

    jobs = (move("D", "Z", "X"), move("A", "X", "Y"), move("B", "Y", "X"))
    project = Project(jobs, range(30), room={"X": 1, "Y": 0})
    sheet = Sheet(project)
    guard = Guard(sheet)
    assert [guard.allows(at, sheet.full) for at in range(3)] == [False, True, True]
    run = Campaign(NightKinds(sheet), by_order=False)
    found = run.finish(run.begin(), np.array([9.0, 0.0, 0.0]))
    assert (found.left, len(found.nights)) == (0, 1)


@pytest.mark.parametrize("seed", range(2))
def test_many_moves_take_no_more_nights_than_a_plain_greedy(monkeypatch, seed):
    monkeypatch.setitem(large.KINDS, "few", large.Kind(120, 60, 6, 2, zones=2, gone=1, crews=3, named=1))
    fleet, plan = large.large_case("few", seed)
    project = project_of(fleet, plan, START)
    plain = min(len(nights) for nights, left in (plain_nights(project, s) for s in (0.0, 0.5)) if not left)
    assert bound_of(project) <= waves_of(project, work=3_000) <= min(plain, 1.5 * bound_of(project))
    assert [str(v) for v in verify_rollout(fleet, plan, roll_out(fleet, plan, start=START, time_limit=0))] == []


def test_sites_without_a_third_vote_come_first_where_nothing_else_decides():
    sites = [f"S{n}" for n in range(8)]
    fleet, plan = moves_case(
        {"X": 8, "Y": 8},
        dict.fromkeys(sites, "X"),
        dict.fromkeys(sites[1:], "Y") | {"S0": "X"},
        dict.fromkeys(sites, 1),
        lambda site, hub: False,
        sites_per_wave=3,
    )
    current = fleet.current[~fleet.current["site"].isin(["S6", "S7"])]
    rows = tuple(
        replace(r, action="attach", moved_from=None) if r.site in ("S6", "S7") else r for r in plan.assignments
    )
    rollout = roll_out(fleet.replace(current=current), plan.replace(assignments=rows), start=START)
    assert [step.kind for step in rollout.waves[0].steps].count("attach") == 2
    assert len(rollout.waves) == rollout.lower_bound_waves == 3


def test_waves_are_of_even_size_where_nothing_else_decides():
    jobs = tuple(Job(30, weekly(*range(7), minutes=600), owner=f"S{n}") for n in range(20))
    kinds = NightKinds(Sheet(Project(jobs, range(50), sizes=(9,))))
    found = schedule(kinds, Fewest(0), 3, Effort(2_000, lambda waves: True))
    assert sorted(found.night.count(night) for night in set(found.night)) == [6, 7, 7]


def test_a_program_that_is_too_large_leaves_out_limits_and_still_bounds(monkeypatch):
    """Nine sites, three on each of three hosts of which one may change a night; a night has room for four."""
    jobs = tuple(Job(30, weekly(*range(7)), owner=f"S{n}", quotas=(f"on host {n % 3}",)) for n in range(9))
    project = Project(jobs, range(50), quota={f"on host {n}": 1 for n in range(3)}, sizes=(4,))
    kinds = NightKinds(Sheet(project))
    assert fewest_nights(kinds, range(9)).nights == 3
    tight = replace(project, quota={"on host 0": 1, "on host 1": 3, "on host 2": 3})
    monkeypatch.setattr(night_program, "_CELLS", 2)
    assert fewest_nights(NightKinds(Sheet(tight)), range(9)).nights == 3
    monkeypatch.setattr(night_program, "_CELLS", 0)
    assert fewest_nights(NightKinds(Sheet(tight)), range(9)).nights == 3  # nine sites, four a night


def test_a_place_is_not_allotted_before_it_is_free_in_the_night():
    """A leaves X at midnight, after B who wants its place may come; the night after, B may."""

    def open_at(first):
        return lambda night: (Opening(night, night * 1440 + first, night * 1440 + first + 60),)

    jobs = (
        Job(30, open_at(300), owner="A", gives=(("X", 1),)),
        Job(30, open_at(0), owner="B", takes=(("X", 1),)),
    )
    project = Project(jobs, range(1, 30), room={"X": 0})
    sheet = Sheet(project)
    state = Campaign(NightKinds(sheet), by_order=False).begin().end
    for even in (False, True):
        found = allot(NightKinds(sheet), state, (1, 2), Asked(random.Random(0), even))
        assert found.tolist() == [1, 2]
    assert allot(NightKinds(sheet), state, (1,), Asked(random.Random(0))).tolist() == [1, ANY_NIGHT]


def test_in_a_large_program_too_a_job_is_allotted_after_all_that_it_needs(monkeypatch):
    """One row stands for all three that the last job waits for; a night has room for two jobs."""
    monkeypatch.setattr(allotment, "_MANY", 0)
    opened = weekly(*range(7))
    before = tuple(Job(30, opened, uses=(("crew", 1),)) for _ in range(3))
    last = {"needs": Job(30, opened, uses=(("crew", 1),), needs=(0, 1, 2))}
    last["earlier"] = replace(last["needs"], needs=(), earlier=(0, 1, 2))
    for kind, night in (("needs", 2), ("earlier", 3)):
        kinds = NightKinds(Sheet(Project((*before, last[kind]), range(1, 30), {"crew": 1})))
        state = Campaign(kinds, by_order=False).begin().end
        found = allot(kinds, state, (1, 2, 3), Asked(random.Random(0))).tolist()
        assert sorted(found[:3]) == [1, 1, 2]
        assert found[3] == night


def test_nights_are_allotted_anew_no_longer_than_there_is_work_for_it(monkeypatch):
    """Filling misses a job in every night; without work left the first program is the only one."""
    asked = []

    def late(kinds, state, nights, _asked):
        asked.append(nights)
        return np.where(state.waiting, nights[0], ANY_NIGHT)

    monkeypatch.setattr(campaign, "allot", late)
    jobs = tuple(Job(30, weekly(*range(7)), uses=(("crew", 1),)) for _ in range(6))
    kinds = NightKinds(Sheet(Project(jobs, range(1, 30), {"crew": 1})))
    for work, programs in ((0, 1), (1_000, 3)):
        asked.clear()
        over = Campaign(kinds, by_order=False)
        run = over.follow(over.begin(), 0, (1, 2, 3), np.zeros(6), Asked(random.Random(0)), work)
        assert (run.left, len(asked)) == (0, programs)


def test_sites_without_a_third_vote_come_first_though_another_order_is_known():
    """S0 has two clusters, so that places are given by one known order, in which S5 came in the second wave."""
    sites = [f"S{n}" for n in range(6)]
    size = dict.fromkeys(sites, 1) | {"S0": 2}
    fleet, plan = moves_case(
        {"X": 4, "Y": 6},
        dict.fromkeys(sites[:3], "X") | dict.fromkeys(sites[3:], "Y"),
        dict.fromkeys(sites[:3], "Y") | dict.fromkeys(sites[3:], "X"),
        size,
        lambda site, hub: False,
        sites_per_wave=2,
    )
    late = ["S5"]
    current = fleet.current[~fleet.current["site"].isin(late)]
    rows = tuple(replace(r, action="attach", moved_from=None) if r.site in late else r for r in plan.assignments)
    rollout = roll_out(fleet.replace(current=current), plan.replace(assignments=rows), start=START)
    assert len(rollout.waves) == rollout.lower_bound_waves == 3
    assert [wave.wave for wave in rollout.waves for step in wave.steps if step.kind == "attach"] == [1]
    assert verify_rollout(fleet.replace(current=current), plan.replace(assignments=rows), rollout) == ()
