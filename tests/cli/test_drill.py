"""`castingvote drill` and `castingvote availability`: what they print, write and answer to their caller."""

import itertools
import json

import openpyxl
import pytest

FIGURES = [
    ["setting", "value"],
    ["latency_budget_ms", 20],
    ["node_mtbf_hours", 8000],
    ["node_mttr_hours", 8],
    *([f"{part}_availability_percent", 99.9] for part in ("site_uplink", "host", "hub", "hub_uplink")),
]


@pytest.fixture
def planned(call, fleets):
    """The small fleet and its plan, which names no standby."""

    def make(**sheets):
        folder = fleets.write(**sheets)
        assert call("plan", folder, "-o", "plan.xlsx", "--json", "plan.json", "-q").code == 0
        return folder

    return make


def test_every_loss_is_told_and_a_plan_that_claims_no_cover_ends_in_0(call, planned):
    done = call("drill", planned(), "plan.json")
    assert (done.code, done.err) == (0, "")
    assert "Losing the only host, ESK-01 (" in done.out
    assert any(line.startswith("hub ESK") and " no" in line for line in done.out.splitlines())
    assert "set cover in Policy" in done.out


def test_a_named_loss_that_leaves_a_site_without_a_vote_ends_in_1(call, planned):
    done = call("drill", planned(), "plan.xlsx", "--lose", "ESK-01")
    assert done.code == 1
    assert "keep running on two votes" in done.out
    assert "2 clusters would still stop if a node failed" in done.out


def test_an_unknown_name_ends_in_2_and_writes_nothing(call, planned, tmp_path):
    done = call("drill", planned(), "plan.json", "--lose", "ESQ", "-o", "drill.xlsx")
    assert (done.code, done.out) == (2, "")
    assert "Was hub:ESK meant?" in done.err
    assert not (tmp_path / "drill.xlsx").exists()


@pytest.mark.parametrize("lose", [(), ("--lose", "hub:ESK")])
def test_json_is_all_that_stands_on_standard_output(call, planned, lose):
    done = call("drill", planned(), "plan.json", "--json", "-", *lose)
    data = json.loads(done.out)
    assert bool(data["drill"]) == bool(lose)
    assert bool(data["singles"]) != bool(lose)


def test_an_output_may_not_replace_the_plan(call, planned):
    done = call("drill", planned(), "plan.xlsx", "-o", "plan.xlsx")
    assert done.code == 2
    assert "named twice" in done.err


def test_the_drill_workbook_and_the_sheet_of_the_plan_say_the_same(call, planned, tmp_path):
    done = call("drill", planned(), "plan.json", "-o", "drill.xlsx")
    assert "Written: drill.xlsx" in done.out
    tables = []
    for name in ("drill.xlsx", "plan.xlsx"):
        sheet = openpyxl.load_workbook(tmp_path / name)["Drills"]
        tables.append([[cell.value for cell in row] for row in sheet.iter_rows()])
    assert tables[0] == tables[1]
    assert [row[0] for row in tables[0][1:]] == ["ESK-01", "ESK"]


def test_quiet_prints_nothing(call, planned):
    done = call("drill", planned(), "plan.json", "-q")
    assert (done.code, done.out, done.err) == (0, "", "")


def test_availability_without_figures_says_what_to_fill_in_and_ends_in_1(call, planned, tmp_path):
    done = call("availability", planned(), "plan.json")
    assert done.code == 1
    assert "Nothing was computed: figures are missing, and none are assumed." in done.out
    assert "node_availability_percent" in done.out
    assert "Availability" not in openpyxl.load_workbook(tmp_path / "plan.xlsx").sheetnames


def test_availability_with_figures(call, planned, tmp_path):
    fleet = planned(Policy=FIGURES)
    done = call("availability", fleet, "plan.xlsx", "-o", "uptime.xlsx")
    assert (done.code, done.err) == (0, "")
    # node down 8/8008, third vote down 1 - 0.999^4, by hand: d^2 + 2 d (1 - d) v
    d, v = 8 / 8008, 1 - 0.999**4
    minutes = (d * d + 2 * d * (1 - d) * v) * 525_600
    assert f"down for {minutes:,.1f} minutes a year" in done.out
    assert "Assumed: Parts fail independently" in done.out
    assert {"Availability", "Availability by site"} <= set(openpyxl.load_workbook(tmp_path / "plan.xlsx").sheetnames)
    sheet = openpyxl.load_workbook(tmp_path / "uptime.xlsx")["Availability by site"]
    assert sheet["E2"].value == pytest.approx(minutes, rel=1e-12)
    data = json.loads(call("availability", fleet, "plan.json", "--json", "-").out)
    assert data["sites"][0]["minutes"] == pytest.approx(minutes, rel=1e-12)


def test_a_fraction_in_the_place_of_a_percentage_is_doubted(call, fleets):
    policy = [["setting", "value"], ["latency_budget_ms", 20], ["host_availability_percent", 0.999]]
    sites = [["site", "release", "node_availability_percent"], ["0001", "8.2", 0.99], ["0002", "8.2", 99.9]]
    done = call("check", fleets.write(Policy=policy, Sites=sites))
    assert "Policy!B3: host_availability_percent is not above 1 %" in done.out
    assert "Sites!C2: node_availability_percent is not above 1 %" in done.out


def test_limits_of_the_policy_are_kept_and_stand_beside_the_largest_blast_radii(call, fleets, tmp_path):
    """Three sites of equal weight reach two hubs; a hub may hit two clusters, so the far one takes the third."""
    sites = [["site", "clusters"], ["A", 1], ["B", 1], ["C", 1]]
    hubs = [["hub"], ["ESK"], ["NEW"]]
    latency = [["site", "hub", "rtt_ms"], *([s, h, ms] for s, h, ms in itertools.product("ABC", ["ESK", "NEW"], [5]))]
    policy = [
        ["setting", "value"],
        ["latency_budget_ms", 20],
        ["max_blast_radius_hub", 2],
        ["max share percent zone", 70],
    ]
    folder = fleets.write(Sites=sites, Hubs=hubs, Latency=latency, Policy=policy)
    assert call("plan", folder, "-o", "plan.xlsx", "--json", "plan.json", "-q").code == 0
    assert call("verify", folder, "plan.xlsx").code == 0
    sheet = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Blast radius"]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)]
    hubs = [row[1:] for row in rows if row[1] == "hub"]
    assert hubs == [
        ["hub", 2, 2, 2, pytest.approx(2 / 3), 0.7, "yes"],
        ["hub", 1, 1, 2, pytest.approx(1 / 3), 0.7, "yes"],
    ]
    told = call("drill", folder, "plan.json").out
    assert "Largest blast radius of each host, hub and zone" in told
    assert "66.7 %" in told
    tight = fleets.write(
        Sites=sites, Hubs=[["hub"], ["ESK"], ["NEW"]], Latency=latency, Policy=[*policy, ["max_share_percent", 30]]
    )
    assert call("verify", tight, "plan.xlsx").code == 1
    done = call("plan", tight, "--json", "none.json", "-q")
    assert done.code == 1
    assert "above max_share_percent, 30 %" in (tmp_path / "none.json").read_text(encoding="utf-8")
