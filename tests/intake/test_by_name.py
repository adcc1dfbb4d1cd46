"""Sites and hubs that other sheets call by their names instead of their ids."""

import pytest


@pytest.fixture
def named(rows):
    """The sound fleet with names of hubs too."""
    for row, more in zip(rows["Hubs"], ("name", "Eskdale", "Rovers Way"), strict=True):
        row.append(more)
    return rows


def pairs(fleet):
    return {(site, hub): rtt for site, hub, rtt in fleet.latency[["site", "hub", "rtt_ms"]].itertuples(index=False)}


@pytest.mark.parametrize("kind", ["xlsx", "csv", "ods"])
def test_a_matrix_headed_by_names_is_read_as_if_by_ids(read, named, kind):
    by_id = pairs(read(named, kind).fleet)
    named["Latency"] = [
        ["site", "Eskdale", " Rovers Way\u00a0"],
        ["Alder Street", *named["Latency"][1][1:]],
        *named["Latency"][2:],
    ]
    got = read(named, kind)
    assert pairs(got.fleet) == by_id
    assert [(f.severity, f.where) for f in got.of("id_by_name")] == [
        ("info", "Latency!B1"),
        ("info", "Latency!C1"),
        ("info", "Latency!A2"),
    ]
    assert 'only "ESK" has this name' in got.of("id_by_name")[0].message


def test_names_below_a_title_and_with_units_are_found(read, named):
    named["Latency"] = [["Measured in May"], [], ["site", "Eskdale (s)", "ROV (s)"], ["0001", 0.0125, 0.031]]
    got = read(named)
    assert pairs(got.fleet) == {("0001", "ESK"): pytest.approx(12.5), ("0001", "ROV"): pytest.approx(31)}
    assert got.only("id_by_name").where == "Latency!B3"


def test_an_id_counts_before_a_name(read, named):
    named["Hubs"][1][5], named["Hubs"][2][5] = "ROV", "ESK"  # each is called as the other one's id
    got = read(named)
    assert got.codes == set()
    assert pairs(got.fleet)["0001", "ESK"] == 12.5


def test_a_name_that_two_hubs_bear_is_an_error_that_names_the_cells(read, named):
    named["Hubs"][2][5] = "Eskdale"
    named["Latency"][0][1] = "Eskdale"
    got = read(named)
    assert got.fleet is None
    finding = got.only("name_ambiguous")
    assert (finding.severity, finding.where) == ("error", "Latency!B1")
    assert '"ESK" (Hubs!F2), "ROV" (Hubs!F3)' in finding.message


def test_two_pools_of_one_hub_bear_its_name_without_a_question(read, named):
    named["Hubs"][0].append("pool")
    named["Hubs"][1].append("ESK-a")
    named["Hubs"].append([*named["Hubs"][1][:6], "ESK-b"])
    named["Latency"][0][1] = "Eskdale"
    got = read(named)
    assert got.only("id_by_name").where == "Latency!B1"
    assert len(pairs(got.fleet)) == 6


def test_a_hub_by_id_and_by_name_is_one_hub_twice(read, named):
    named["Latency"][0].append("Eskdale")
    assert read(named).only("column_repeated").where == "Latency!D1"


def test_sites_that_share_a_name_are_asked_about_only_where_it_is_used(read, named):
    named["Sites"][2][1] = named["Sites"][1][1]
    assert read(named).codes == set()
    named["Latency"][1][0] = "Alder Street"
    finding = read(named).only("name_ambiguous")
    assert finding.where == "Latency!A2"
    assert '"0001" (Sites!B2), "0002" (Sites!B3)' in finding.message


def test_names_in_lists_are_read_too(read, named):
    named["Latency"] = [["site", "hub", "rtt_ms"], ["Alder Street", "Eskdale", 7], ["0002", "ROV", 8]]
    named["Current"] = [["site", "hub", "host"], ["0002", "Rovers Way", "R1"]]
    got = read(named)
    assert pairs(got.fleet) == {("0001", "ESK"): 7, ("0002", "ROV"): 8}
    assert got.fleet.current[["site", "hub"]].to_numpy().tolist() == [["0002", "ROV"]]
    assert {f.where for f in got.of("id_by_name")} == {"Latency!A2", "Latency!B2", "Current!B2"}


def test_a_name_alone_does_not_make_a_sheet_a_matrix(read, named):
    named["Visits"] = [["when", "Eskdale"], ["May", "by train"]]
    del named["Latency"]
    named["Samples"] = [["site", "hub", "rtt_ms"], ["0001", "ESK", 5]]
    got = read(named)
    assert got.fleet is not None, got
    assert "sheet_by_content" not in got.codes


def test_zeros_under_a_name_or_a_unit_are_unknown(read, named):
    named["Latency"] = [["site", "Eskdale", "ROV (ms)"], ["0001", 0, 31], ["0002", 14, "0"]]
    got = read(named)
    assert pairs(got.fleet) == {("0001", "ROV"): 31, ("0002", "ESK"): 14}
    assert "2 cells (B2, C3)" in got.only("rtt_zero").message
