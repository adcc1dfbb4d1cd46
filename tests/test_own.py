"""Rules and round-trip times that callers give: they reach the plan, its reasons, its check and its workbook."""

import numpy as np
import openpyxl
import pandas as pd
import pytest

import planner
from tests.test_api import TWELVE_SITES


def not_cedar(pairs):
    return pairs["hub"] == "CEDAR", "CEDAR is closed to visitors"


def nobody(pairs):
    return np.ones(len(pairs), dtype=bool), [f"{site} is on its own" for site in pairs["site"]]


@pytest.fixture(scope="module")
def fleet():
    return planner.read_fleet(TWELVE_SITES)


@pytest.fixture(scope="module")
def ruled(fleet):
    return fleet.having(planner.OwnRule("no_cedar", not_cedar))


@pytest.fixture(scope="module")
def made(ruled):
    return planner.plan(ruled)


def violations(fleet, plan):
    return [one for one in planner.verify(fleet, plan) if one.severity == "violation"]


def test_a_rule_keeps_sites_away_and_is_the_reason_of_those_that_are_left_out(fleet, made):
    assert "CEDAR" in {host.hub for host in planner.plan(fleet).host_list}
    assert "CEDAR" not in {row.hub for row in made.assignments}
    assert made.unserved
    reasons = [reason for entry in made.unserved for reason in entry.reasons if reason.code == "own:no_cedar"]
    assert reasons
    assert "CEDAR is closed to visitors (your own rule no_cedar)" in reasons[0].detail


def test_the_rule_holds_for_one_fleet_and_not_for_the_next(fleet, made):
    assert planner.plan(fleet).complete
    assert not made.complete


def test_the_check_asks_the_rule_again_and_says_who_gave_it(fleet, ruled, made):
    assert violations(ruled, made) == []
    (told,) = {(one.code, one.message) for one in violations(ruled, planner.plan(fleet)) if one.code == "own_rule"}
    assert told == ("own_rule", "your own rule no_cedar: CEDAR is closed to visitors")
    notes = [one for one in planner.verify(fleet, made) if one.code == "own_rule"]
    assert {one.severity for one in notes} == {"note"}
    assert "not to verify; it was not checked" in notes[0].message


def test_a_site_that_no_rule_keeps_out_is_not_unserved_for_one(fleet, made):
    lenient = fleet.having(planner.OwnRule("no_cedar", lambda pairs: (pairs["rtt_ms"] < 0, "never")))
    assert "unserved" in {one.code for one in violations(lenient, made)}


def test_explanations_and_files_name_it(ruled, made, tmp_path):
    site = made.unserved[0].site
    view = planner.explain(ruled, site=site).site
    assert "own:no_cedar" in {reason.code for pool in view.pools for reason in pool.reasons}
    planner.write_workbook(ruled, made, tmp_path / "plan.xlsx")
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx", read_only=True)
    text = " ".join(str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell)
    assert "Rule no_cedar is your own" in text
    assert "CEDAR is closed to visitors" in text
    assert planner.read_plan(tmp_path / "plan.xlsx").unserved == made.unserved


def test_a_rule_knows_every_column_also_those_of_the_user(fleet):
    mine = fleet.replace(sites=fleet.sites.assign(visits=["night"] * 6 + ["day"] * 6))
    seen = []

    def judge(pairs):
        seen.append(list(pairs.columns))
        return (pairs["site.visits"] == "night") & (pairs["pool.hub"] != "ALDER"), "no visits at night"

    made = planner.plan(mine.having(planner.OwnRule("nights", judge)))
    hubs = {row.site: row.hub for row in made.assignments}
    assert {hubs[site] for site in fleet.site_ids[:6] if site in hubs} <= {"ALDER"}
    wanted = {"site", "hub", "pool", "rtt_ms", "budget_ms", "loss_percent", "evidence", "measured_at", "clusters"}
    assert wanted <= set(seen[0])


def test_nobody_may_use_anything(fleet):
    alone = fleet.having(planner.OwnRule("alone", nobody))
    made = planner.plan(alone)
    assert made.hosts == 0
    assert len(made.unserved) == 11
    assert violations(alone, made) == []


def test_cover_replans_sweeps_and_proofs_heed_it(ruled):
    covered = ruled.replace(policy=ruled.policy.replace(cover="host", cluster_cap=8))
    made = planner.plan(covered)
    standbys = {row.standby for row in made.assignments}
    assert not {name for name in standbys if name and name.startswith("CEDAR")}
    assert violations(covered, made) == []
    points = planner.sweep(ruled, planner.vary("cluster_cap=3,8"), jobs=1).points
    assert all(point.origin == "solved" and point.figures.unserved for point in points)
    with pytest.raises(planner.InputError, match="without a store"):
        planner.sweep(ruled, planner.vary("cluster_cap=3"), jobs=1, store="s.sqlite")
    local = ruled.having(planner.OwnRule("here", lambda pairs: (pairs["rtt_ms"] < 0, "")))
    with pytest.raises(planner.InputError, match="jobs=1"):
        planner.sweep(local, planner.vary("cluster_cap=3"), jobs=2)


