"""What a sweep, a horizon and designs are written to: workbooks with every chart's data, JSON, pictures."""

import datetime as dt
import json
import xml.etree.ElementTree as ET

import pandas as pd
import pytest
from openpyxl import load_workbook

from planner import columns
from planner.errors import InputError
from planner.fleet import typed_table
from planner.scenarios import charts
from planner.scenarios.certainty import Uncertainty
from planner.scenarios.curves import curves_of
from planner.scenarios.designs.book import write_designs_workbook
from planner.scenarios.designs.compare_designs import compare_designs
from planner.scenarios.designs.design_sentences import to_json as designs_to_json
from planner.scenarios.horizon.book import write_horizon_workbook
from planner.scenarios.horizon.horizon_sentences import to_json as horizon_to_json
from planner.scenarios.horizon.plan_horizon import horizon
from planner.scenarios.sweep_book import write_sweep_workbook
from planner.scenarios.sweep_results import Scenario
from planner.scenarios.sweep_words import to_json
from planner.scenarios.sweeping import sweep
from planner.scenarios.task import Options
from planner.scenarios.vary import axis_of, combined

TWO_AXES = ("sites.latency_budget_ms=x0.4:1.2:0.2", "reserve_percent=0,25")


@pytest.fixture(scope="module")
def swept(twelve_sites):
    axes = [axis_of(option) for option in TWO_AXES]
    return sweep(twelve_sites, combined(axes, [Scenario("=odd name", closed_hubs=("NONE",))]), jobs=1)


@pytest.fixture(scope="module")
def good(twelve_sites):
    axes = [axis_of(option) for option in TWO_AXES]
    return sweep(twelve_sites, combined(axes, []), jobs=1, options=Options(uncertainty=Uncertainty(20.0, draws=50)))


def sheet_rows(path, sheet):
    head, *rows = load_workbook(path)[sheet].iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def refs(chart):
    """The cells that a chart draws: (sheet and range) of every series."""
    for series in chart.series:
        for part in (series.val or series.yVal, series.cat or series.xVal):
            yield (part.numRef or part.strRef).f


def test_every_figure_of_the_chart_is_in_the_workbook_and_names_its_scenario(good, tmp_path):
    write_sweep_workbook(good, tmp_path / "sweep.xlsx")
    rows = sheet_rows(tmp_path / "sweep.xlsx", "Chart")
    by_name = {point.scenario.name: point for point in good.points}
    assert {row["scenario"] for row in rows} == set(by_name) - {"as it is"}
    for row in rows:
        figures = by_name[row["scenario"]].figures
        assert (row["hosts"], row["sites unserved"]) == (figures.hosts, len(figures.unserved))
        assert row["curve"] in row["scenario"]
    sheet = load_workbook(tmp_path / "sweep.xlsx")["Chart"]
    drawn = [ref for chart in sheet._charts for ref in refs(chart)]
    assert drawn
    assert all(ref.startswith("'Chart'!$") for ref in drawn)
    assert len(sheet._charts) == 2  # some scenarios leave sites unserved


def test_the_table_has_a_row_for_each_scenario_and_the_front_those_that_are_on_it(good, tmp_path):
    write_sweep_workbook(good, tmp_path / "sweep.xlsx")
    rows = sheet_rows(tmp_path / "sweep.xlsx", "Scenarios")
    assert [row["scenario"] for row in rows] == [point.scenario.name for point in good.points]
    assert all(0 <= row["within, low end"] <= row["within budget"] <= row["within, high end"] <= 1 for row in rows)
    front = [row["scenario"] for row in sheet_rows(tmp_path / "sweep.xlsx", "Front")]
    assert front == [point.scenario.name for point in good.points if point.front]
    assert front


def test_hosts_are_shown_as_whole_numbers(good, tmp_path):
    write_sweep_workbook(good, tmp_path / "sweep.xlsx")
    heads, first = list(load_workbook(tmp_path / "sweep.xlsx")["Scenarios"].iter_rows(max_row=2))
    formats = {head.value: cell.number_format for head, cell in zip(heads, first, strict=True)}
    assert formats["objective value"] == formats["at least"] == formats["hosts"]


def test_what_hosts_buy_in_certainty_is_a_sheet_and_a_chart(good, tmp_path):
    write_sweep_workbook(good, tmp_path / "sweep.xlsx")
    rows = sheet_rows(tmp_path / "sweep.xlsx", "Certainty")
    assert [row["hosts"] for row in rows] == sorted(point.figures.hosts for point in good.points)
    certainty = {point.scenario.name: point.figures.certainty for point in good.points}
    chance = "chance that all are within budget"
    assert all(row[chance] == pytest.approx(certainty[row["scenario"]].all_within) for row in rows)
    (chart,) = load_workbook(tmp_path / "sweep.xlsx")["Certainty"]._charts
    assert len(list(refs(chart))) == 4


def test_failed_scenarios_are_rows_with_their_error_and_names_are_no_formulas(swept, tmp_path):
    write_sweep_workbook(swept, tmp_path / "sweep.xlsx")
    failed = [row for row in sheet_rows(tmp_path / "sweep.xlsx", "Scenarios") if row["hosts"] is None]
    assert len(failed) == 10
    assert all("no hub NONE" in row["proof or error"] for row in failed)
    cell = next(c for c in load_workbook(tmp_path / "sweep.xlsx")["Scenarios"]["A"] if str(c.value).startswith("=odd"))
    assert cell.data_type == "s"


