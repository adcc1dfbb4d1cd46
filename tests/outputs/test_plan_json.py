"""plan.json: its keys, what it refuses, and reading it back."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.fleet import Finding, Source
from planner.outputs import plan_to_json, read_plan, write_json
from planner.outputs.read_json import plan_from_json
from planner.plan import Aim, Assignment, Host, NoHostNeeded, Plan, Proof, Reason, Uncovered, Unserved

TEXT = st.text(max_size=12)
ID = st.text(min_size=1, max_size=12)
WHOLE = st.integers(0, 10_000)
NUMBER = st.floats(allow_nan=False, allow_infinity=False)
COUNT_OR_MONEY = st.floats(0, 1e12)
PLAIN = st.dictionaries(TEXT, st.none() | st.booleans() | NUMBER | TEXT | st.lists(WHOLE, max_size=3), max_size=3)


def some(strategy):
    return st.lists(strategy, max_size=3).map(tuple)


PLANS = st.builds(
    Plan,
    status=st.sampled_from(["optimal", "feasible"]),
    objective=st.sampled_from(["hosts", "new_hosts", "cost"]),
    objective_value=COUNT_OR_MONEY,
    lower_bound=COUNT_OR_MONEY,
    host_list=some(st.builds(Host, ID, ID, ID, TEXT, WHOLE, WHOLE, WHOLE, st.booleans())),
    assignments=some(
        st.builds(
            Assignment,
            site=ID,
            host=ID,
            hub=ID,
            clusters=WHOLE,
            rtt_ms=NUMBER,
            budget_ms=NUMBER,
            evidence=st.sampled_from(["measured", "modelled", "estimated"]),
            standby=st.none() | ID,
            moved_from=st.none() | ID,
            action=st.sampled_from(["keep", "attach", "move"]),
            standby_rtt_ms=st.none() | NUMBER,
            measured_at=st.none() | st.just("2026-11-20T10:00:00"),
            rtt_low_ms=st.none() | NUMBER,
            rtt_high_ms=st.none() | NUMBER,
        )
    ),
    unserved=some(st.builds(Unserved, ID, WHOLE, some(st.builds(Reason, ID, TEXT)), TEXT, st.none() | ID)),
    no_host_needed=some(st.builds(NoHostNeeded, ID, st.sampled_from(["own_tie_breaker", "no_clusters"]))),
    uncovered=some(st.builds(Uncovered, ID, some(st.builds(Reason, ID, TEXT)))),
    before=some(st.builds(Aim, st.sampled_from(["served", "covered"]), NUMBER, NUMBER, st.just(value=False))),
    then=some(st.builds(Aim, st.sampled_from(["moves", "spread"]), NUMBER, NUMBER, st.just(value=False))),
    proof=st.builds(Proof, ID, TEXT, PLAIN),
    findings=some(st.builds(Finding, st.sampled_from(["error", "warning", "info"]), ID, TEXT, TEXT, TEXT, TEXT)),
    policy=PLAIN,
    seconds=st.dictionaries(ID, NUMBER, max_size=2),
    sources=some(st.builds(Source, TEXT, TEXT)),
    version=TEXT,
    extra_hosts=st.integers(0, 9),
)


@given(PLANS)
@settings(max_examples=50, deadline=None)
def test_any_plan_comes_back_the_same(plan):
    text = plan_to_json(plan)
    back, findings = plan_from_json(text.encode(), "plan.json")
    assert findings == []
    assert back == plan
    assert plan_to_json(back) == text


def test_file_comes_back_the_same(plan, tmp_path):
    write_json(plan, tmp_path / "plan.json")
    assert read_plan(tmp_path / "plan.json") == plan


def test_keys_are_those_of_format_1(plan):
    data = json.loads(plan_to_json(plan))
    documented = ["format", "status", "objective", "hosts", "lower_bound", "gap", "seconds", "host_list", "assignments"]
    documented += ["unserved", "proof", "findings", "policy"]
    added = ["objective_value", "uncovered", "cover_prices", "no_host_needed", "aims", "measure_first"]
    added += ["sources", "version", "headline", "complete", "fleet_id", "number", "hash", "follows", "emptied"]
    added += ["extra_hosts"]
    assert sorted(data) == sorted(documented + added)
    assert data["format"] == 1
    assert (data["hosts"], data["gap"]) == (len(plan.host_list), 0.0)
    assert list(data["host_list"][0]) == ["host", "hub", "pool", "release", "clusters", "cap", "usable", "existing"]
    assert data["host_list"][0]["cap"] == 24
    assert data["host_list"][0]["usable"] == 21
    assert set(data["assignments"][0]) == {
        "site", "host", "hub", "clusters", "rtt_ms", "budget_ms", "evidence", "standby", "moved_from", "action",
        "standby_rtt_ms", "measured_at", "rtt_low_ms", "rtt_high_ms",
    }  # fmt: skip
    assert data["unserved"][0]["reasons"][0] == {"code": "latency", "detail": plan.unserved[0].reasons[0].detail}
    assert set(data["findings"][0]) == {"severity", "code", "where", "message", "hint", "file"}


def test_each_assignment_has_a_line_of_its_own(plan):
    lines = plan_to_json(plan).splitlines()
    assert sum('"evidence"' in line for line in lines) == len(plan.assignments)


def test_text_is_ascii_whatever_the_ids(plan):
    odd = plan.replace(version="Zürich 🏪 \ud800")
    assert plan_to_json(odd).isascii()
    assert json.loads(plan_to_json(odd))["version"] == odd.version


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_number_that_json_lacks_is_refused(plan, number):
    with pytest.raises(ValueError, match="not JSON compliant"):
        plan_to_json(plan.replace(objective_value=number))


def test_numpy_values_in_the_proof_become_plain_numbers(plan):
    proof = Proof("cuts", "", {"bound": np.int64(3), "loads": np.array([1.5, 2.0]), "sure": np.bool_(True)})
    assert json.loads(plan_to_json(plan.replace(proof=proof)))["proof"]["details"] == {
        "bound": 3, "loads": [1.5, 2.0], "sure": True
    }  # fmt: skip


def test_thing_that_is_no_data_is_refused(plan):
    with pytest.raises(TypeError, match="set"):
        plan_to_json(plan.replace(policy={"a": {1}}))


def refused(text, tmp_path):
    path = tmp_path / "plan.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError) as caught:
        read_plan(path)
    assert all(f.severity == "error" and f.file == "plan.json" for f in caught.value.findings)
    return [(finding.where, finding.message) for finding in caught.value.findings]


def changed(plan, **changes):
    return json.dumps({**json.loads(plan_to_json(plan)), **changes})


def test_all_that_is_wrong_is_told_at_once_with_its_place(plan, tmp_path):
    data = json.loads(plan_to_json(plan))
    data["status"] = "splendid"
    data["assignments"][3].update(rtt_ms="18.4", host="", clusters=1.5, evidence="guessed")
    data["host_list"][2].update(existing="no", cap=True)
    data["host_list"][1] = 7
    data["unserved"][0]["reasons"] = [{"detail": "far"}]
    data["lower_bound"] = None
    assert refused(json.dumps(data), tmp_path) == [
        ("host_list[1]", "host_list[1] is 7, not an object."),
        ("host_list[2].cap", "cap is True, not a number."),
        ("host_list[2].existing", "existing is 'no', not true or false."),
        ("status", "status is 'splendid', not one of optimal, feasible."),
        ("lower_bound", "lower_bound is missing or blank."),
        ("assignments[3].host", "host is missing or blank."),
        ("assignments[3].clusters", "clusters is 1.5, not a whole number."),
        ("assignments[3].rtt_ms", "rtt_ms is '18.4', not a number."),
        ("assignments[3].evidence", "evidence is 'guessed', not one of measured, modelled, estimated."),
        ("unserved[0].reasons[0].code", "code is missing or blank."),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "neither a workbook nor JSON"),
        ("{", "neither a workbook nor JSON"),
        ("[1]", "does not hold a plan"),
        ('{"format": NaN}', "NaN is no JSON number"),
        (b"\xff\xfe\x00", "neither a workbook nor"),
        ("[" * 100_000, "neither a workbook nor"),
    ],
)
def test_file_that_is_no_plan_is_refused_in_a_sentence(tmp_path, text, said):
    ((_, message),) = refused(text, tmp_path)
    assert said in message


def test_every_missing_key_is_named(tmp_path):
    assert [where for where, _ in refused('{"format": 1, "status": "optimal"}', tmp_path)] == [
        "objective", "lower_bound", "host_list", "assignments", "unserved"
    ]  # fmt: skip


def test_newer_format_is_refused(plan, tmp_path):
    ((where, message),) = refused(changed(plan, format=2), tmp_path)
    assert (where, "2 is not 1" in message) == ("format", True)


@pytest.mark.parametrize("number", ["1e999", "1" + "0" * 400])
def test_number_beyond_every_float_is_refused(plan, tmp_path, number):
    text = changed(plan, lower_bound="HERE").replace('"HERE"', number)
    ((where, _),) = refused(text, tmp_path)
    assert where == "lower_bound"


def test_list_that_is_none_is_refused(plan, tmp_path):
    assert refused(changed(plan, assignments={}), tmp_path) == [("assignments", "assignments is {}, not a list.")]


def test_plan_by_another_program_needs_only_the_documented_keys(plan, tmp_path):
    data = json.loads(plan_to_json(plan))
    for key in (
        "objective_value",
        "no_host_needed",
        "aims",
        "sources",
        "version",
        "seconds",
        "findings",
        "policy",
        "proof",
    ):
        del data[key]
    for host in data["host_list"]:
        del host["usable"]
    for assignment in data["assignments"]:
        del assignment["action"]
    for unserved in data["unserved"]:
        del unserved["clusters"], unserved["remedy"]
    (tmp_path / "plan.json").write_text(json.dumps(data), encoding="utf-8-sig")
    back = read_plan(tmp_path / "plan.json")
    assert back.objective_value == plan.hosts
    assert back.host_list[0].usable == back.host_list[0].cap
    assert all(a.action == ("move" if a.moved_from else "attach") for a in back.assignments)
    assert [u.clusters for u in back.unserved] == [1, 1, 1, 1]


def test_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.json"):
        read_plan(tmp_path / "nowhere.json")
