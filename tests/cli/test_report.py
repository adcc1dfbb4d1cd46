"""`castingvote report` and `plan --report`: the page is written, and a plan that does not hold is an objection."""

import json


def test_a_plan_becomes_a_page(call, tmp_path, twelve_sites):
    assert call("plan", "-q", twelve_sites, "-o", "plan.xlsx").code == 0
    done = call("report", twelve_sites, "plan.xlsx", "-o", "plan.html")
    assert (done.code, done.out, done.err) == (0, "Written: plan.html\n", "")
    text = (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert "4 tie-breaker hosts at 3 hubs" in text
    assert 'id="curve-chart"' in text


def test_the_curve_can_be_left_out(call, tmp_path, twelve_sites):
    call("plan", "-q", twelve_sites, "--json", "plan.json")
    assert call("report", twelve_sites, "plan.json", "-o", "plan.html", "--curve-seconds", 0).code == 0
    assert 'id="curve-chart"' not in (tmp_path / "plan.html").read_text(encoding="utf-8")


def test_plan_writes_the_page_too(call, tmp_path, twelve_sites):
    done = call("plan", twelve_sites, "--report", "plan.html")
    assert done.code == 0
    assert "Written: plan.html" in done.out
    assert 'id="curve-chart"' in (tmp_path / "plan.html").read_text(encoding="utf-8")


def test_a_plan_that_does_not_hold_is_reported_and_ends_in_1(call, tmp_path, twelve_sites):
    call("plan", "-q", twelve_sites, "--json", "plan.json")
    data = json.loads((tmp_path / "plan.json").read_text())
    data["assignments"][0]["rtt_ms"] = 1.0
    (tmp_path / "plan.json").write_text(json.dumps(data))
    done = call("report", twelve_sites, "plan.json", "-o", "plan.html", "--curve-seconds", 0)
    assert done.code == 1
    assert "does not hold" in done.err
    assert "This plan does not hold" in (tmp_path / "plan.html").read_text(encoding="utf-8")


def test_a_name_that_is_no_page_is_refused_before_any_work(call, tmp_path, twelve_sites):
    for arguments in (("report", twelve_sites, "plan.json", "-o"), ("plan", twelve_sites, "--report")):
        done = call(*arguments, "page.json")
        assert done.code == 2
        assert "ends in .html" in done.err
    assert not list(tmp_path.iterdir())
