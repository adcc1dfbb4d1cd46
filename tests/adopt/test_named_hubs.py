"""Spreadsheets in which no table lists the hubs: round-trip times name them."""

import openpyxl
import pytest

from planner.errors import InputError
from planner.intake import adopt, inspect_fleet
from tests.adopt.truth import accepted

HUBS = ("KC1", "KC2", "North DC")
OF_FOUR = [(10.5, 20.5, 33.0), (12.0, 8.5, 41.5), (22.0, 18.5, None), (9.5, 31.0, 12.5)]
TIMES = {f"F{number:04d}": OF_FOUR[number % 4] for number in range(12)}
BUDGET = ("--answer", "Policy.latency_budget_ms=40")


def written(folder, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title.replace("_", " "))
        for row in rows:
            sheet.append(row)
    path = folder / "branches.xlsx"
    book.save(path)
    return path


def stores(*more, own=()):
    head = ["Store no", "Clusters", "Release", *more]
    return [head, *([site, 1, "8.2", *each] for site, each in zip(TIMES, own or [()] * len(TIMES), strict=True))]


def pairs():
    return [(site, hub, t) for site, times in TIMES.items() for hub, t in zip(HUBS, times, strict=True) if t]


def beside(pattern):
    return {
        "Branches": stores(*(pattern.format(hub) for hub in HUBS), "Remark", own=[(*t, "") for t in TIMES.values()])
    }


def near_and_far():
    rows = []
    for times in TIMES.values():
        far, near = sorted((t, hub) for hub, t in zip(HUBS, times, strict=True) if t)[1::-1]
        rows.append((near[1], near[0], far[1], far[0]))
    return {"Branches": stores("Data centre 1", "RTT 1 (ms)", "Data centre 2", "RTT 2 (ms)", own=rows)}


