"""Sheet Charts: each chart draws cells of its own sheet, and these say what the plan says."""

from collections import Counter

import openpyxl
import pytest
from openpyxl.utils import range_boundaries

from planner.outputs import read_plan, styles, write_workbook
from planner.outputs.charts_sheet import hub_rows, load_rows, margin_rows
from planner.outputs.facts import Facts
from planner.plan import Assignment, Host


@pytest.fixture(scope="module")
def path(fleet, plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("charts") / "plan.xlsx"
    write_workbook(fleet, plan, path)
    return path


@pytest.fixture(scope="module")
def sheet(path):
    return openpyxl.load_workbook(path)["Charts"]


def cells(sheet, reference):
    title, area = reference.rsplit("!", 1)
    assert title.strip("'") == sheet.title
    left, top, right, bottom = range_boundaries(area.replace("$", ""))
    assert left == right
    return [sheet.cell(row, left).value for row in range(top, bottom + 1)]


def drawn(sheet, number):
    """What chart ``number`` draws: its labels, and its numbers by the name of the series."""
    series = sheet._charts[number].series
    (labels,) = {s.cat.strRef.f for s in series}
    numbers = {cells(sheet, f"{s.tx.strRef.f}")[0]: cells(sheet, s.val.numRef.f) for s in series}
    return cells(sheet, labels), numbers


def test_the_charts_draw_what_the_plan_says(sheet, plan):
    assert len(sheet._charts) == 3
    labels, numbers = drawn(sheet, 0)
    assert labels == [host.host for host in plan.host_list]
    assert numbers["clusters"] == [host.clusters for host in plan.host_list]
    assert numbers["usable"] == [host.usable for host in plan.host_list]

    labels, numbers = drawn(sheet, 1)
    assert sum(numbers["sites"]) == len({a.site for a in plan.assignments})
    for label, number in zip(labels, numbers["sites"], strict=True):
        low, high = map(int, label.split(" to "))
        assert number == sum(low <= round(a.margin_ms, 9) < high for a in plan.assignments)

    labels, numbers = drawn(sheet, 2)
    hosts = Counter((host.hub, host.existing) for host in plan.host_list)
    assert set(labels) == {host.hub for host in plan.host_list}
    assert numbers["existing"] == [hosts[hub, True] for hub in labels]
    assert numbers["new"] == [hosts[hub, False] for hub in labels]


def test_the_charts_have_titles_units_and_safe_colours_and_print_across_one_page(sheet):
    safe = {styles.LINE, styles.BLUE, styles.BLUISH_GREEN, styles.SKY_BLUE, styles.ORANGE}
    for chart in sheet._charts:
        assert chart.title is not None
        assert chart.x_axis.title is not None
        assert chart.y_axis.title is not None
        assert {_colour(s.graphicalProperties.solidFill) for s in chart.series} <= safe
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.page_setup.fitToWidth == 1


def test_the_plan_reads_back_past_the_charts(path, plan):
    back = read_plan(path)
    assert (back.host_list, back.assignments) == (plan.host_list, plan.assignments)


def test_of_too_many_hosts_and_hubs_the_load_chart_shows_those_with_the_least_room_and_says_so(fleet, plan, tmp_path):
    many = tuple(Host(f"H{i}", f"HUB{i}", f"HUB{i}", "", i % 50, 50, 50, False) for i in range(100))
    large = plan.replace(host_list=many)
    rows = load_rows(Facts(fleet, large))
    room = sorted(host.usable - host.clusters for host in many)
    assert sorted(usable - clusters for _, usable, clusters in rows) == room[:60]
    assert len(hub_rows(Facts(fleet, large))) == 60
    write_workbook(fleet, large, tmp_path / "plan.xlsx")
    said = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Charts"]["A2"].value
    assert "60 of 100 hosts with the least room" in said
    assert "60 of 100 hubs" in said


def test_margins_of_a_bound_belong_to_the_upper_bin_and_a_split_site_counts_once(fleet, plan):
    rtts = {"a": 40.0, "b": 39.0, "c": 37.5, "d": 41.5, "e": float("nan")}
    rows = [Assignment(site, "H", "H", 1, rtt, 40.0, "measured") for site, rtt in rtts.items()]
    rows.append(Assignment("a", "H", "H", 1, 39.9, 40.0, "measured"))
    found = margin_rows(Facts(fleet, plan.replace(assignments=tuple(rows))))
    assert found == [("-2 to -1", 1), ("-1 to 0", 0), ("0 to 1", 1), ("1 to 2", 1), ("2 to 3", 1)]


def _colour(fill):
    """openpyxl reads the colour back as text or as an element, by its version."""
    text = getattr(fill, "srgbClr", fill)
    return getattr(text, "val", text)