def test_the_front_is_what_no_other_scenario_beats(make):
    # Budgets of 20 and 30 ms both need three hosts, 40 ms needs one: 20 and 40 are worth looking at.
    fleet = make.fleet([[10.0, 90.0, 35.0], [90.0, 10.0, 35.0], [90.0, 90.0, 10.0]], cluster_cap=3)
    points = make.swept(fleet, "latency_budget_ms=20,30,40")
    assert {name: point.figures.hosts for name, point in points.items()} == {
        "as it is": 1,
        "latency_budget_ms=20": 3,
        "latency_budget_ms=30": 3,
        "latency_budget_ms=40": 1,
    }
    front = [name for name, point in points.items() if point.front]
    assert front == ["latency_budget_ms=20", "latency_budget_ms=40"]


def test_json_holds_all_points_and_no_number_that_json_lacks(swept):
    data = json.loads(to_json(swept))
    assert len(data["points"]) == len(swept.points)
    assert data["points"][1]["error"]
    assert data["complete"]
    assert data["sources"][0]["name"] == "twelve_sites.xlsx"


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_pictures_are_drawn_and_the_same_every_time(good, tmp_path, suffix):
    pytest.importorskip("matplotlib")
    first, again = tmp_path / f"first{suffix}", tmp_path / f"again{suffix}"
    for path in (first, again):
        charts.write_picture(good, path)
    assert first.stat().st_size > 5000
    assert first.read_bytes() == again.read_bytes()
    if suffix == ".svg":
        texts = "".join(ET.parse(first).getroot().itertext())
        assert "Hosts in each scenario of twelve_sites.xlsx" in texts
        assert all(curve.name in texts for curve in curves_of(good).curves)


def test_without_an_axis_of_numbers_every_scenario_is_a_bar(make, tmp_path):
    fleet = make.fleet([[10.0, 10.0]] * 3, cluster_cap=2)
    found = sweep(fleet, combined([axis_of("split_sites=yes,no")], []), jobs=1)
    assert curves_of(found).axis == ""
    write_sweep_workbook(found, tmp_path / "bars.xlsx")
    (chart,) = load_workbook(tmp_path / "bars.xlsx")["Chart"]._charts
    assert "$A$2" in list(refs(chart))[1]  # the bars bear the scenarios' names


def test_a_missing_matplotlib_is_told(good, tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "matplotlib.figure", None)
    with pytest.raises(InputError, match=r"matplotlib is not installed.*castingvote\[charts\]"):
        charts.write_picture(good, tmp_path / "x.png")
    assert not (tmp_path / "x.png").exists()


@pytest.fixture(scope="module")
def growing(twelve_sites):
    opens = [None] * 6 + ["2028-02-01"] * 3 + ["2029-02-01"] * 3
    prices = typed_table(columns.PRICES, {"item": ["host", "own_tie_breaker"], "buy": [900.0, 300.0]})
    sites = twelve_sites.sites.assign(opens=pd.to_datetime(pd.Series(opens)))
    return twelve_sites.replace(sites=sites, prices=prices)


def test_the_horizons_chart_draws_load_and_capacity_from_its_sheet(growing, tmp_path):
    found = horizon(growing, dt.date(2027, 1, 1), periods=3)
    write_horizon_workbook(found, tmp_path / "horizon.xlsx")
    rows = sheet_rows(tmp_path / "horizon.xlsx", "Periods")
    assert [(r["load (clusters)"], r["capacity (clusters)"]) for r in rows] == [
        (s.clusters, s.room) for s in found.steps
    ]
    (chart,) = load_workbook(tmp_path / "horizon.xlsx")["Periods"]._charts
    drawn = [ref for part in (chart, *chart._charts) for ref in refs(part)]
    assert {"'Periods'!$E$2:$E$4", "'Periods'!$F$2:$F$4"} <= set(drawn)
    hosts = sheet_rows(tmp_path / "horizon.xlsx", "Hosts")
    assert sum(row["2029"] for row in hosts) == found.steps[2].standing
    data = json.loads(horizon_to_json(found))
    assert [step["hosts_standing"] for step in data["steps"]] == [step.standing for step in found.steps]
    assert data["steps"][0]["period"]["first"] == "2027-01-01"


def test_the_designs_workbook_holds_designs_flip_prices_and_sites(growing, tmp_path):
    found = compare_designs(growing)
    write_designs_workbook(found, tmp_path / "designs.xlsx")
    rows = sheet_rows(tmp_path / "designs.xlsx", "Designs")
    assert [row["design"] for row in rows] == [design.name for design in found.designs]
    flips = sheet_rows(tmp_path / "designs.xlsx", "Break-even prices")
    assert [row["hosts"] for row in flips] == [segment.hosts for segment in found.segments]
    assert len(sheet_rows(tmp_path / "designs.xlsx", "Sites")) == len(found.choices)
    data = json.loads(designs_to_json(found))
    assert data["segments"][-1]["high"] is None
    assert data["designs"][1]["costs"]["total"] == pytest.approx(found.designs[1].costs.total)
