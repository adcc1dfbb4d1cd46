"""Ids across sheets: kept as text, mended only where one id fits, and otherwise ignored with a warning."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.intake import fleet_from_tables
from planner.intake.ids import KnownIds
from planner.intake.norows import _TOTALS
from planner.intake.rawtable import tidy


@pytest.mark.parametrize(
    ("written", "known", "fitting"),
    [
        ("42", ["0042", "0043"], ["0042"]),
        ("0042", ["42"], ["42"]),
        ("42.0", ["0042"], ["0042"]),
        ("42", ["042", "0042"], ["042", "0042"]),
        ("0", ["000"], ["000"]),
        ("A42", ["A042"], []),
        ("4.2", ["42"], []),
        ("1E5", ["100000"], []),
    ],
)
def test_only_leading_zeros_may_be_lost(written, known, fitting):
    assert KnownIds.of(known).fitting(written) == fitting


def test_a_repaired_id_serves_as_the_known_one_everywhere(read, rows):
    rows["Hubs"][1][0], rows["Latency"][0][1] = "09", 9
    rows["Latency"][1][0] = 1
    rows["Sites"][0] += ["pinned_hub", "barred_hubs"]
    rows["Sites"][1] += [9, None]
    rows["Sites"][2] += [None, 9]
    rows["Current"] = [["site", "hub"], [2, "9"]]
    rows["Samples"] = [["site", "hub", "rtt_ms"], ["3", 9, 5]]
    rows["Links"] = [["from", "to", "km"], ["3", 9, 5], [77, "3", 5]]
    fleet = read(rows).fleet
    assert fleet.latency["site"].tolist()[:2] == ["0001", "0001"]
    assert fleet.latency["hub"].tolist()[:2] == ["09", "ROV"]
    assert fleet.sites["pinned_hub"].tolist() == ["09", "", ""]
    assert fleet.sites["barred_hubs"].tolist() == [(), ("09",), ()]
    assert fleet.current[["site", "hub"]].values.tolist() == [["0002", "09"]]
    assert fleet.samples[["site", "hub"]].astype(str).values.tolist() == [["0003", "09"]]
    assert fleet.links[["from", "to"]].values.tolist() == [["0003", "09"], ["77", "0003"]]
    repaired = [f for f in fleet.findings if f.code == "id_repaired"]
    assert len(repaired) == 11
    assert all(f.severity == "warning" for f in repaired)


def test_messages_call_a_sheet_what_the_user_calls_it(read, rows):
    """They said "not on the sheet Sites" where the user's sheet is called Stores."""
    rows["Stores"] = rows.pop("Sites")
    rows["Current"] = [["site", "hub"], ["0999", "ESK"], ["0001", "NIX"]]
    got = read({"Stores": rows.pop("Stores"), **rows})
    assert got.only("site_unknown").message == 'The site "0999" is not on the sheet Stores; it was not read.'
    assert got.only("hub_unknown").message == 'The hub "NIX" is not on the sheet Hubs; it was not read.'


def test_an_exact_id_is_never_taken_for_another(read, rows):
    rows["Sites"].append(["1", None, None, None, None, "8.2", 40])
    rows["Latency"] = [["site", "ESK"], ["1", 5], ["0001", 6]]
    got = read(rows)
    assert got.codes == set()
    assert got.fleet.latency["site"].tolist() == ["1", "0001"]


def test_letter_case_is_kept_and_a_slip_is_pointed_out_not_mended(read, rows):
    rows["Latency"] = [["site", "hub", "rtt_ms"], ["0001", "esk", 5], ["0002", "ESK", 5], ["0003", "esk", 6]]
    got = read(rows)
    found = got.only("hub_unknown")
    assert found.where == "Latency!B2"
    assert "(2 cells)" in found.message
    assert found.hint == 'Did you mean "ESK"?'
    assert len(got.fleet.latency) == 1


def test_ids_stored_as_numbers_lose_their_fraction(read, rows):
    rows["Sites"][3][0] = 42.0
    rows["Latency"][3][0] = 42
    got = read(rows)
    assert got.fleet.site_ids[2] == "42"
    assert got.fleet.latency["site"].tolist()[-1] == "42"
    assert {f.where for f in got.of("id_number")} == {"Sites!A4", "Latency!A4"}


def test_pools_of_one_hub(read, rows):
    rows["Hubs"] = [
        ["hub", "pool", "host_release"],
        ["ESK", None, "8.10"],
        ["ESK", "new", "8.10"],
        ["ROV", None, "8.10"],
    ]
    fleet = read(rows).fleet
    assert fleet.pool_ids == ("ESK", "new", "ROV")
    assert fleet.hub_ids == ("ESK", "ROV")
    assert fleet.latency["hub"].cat.categories.tolist() == ["ESK", "ROV"]


def test_lists_of_ids_are_split_tidied_and_kept_once(read, rows):
    rows["Sites"][0] += ["zone", "barred_hubs"]
    rows["Sites"][1] += [" power ;wan\u00a0; power;", "ROV;\nESK"]
    fleet = read(rows).fleet
    assert fleet.sites["zone"][0] == ("power", "wan")
    assert fleet.sites["barred_hubs"][0] == ("ROV", "ESK")


def test_current_keeps_the_several_hosts_of_a_split_site(read, rows):
    rows["Current"] = [["site", "hub", "host"], ["0001", "ESK", "E1"], ["0001", "ROV", "R1"], ["0001", "ROV", "R1"]]
    assert len(read(rows).fleet.current) == 1
    rows["Policy"].append(["split_sites", "yes"])
    got = read(rows)
    assert got.fleet.current["host"].tolist() == ["E1", "R1"]
    assert got.codes == {"current_same"}


IDS = st.text(alphabet=st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=8).filter(
    lambda text: tidy(text) == text and ";" not in text and not text.startswith("#") and text.casefold() not in _TOTALS
)


@given(st.lists(IDS, min_size=1, max_size=6, unique=True))
@settings(max_examples=60, deadline=None)
def test_any_tidy_text_is_an_id_and_stays_as_it_is(ids):
    sites = pd.DataFrame({"site": ids, "latency_budget_ms": 40.0})
    latency = pd.DataFrame({"site": ids, "hub": "X", "rtt_ms": 5.0})
    fleet = fleet_from_tables({"Sites": sites, "Hubs": pd.DataFrame({"hub": ["X"]}), "Latency": latency})
    assert fleet.site_ids == tuple(ids)
    assert fleet.latency["site"].tolist() == ids


def test_hosts_of_today_are_counted_at_their_own_hub_in_any_order_of_rows():
    """Hubs in another order than that of their names had the counts of each other."""
    tables = {
        "Sites": [["site"], ["S1"], ["S2"]],
        "Hubs": [["hub", "existing_hosts"], ["ROV", 1], ["ESK", 0]],
        "Latency": [["site", "ROV", "ESK"], ["S1", 5, 5], ["S2", 5, 5]],
        "Current": [["site", "hub", "host"], ["S1", "ROV", "ROV-01"], ["S2", "ESK", "ESK-01"]],
    }
    frames = {name: pd.DataFrame(rows[1:], columns=rows[0]) for name, rows in tables.items()}
    found = fleet_from_tables(frames, policy={"latency_budget_ms": 20}).findings
    assert [f.message.split()[2] for f in found if f.code == "current_hosts"] == ['"ESK"']
