"""Aims that callers give: the plan is best by them in their place, checked again, told apart, and written down."""

import itertools
import pickle

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planner
from planner.own import LATER_AIMS, installed
from planner.verify.aims import _AFTER
from tests.arrays import fleet_of
from tests.how_many import tries
from tests.test_api import TWELVE_SITES

ORDERS = ["mine", "moves mine", "mine,moves", "mine latency", "latency mine"]


def table_aim(costs, name="mine", **more):
    """An aim whose costs are ``costs[site][pool]``, by the numbers of both."""

    def cost(pairs):
        return [costs[int(site[1:])][int(pool[1:])] for site, pool in zip(pairs["site"], pairs["pool"], strict=True)]

    return planner.OwnAim(name, cost, **more)


def violations(fleet, plan):
    return [one for one in planner.verify(fleet, plan) if one.severity == "violation"]


def best(rtt, cap, costs, today, then):
    """Return what the best of all assignments comes to: unserved, hosts, then each aim in order; one host a pool."""
    found = []
    for chosen in itertools.product([*range(len(rtt[0])), None], repeat=len(rtt)):
        used = [(s, p) for s, p in enumerate(chosen) if p is not None]
        loads = [sum(p == pool for _, p in used) for pool in range(len(rtt[0]))]
        if max(loads) > cap or any(rtt[s][p] > 20 for s, p in used):
            continue
        aims = {
            "mine": sum(costs[s][p] for s, p in used),
            "moves": sum(today[s] not in (None, p) for s, p in used),
            "latency": sum(rtt[s][p] for s, p in used),
        }
        found.append(
            (len(rtt) - len(used), sum(map(bool, loads)), *(aims[name] for name in then.replace(",", " ").split()))
        )
    return min(found)


@st.composite
def cases(draw):
    sites, pools = draw(st.integers(2, 5)), draw(st.integers(1, 3))

    def table(values):
        return draw(st.lists(st.lists(values, min_size=pools, max_size=pools), min_size=sites, max_size=sites))

    today = st.lists(st.none() | st.integers(0, pools - 1), min_size=sites, max_size=sites)
    rtt, costs = table(st.sampled_from([5.0, 10.0, 30.0])), table(st.integers(0, 9).map(lambda n: n / 4))
    return rtt, draw(st.integers(2, 4)), costs, draw(today), draw(st.sampled_from(ORDERS))


@settings(max_examples=tries(8), deadline=None)
@given(cases())
def test_the_plan_is_the_best_by_an_own_aim_in_its_place(case):
    rtt, cap, costs, today, then = case
    stands = [(f"S{s:02}", f"H{p}", f"H{p}-01") for s, p in enumerate(today) if p is not None]
    current = dict(zip(("site", "hub", "host"), map(list, zip(*stands, strict=True)), strict=True)) if stands else None
    given_ = {"latency_budget_ms": 20.0, "cluster_cap": cap, "reserve_percent": 0.0, "then": then}
    fleet = fleet_of(rtt, pools={"max_hosts": [1.0] * len(rtt[0])}, current=current, **given_).having(table_aim(costs))
    plan = planner.plan(fleet)
    assert violations(fleet, plan) == []
    wanted = best(rtt, cap, costs, today, then)
    made = {aim.aim.removeprefix("own:"): aim for aim in plan.then}
    names = then.replace(",", " ").split()
    # Moves are not told where nobody can stay.
    values = [made[name].value if name in made else moved for name, moved in zip(names, wanted[2:], strict=True)]
    assert (len(plan.unserved), plan.hosts) == wanted[:2]
    if not plan.unserved or made["mine"].proven:  # who is left out is not searched to the end, and said to be so
        assert values == pytest.approx(wanted[2:])
    if values[: names.index("mine")] == pytest.approx(wanted[2 : 2 + names.index("mine")]):
        assert made["mine"].bound <= wanted[2 + names.index("mine")] + 1e-9 <= made["mine"].value + 2e-9


@pytest.fixture(scope="module")
def fleet():
    return planner.read_fleet(TWELVE_SITES)


def against_the_alphabet(pairs):
    return [float(ord(hub[0]) - ord("A")) for hub in pairs["hub"]]


@pytest.fixture(scope="module")
def aimed(fleet):
    return fleet.replace(policy=fleet.policy.replace(then="alphabet moves")).having(
        planner.OwnAim("alphabet", against_the_alphabet)
    )


@pytest.fixture(scope="module")
def made(aimed):
    return planner.plan(aimed)


def test_the_plan_says_value_and_bound_like_those_of_any_aim(aimed, made):
    assert [aim.aim for aim in made.then] == ["own:alphabet", "moves"]
    total = sum(against_the_alphabet({"hub": [row.hub for row in made.assignments]}))
    assert made.then[0].value == total
    assert made.proves("own:alphabet")
    assert "Aim alphabet is your own" in " ".join(finding.message for finding in made.findings)


def test_the_check_asks_the_aim_again_and_says_when_nobody_gives_it(fleet, aimed, made):
    assert violations(aimed, made) == []
    told = [one for one in planner.verify(fleet, made) if one.code == "own_aim"]
    assert [one.severity for one in told] == ["note"]
    assert "not to verify; it was not checked" in told[0].message
    assert violations(fleet.having(), made) == []
    for field, wrong in (("value", made.then[0].value - 1), ("bound", made.then[0].bound + 1)):
        false = made.replace(then=(planner_aim(made.then[0], **{field: wrong}), *made.then[1:]))
        assert {one.code for one in violations(aimed, false)} == {"aim"}, field
    other = fleet.having(planner.OwnAim("alphabet", lambda pairs: 1.0))
    assert "counted again, it is 11" in " ".join(one.message for one in violations(other, made) if one.code == "aim")