@pytest.mark.parametrize(
    ("judge", "told"),
    [
        (lambda pairs: pairs["nowhere"], "KeyError"),
        (lambda pairs: (pairs["rtt_ms"], "x"), "it returns float64"),
        (lambda pairs: (np.ones(1, dtype=bool), "x"), "it returns bool"),
        (lambda pairs: (pairs["rtt_ms"] > 0, ["x"]), "1 reasons for"),
    ],
)
def test_a_rule_that_fails_is_named(fleet, judge, told):
    with pytest.raises(planner.InputError, match=told) as caught:
        planner.plan(fleet.having(planner.OwnRule("mine", judge)))
    assert "Your own rule mine" in str(caught.value)


def test_two_of_one_name_are_refused(ruled):
    with pytest.raises(planner.InputError, match="no_cedar"):
        ruled.having(planner.OwnRule("no_cedar", nobody))


def probes(fleet):
    return pd.DataFrame({"site": fleet.site_ids[:2], "hub": "ALDER", "rtt_ms": [1.5, 2.5]})


def test_a_source_gives_what_the_fleet_does_not_state(fleet):
    bare = fleet.replace(latency=fleet.latency.iloc[:0])
    known = bare.having(planner.OwnSource("probes", probes, "modelled"))
    made = planner.plan(known)
    assert {row.site: (row.rtt_ms, row.evidence) for row in made.assignments} == {
        fleet.site_ids[0]: (1.5, "modelled"),
        fleet.site_ids[1]: (2.5, "modelled"),
    }
    assert violations(known, made) == []
    assert "Source probes is your own" in " ".join(finding.message for finding in made.findings)
    stated = planner.plan(fleet.having(planner.OwnSource("probes", probes)))
    assert stated.assignments == planner.plan(fleet).assignments


@pytest.mark.parametrize(
    ("find", "told"),
    [
        (lambda fleet: 3, "no DataFrame"),
        (lambda fleet: probes(fleet).assign(hub="OAK"), "OAK"),
        (lambda fleet: probes(fleet).assign(rtt_ms=-1), "negative"),
        (lambda fleet: 1 / 0, "ZeroDivisionError"),
    ],
)
def test_a_source_that_fails_is_named(fleet, find, told):
    with pytest.raises(planner.InputError, match=told):
        planner.plan(fleet.having(planner.OwnSource("mine", find)))


@pytest.fixture
def package(tmp_path, monkeypatch):
    """A package that offers a rule."""
    (tmp_path / "rules_of_ours.py").write_text(
        "from planner import OwnRule\nwrong = 3\n"
        "closed = OwnRule('closed', lambda pairs: (pairs['hub'] == 'CEDAR', 'closed'))\n"
    )
    info = tmp_path / "rules_of_ours-1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: rules-of-ours\nVersion: 1\n")
    points = "[castingvote]\nclosed = rules_of_ours:closed\nwrong = rules_of_ours:wrong\n"
    (info / "entry_points.txt").write_text(points)
    monkeypatch.syspath_prepend(tmp_path)


def test_installed_packages_offer_theirs(package, fleet):
    made = planner.plan(fleet.having(planner.installed("closed")))
    assert "CEDAR" not in {row.hub for row in made.assignments}
    with pytest.raises(planner.InputError, match="neither"):
        planner.installed("wrong")
    with pytest.raises(planner.InputError, match="closed, wrong"):
        planner.installed("open")


def test_commands_take_them_by_name(package, tmp_path):
    from planner.cli import main

    path = str(tmp_path / "plan.json")
    with pytest.raises(SystemExit) as ended:
        main(["plan", str(TWELVE_SITES), "--own", "closed", "--measure-first", "0", "--json", path])
    assert ended.value.code == 1
    with pytest.raises(SystemExit) as ended:
        main(["verify", str(TWELVE_SITES), path, "--own", "closed"])
    assert ended.value.code == 0


def test_sizing_and_the_check_show_the_same_pairs_by_readings_of_their_own(fleet):
    seen = []

    def judge(pairs):
        seen.append(pairs)
        return np.zeros(len(pairs), dtype=bool), ""

    mine = fleet.having(planner.OwnRule("look", judge))
    made = planner.plan(mine)
    sized = {(row["site"], row["pool"]): row for row in pd.concat(seen).to_dict("records")}
    seen.clear()
    assert violations(mine, made) == []
    checked = {(row["site"], row["pool"]): row for row in pd.concat(seen).to_dict("records")}
    assert set(sized) <= set(checked)
    for pair, row in sized.items():
        assert set(row) == set(checked[pair])
        assert [name for name in row if str(row[name]) != str(checked[pair][name])] == []
