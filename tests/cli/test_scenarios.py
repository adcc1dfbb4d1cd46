"""sweep, horizon and designs as a user calls them: exit codes, what goes where, and Ctrl-C."""

import json
import signal

import pytest


def test_a_sweep_prints_a_table_and_writes_what_was_asked_for(call, twelve_sites, tmp_path):
    vary = ["--vary", "latency_budget_ms=15,20", "--jobs", 1]
    done = call("sweep", twelve_sites, *vary, "-o", "s.xlsx", "--json", "s.json", "--chart", "s.svg")
    assert done.code == 0
    assert "latency_budget_ms=15" in done.out
    assert "proven by groups of sites" in done.out
    assert "1 of 12 sites state their own latency_budget_ms" in done.err
    assert {p.name for p in tmp_path.iterdir()} == {"s.xlsx", "s.json", "s.svg"}


def test_json_on_standard_output_is_all_there_is(call, twelve_sites):
    done = call("sweep", twelve_sites, "--vary", "cluster_cap=4,8", "--jobs", 1, "--json", "-", "--rtt-spread", 10)
    assert done.code == 0
    points = json.loads(done.out)["points"]
    assert [point["scenario"] for point in points] == ["as it is", "cluster_cap=4", "cluster_cap=8"]
    assert all(0 <= point["figures"]["certainty"]["within"] <= 1 for point in points)


def test_a_scenario_that_cannot_be_planned_ends_with_1(call, twelve_sites, tmp_path):
    (tmp_path / "what_if.toml").write_text('[scenario.odd]\nclose_hubs = ["NONE"]\n', encoding="utf-8")
    done = call("sweep", twelve_sites, "--scenarios", "what_if.toml", "--jobs", 1)
    assert done.code == 1
    assert "no hub NONE" in done.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Nothing is varied"),
        (["--vary", "latency=3"], "no setting"),
        (["--vary", "cover=none", "--chart", "x.pdf"], ".png or .svg"),
        (["--vary", "cover=none", "-o", "x.xls"], ".xlsx"),
        (["--scenarios", "none.toml"], "cannot be read"),
        (["--vary", "cover=none", "--dask", "nowhere"], "No Dask scheduler answers"),
    ],
)
def test_wrong_calls_end_with_2_and_write_nothing(call, twelve_sites, tmp_path, arguments, words):
    done = call("sweep", twelve_sites, *arguments)
    assert done.code == 2
    assert words in done.err
    assert not list(tmp_path.iterdir())


def test_ctrl_c_keeps_the_points_so_far(terminal, tmp_path):
    from tests.cli.conftest import ROOT

    fleet = ROOT / "sample_fleets" / "county_chain.xlsx"
    vary = "sites.latency_budget_ms=x0.5:1.5:0.01"
    child = terminal("sweep", fleet, "--vary", vary, "--solve-all", "--jobs", 1, "--json", "s.json")
    child.read(until="s left")
    child.interrupt(signal.SIGINT)
    assert child.end() == 1
    data = json.loads((tmp_path / "s.json").read_text())
    assert not data["complete"]
    assert 0 < sum(point["figures"] is not None for point in data["points"]) < 102
    assert data["points"][-1]["error"] == "not planned: the sweep was interrupted"


def test_a_horizon_tells_when_the_next_host_is_needed(call, fleets):
    fleet = fleets.write(
        Sites=[["site", "release", "opens"], ["0001", "8.2", ""], ["0002", "8.2", "2028-03-01"]],
        Hubs=[["hub", "max_hosts", "existing_hosts", "cluster_cap"], ["ESK", 2, 1, 1]],
    )
    done = call("horizon", fleet, "--from", "2027-01-01", "--periods", 2, "-o", "h.xlsx", "--json", "h.json")
    assert done.code == 0
    assert "Next host by 2028-03-01: 1 at ESK." in done.out
    assert call("horizon", fleet, "--from", "soon").code == 2


def test_a_horizon_reads_the_sheet_changes(call, fleets):
    fleet = fleets.write(
        Changes=[["date", "site", "pool", "column", "value"], ["2028-01-01", "0001", "", "latency_budget_ms", "5"]]
    )
    done = call("horizon", fleet, "--from", "2027-01-01", "--periods", 2, "--json", "-")
    assert done.code == 1
    assert [step["unserved"] for step in json.loads(done.out)["steps"]] == [[], ["0001"]]


def test_designs_are_compared(call, twelve_sites):
    done = call("designs", twelve_sites, "-o", "d.xlsx", "--json", "d.json")
    assert done.code == 0
    assert "three nodes" in done.out
    assert "costs more than 4,500 GBP" in done.out  # a host costs 900 a year
    assert "price is not known" in done.err