LAYOUTS = {
    "beside the sites": lambda: beside("RTT {} (ms)"),
    "beside the sites, after a preposition": lambda: beside("Ping to {} [ms]"),
    "beside the sites, in a language that is not known": lambda: beside("Zzyx {} (ms)"),
    "a matrix": lambda: {"Branches": stores(), "RTT in ms": [["Store", *HUBS], *([s, *t] for s, t in TIMES.items())]},
    "one matrix that says nothing of itself": lambda: {
        "Sheet1": [["Store", *HUBS], *([s, *t] for s, t in TIMES.items())]
    },
    "below their kind": lambda: {
        "Sheet1": [
            ["Standort-ID", "Cluster", *(f"Rechenzentrum {hub}" for hub in HUBS), "Max. Latenz"],
            *([site, 1, *times, 40] for site, times in TIMES.items()),
        ]
    },
    "a matrix, hubs down": lambda: {
        "Branches": stores(),
        "RTT": [["Centre", *TIMES], *([hub, *(t[k] for t in TIMES.values())] for k, hub in enumerate(HUBS))],
    },
    "a list": lambda: {"Branches": stores(), "Pings": [["Store", "Data centre", "RTT ms"], *map(list, pairs())]},
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_hubs_are_taken_from_the_times_that_name_them(layout, tmp_path):
    inspection, result = accepted(written(tmp_path, **LAYOUTS[layout]()), tmp_path, BUDGET)
    assert "no table lists the hubs" in " ".join(result.output.split())
    fleet = inspection.fleet
    assert fleet is not None, inspection.findings
    named = [hub.removeprefix("Rechenzentrum ") for hub in fleet.latency["hub"]]
    assert {hub.removeprefix("Rechenzentrum ") for hub in fleet.hub_ids} == set(HUBS)
    found = zip(fleet.latency["site"], named, fleet.latency["rtt_ms"], strict=True)
    assert sorted(found) == sorted(pairs())


def test_hubs_beside_their_times(tmp_path):
    inspection, _ = accepted(written(tmp_path, **near_and_far()), tmp_path, BUDGET)
    fleet = inspection.fleet
    assert set(fleet.hub_ids) == set(HUBS)
    found = zip(fleet.latency["site"], fleet.latency["hub"], fleet.latency["rtt_ms"], strict=True)
    assert {("F0000", "KC1", 10.5), ("F0000", "KC2", 20.5), ("F0003", "North DC", 12.5)} <= set(found)


def test_a_sheet_of_hubs_counts_before_those_that_a_mapping_lists(tmp_path):
    sheets = beside("RTT {} (ms)")
    accepted(written(tmp_path, **sheets), tmp_path, BUDGET)
    path = written(tmp_path, **sheets, Hubs=[["hub", "max_hosts"], *([hub, 2] for hub in HUBS)])
    fleet = inspect_fleet(path, tmp_path / "fleet.toml").fleet
    assert fleet.hub_ids == HUBS
    assert fleet.pools["max_hosts"].tolist() == [2, 2, 2]


def test_times_to_a_hub_that_the_table_of_hubs_lacks_are_named(tmp_path):
    path = written(tmp_path, **beside("RTT {} (ms)"), Hubs=[["hub", "max_hosts"], *([hub, 2] for hub in HUBS[:2])])
    left = {one.profile.header: one.why for one in adopt(path).adoption({}).left_out}
    assert left["RTT North DC (ms)"] == "it looks like times to North DC, which the table of hubs does not list"


def test_without_a_mapping_the_way_on_is_told(tmp_path):
    path = written(tmp_path, **beside("RTT {} (ms)"))
    first = inspect_fleet(path).findings[0]
    assert "Are they KC1, KC2, North DC, which the round-trip times name?" in first.message
    assert "castingvote adopt" in first.hint


@pytest.mark.parametrize(
    "more",
    [
        ("RTT avg (ms)", "RTT max (ms)"),
        ("Latitude", "Longitude"),
        ("RTT budget ms", "Staff"),
        ("Turnover", "Floor area"),
    ],
)
def test_figures_of_other_kinds_name_no_hubs(more, tmp_path):
    own = [(50.5 + k, 8.25 + k) for k in range(len(TIMES))]
    path = written(tmp_path, Branches=stores(*more, own=own))
    with pytest.raises(InputError, match="No table of sites and no table of hubs"):
        adopt(path)


def test_whole_times_below_a_short_name_are_no_clusters(tmp_path):
    rows = [["Store", "ESK", "ROV"], *([f"S-{k:02d}", 5 + k, 12 + k % 3] for k in range(12))]
    path = written(tmp_path, Estate=rows, Centres=[["Data centre", "Max hosts"], ["ESK", 2], ["ROV", 2]])
    inspection, _ = accepted(path, tmp_path, BUDGET)
    assert inspection.fleet.clusters.tolist() == [1] * 12
    assert len(inspection.fleet.latency) == 24


@pytest.mark.parametrize("listed", [False, True])
def test_one_list_has_a_row_for_each_site_and_hub(listed, tmp_path):
    """As a database joins sites and times: what is said of a site stands in each of its rows."""
    rows = [["Store no", "Release", "Clusters", "Data centre", "RTT ms", "Measured"]]
    rows += [[site, "8.2", 2, hub, time, "2026-10-05"] for site, hub, time in pairs()]
    hubs = {"Centres": [["Data centre", "Max hosts"], *([hub, 3] for hub in HUBS)]} if listed else {}
    inspection, _ = accepted(written(tmp_path, Joined=rows, **hubs), tmp_path, BUDGET)
    fleet = inspection.fleet
    assert fleet is not None, inspection.findings
    assert fleet.clusters.tolist() == [2] * len(TIMES)
    assert set(fleet.hub_ids) == set(HUBS)
    found = zip(fleet.latency["site"], fleet.latency["hub"], fleet.latency["rtt_ms"], strict=True)
    assert sorted(found) == sorted(pairs())
    assert fleet.current.empty


def test_a_release_beside_the_hub_of_today_is_no_time(tmp_path):
    """A title over the times reaches, in cells, over the columns to their right."""
    rows = [["", "Ping (ms)", "", "", "", ""], ["Branch", *HUBS, "SW version", "Third vote today"]]
    rows += [[site, *times, "5.2", HUBS[k % 2]] for k, (site, times) in enumerate(TIMES.items())]
    inspection, _ = accepted(written(tmp_path, Estate=rows), tmp_path, BUDGET)
    found = zip(*(inspection.fleet.latency[name] for name in ("site", "hub", "rtt_ms")), strict=True)
    assert sorted(found) == sorted(pairs())


def test_times_are_estimated_where_only_coordinates_are_known_and_somebody_says_so(tmp_path):
    rows = [["Branch", "Lat", "Long"], *([f"B-{k:02d}", 50.0 + k / 10, 8.5] for k in range(12))]
    hubs = [["DC code", "Lat", "Long"], ["D1", 50.1, 8.6], ["D2", 51.0, 8.4]]
    path = written(tmp_path, Estate=rows, Centres=hubs)
    assert "Policy.unknown_latency" in [question.key for question in adopt(path).adoption({}).open]
    inspection, _ = accepted(path, tmp_path, BUDGET)
    assert inspection.fleet.policy.unknown_latency == "estimate"
    inspection, _ = accepted(path, tmp_path, (*BUDGET, "--answer", "Policy.unknown_latency=ineligible"))
    assert inspection.fleet.policy.unknown_latency == "ineligible"