def planner_aim(aim, **changes):
    import dataclasses

    return dataclasses.replace(aim, **changes)


def test_files_say_it_and_give_it_back(aimed, made, tmp_path):
    planner.write_workbook(aimed, made, tmp_path / "plan.xlsx")
    planner.write_json(made, tmp_path / "plan.json")
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx", read_only=True)
    text = " ".join(str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell)
    assert "your own aim alphabet" in text
    assert "has the least total of your own aim alphabet" in text
    for name in ("plan.xlsx", "plan.json"):
        assert planner.read_plan(tmp_path / name).then == made.then
    planner.write_report(aimed, made, tmp_path / "plan.html")
    assert "your own aim alphabet" in (tmp_path / "plan.html").read_text(encoding="utf-8")


def test_an_aim_that_the_setting_does_not_name_changes_nothing(fleet):
    plan = planner.plan(fleet.having(planner.OwnAim("unused", lambda pairs: 1 / 0)))
    assert (plan.host_list, plan.assignments) == ((own := planner.plan(fleet)).host_list, own.assignments)
    assert "does not name it" in " ".join(finding.message for finding in plan.findings)


@pytest.mark.parametrize("cover", ["host", "hub"])
def test_it_chooses_among_plans_with_cover_and_from_today(aimed, cover):
    covered = aimed.replace(policy=aimed.policy.replace(cover=cover, cluster_cap=8))
    plan = planner.plan(covered)
    assert violations(covered, plan) == []
    bare = planner.plan(covered.replace(policy=covered.policy.replace(then="")))
    value = {aim.aim: aim.value for aim in plan.then}["own:alphabet"]
    assert value <= sum(against_the_alphabet({"hub": [row.hub for row in bare.assignments]}))
    led = covered.replace(policy=covered.policy.replace(cover="none", then="moves alphabet"))
    assert violations(led, planner.plan(led, extra_hosts=1)) == []


def test_split_sites_count_once_for_each_pool(aimed):
    split = aimed.replace(policy=aimed.policy.replace(split_sites=True, cluster_cap=3))
    assert violations(split, planner.plan(split)) == []


def test_steps_round_and_the_smallest_still_tells_plans_apart():
    fleet = fleet_of([[5, 5], [5, 5]], latency_budget_ms=20.0, cluster_cap=2, reserve_percent=0.0, then="mine")
    fine = fleet.having(table_aim([[0, 1e-6], [0, 0]], step=1e-6))
    (aim,) = planner.plan(fine).then
    assert (aim.value, aim.bound, aim.proven) == (0, 0, True)
    coarse = fleet.having(table_aim([[0.4, 0.4], [0.4, 0.4]], step=1.0))
    assert planner.plan(coarse).then[0].value == 0


@pytest.mark.parametrize(
    ("cost", "told"),
    [
        (lambda pairs: pairs["nowhere"], "KeyError"),
        (lambda pairs: [1.0], "shape"),
        (lambda pairs: np.full(len(pairs), np.nan), "no finite number"),
        (lambda pairs: np.full(len(pairs), -1.0), "negative"),
        (lambda pairs: np.full(len(pairs), 1e30), "more than 1,000,000,000 steps"),
        (lambda pairs: ["much"] * len(pairs), "ValueError"),
        (lambda pairs: None, "no finite number"),
    ],
)
def test_an_aim_that_fails_is_named_with_the_pair(fleet, cost, told):
    aimed = fleet.replace(policy=fleet.policy.replace(then="mine")).having(planner.OwnAim("mine", cost))
    with pytest.raises(planner.InputError, match=told) as caught:
        planner.plan(aimed)
    assert "Your own aim mine" in str(caught.value)


@pytest.mark.parametrize("name", ["", "two words", "a,b", "own:x", "latency", "moves"])
def test_a_name_that_the_setting_cannot_hold_is_refused(name):
    with pytest.raises(planner.InputError, match="another name"):
        planner.OwnAim(name, lambda pairs: 0.0)


def test_other_wrong_calls_are_refused(fleet):
    for step in (0, -1, float("nan"), float("inf"), 1e-9):
        with pytest.raises(planner.InputError, match="step"):
            planner.OwnAim("mine", lambda pairs: 0.0, step=step)
    with pytest.raises(planner.InputError, match="Use some of: moves latency margin spread"):
        planner.plan(fleet.replace(policy=fleet.policy.replace(then="mine")))
    mine = planner.OwnAim("mine", against_the_alphabet)
    with pytest.raises(planner.InputError, match="have the name mine"):
        fleet.having(mine, planner.OwnRule("mine", lambda pairs: (pairs["rtt_ms"] < 0, "")))
    assert pickle.loads(pickle.dumps(fleet.having(mine))).own_aims == (mine,)


def test_the_names_of_known_aims_are_those_that_are_checked():
    assert set(LATER_AIMS) == set(_AFTER)


def test_a_package_offers_an_aim(fleet, monkeypatch):
    from importlib.metadata import EntryPoint

    offered = [EntryPoint("alphabet", f"{__name__}:OFFERED", "castingvote")]
    monkeypatch.setattr("importlib.metadata.entry_points", lambda group: offered)
    assert installed("alphabet") is OFFERED


OFFERED = planner.OwnAim("alphabet", against_the_alphabet)
