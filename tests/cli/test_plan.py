"""`castingvote plan`: what it prints, what it writes, and what it answers to its caller."""

import json

import pytest

from planner.outputs import read_plan


def test_json_on_standard_output_is_alone_there_though_the_solver_prints_below_python(run, twelve_sites):
    done = run("plan", twelve_sites, "--json", "-")
    assert done.returncode == 0
    assert json.loads(done.stdout)["hosts"] == 4
    assert done.stdout.startswith("{")
    assert done.stdout.endswith("}\n")
    assert "4 tie-breaker hosts" in done.stderr


def test_json_on_standard_output_is_alone_there_beside_a_workbook(call, tmp_path, twelve_sites):
    done = call("plan", twelve_sites, "--json", "-", "-o", "plan.xlsx")
    assert done.code == 0
    data = json.loads(done.out)
    assert data["seconds"]["write"] > 0
    assert read_plan(tmp_path / "plan.xlsx").hosts == data["hosts"] == 4


def test_a_site_that_cannot_be_served_ends_in_1_with_the_rest_planned(call, tmp_path, fleets):
    done = call("plan", fleets.unserved(), "-o", "plan.xlsx", "--json", "plan.json")
    assert done.code == 1
    assert "not served, 1 site: raise its latency budget, or add a nearer hub (0002)" in done.out
    for name in ("plan.xlsx", "plan.json"):
        plan = read_plan(tmp_path / name)
        assert plan.status == "optimal"
        assert not plan.complete
        assert [u.site for u in plan.unserved] == ["0002"]
        assert [a.site for a in plan.assignments] == ["0001"]


def test_without_an_output_the_plan_is_only_summed_up(call, tmp_path, twelve_sites):
    done = call("plan", twelve_sites)
    assert done.code == 0
    assert "4 tie-breaker hosts at 3 hubs serve 11 of 11 sites" in done.out
    assert done.err == ""
    assert not list(tmp_path.iterdir())


def test_warnings_of_the_input_are_printed_and_do_not_mix_with_the_plan(call, fleets):
    fleets.write(Current=[["site", "hub"], ["0001", "ESK"], ["0007", "ESK"]])
    done = call("plan", fleets.folder)
    assert done.code == 0
    assert "Current!A3" in done.err
    assert "Current!A3" not in done.out


@pytest.mark.parametrize("outputs", [("-o", "plan.xlsx"), ("--json", "plan.json"), ()])
def test_quiet_prints_nothing(call, tmp_path, twelve_sites, outputs):
    done = call("plan", "--quiet", twelve_sites, *outputs)
    assert (done.code, done.out, done.err) == (0, "", "")
    assert [path.name for path in tmp_path.iterdir()] == list(outputs[1:])


def test_quiet_leaves_json_on_standard_output(call, twelve_sites):
    done = call("plan", "-q", twelve_sites, "--json", "-")
    assert done.err == ""
    assert json.loads(done.out)["status"] == "optimal"


def test_quiet_does_not_hide_why_there_is_no_plan(call, fleets):
    done = call("plan", "-q", fleets.wrong())
    assert done.code == 2
    assert "soon" in done.err


def test_the_written_files_are_named(call, twelve_sites):
    done = call("plan", twelve_sites, "-o", "plan.xlsx", "--json", "plan.json")
    assert "Written: plan.xlsx" in done.out
    assert "Written: plan.json" in done.out


def test_an_earlier_plan_is_replaced(call, tmp_path, twelve_sites):
    (tmp_path / "plan.json").write_text("old")
    assert call("plan", "-q", twelve_sites, "--json", "plan.json").code == 0
    assert read_plan(tmp_path / "plan.json").hosts == 4
