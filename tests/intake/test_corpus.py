"""One small spoilt workbook for each finding: its code, severity and cell. Every case starts from the sound fleet."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest

from planner.intake.messages import CATALOGUE


def crowd(sites, clusters):
    """Add so many sites of so many clusters."""

    def change(rows):
        rows["Sites"][0].append("clusters")
        rows["Sites"] += [[f"more {i}", *[None] * 6, clusters] for i in range(sites)]

    return change


def put(sheet, cell_row, column, value):
    """Put ``value`` into row ``cell_row`` (as the user counts) of a column, made at the end if it is not there."""

    def change(rows):
        header = rows[sheet][0]
        if column not in header:
            header.append(column)
        at = header.index(column)
        row = rows[sheet][cell_row - 1]
        row.extend([None] * (at + 1 - len(row)))
        row[at] = value

    return change


def add(sheet, *more):
    return lambda rows: rows.setdefault(sheet, []).extend(list(row) for row in more)


def replace(sheet, *new):
    return lambda rows: rows.update({sheet: [list(row) for row in new]})


def drop(sheet):
    return lambda rows: rows.pop(sheet)


def setting(name, value):
    return add("Policy", [name, value])


def drop_column(sheet, column):
    def change(rows):
        at = rows[sheet][0].index(column)
        for row in rows[sheet]:
            row[at] = None

    return change


LONG = ["site", "hub", "rtt_ms"]
POOLS = ["hub", "pool"]
CURRENT = ["site", "hub", "host"]
CHANGES = ["date", "site", "pool", "column", "value"]
DAY = dt.date(2027, 1, 1)

TWO_POOLS = [
    put("Hubs", 2, "pool", "A"),
    put("Hubs", 3, "pool", "B"),
    put("Hubs", 3, "hub", "ESK"),
    put("Hubs", 3, "host_cost", 1300),
]

# (situation, changes, finding code, where)
CASES: list[tuple[str, list[Callable], str, str]] = [
    # sheets and headers
    ("no_sites", [drop("Sites")], "sheet_missing", ""),
    ("no_hubs", [drop("Hubs")], "adopt_hint", ""),
    ("sites_without_rows", [replace("Sites", ["site"])], "sheet_empty", "Sites"),
    ("sheet_twice_by_alias", [add("Stores", ["site"], ["0001"])], "sheet_repeated", "Stores"),
    ("sheet_of_the_users_own", [add("Notes", ["hello"])], "sheet_unknown", "Notes"),
    ("sheet_name_with_a_blank", [add("My notes", ["hello"])], "sheet_unknown", "My notes"),
    ("required_column_missing", [drop_column("Sites", "site")], "column_missing", "Sites"),
    ("column_twice", [put("Sites", 1, "owner", "name")], "column_repeated", "Sites!H1"),
    ("column_twice_by_alias", [put("Sites", 1, "lat", "lat")], "column_repeated", "Sites!H1"),
    (
        "own_column_twice",
        [put("Sites", 1, "wing", "wing"), lambda r: r["Sites"][0].append("wing")],
        "column_repeated",
        "Sites!I1",
    ),
    ("own_column", [put("Sites", 2, "wing", "east")], "column_unknown", "Sites!H1"),
    (
        "own_column_of_words_named_like_a_figure",
        [put("Sites", 2, "wing_availability_percent", "east")],
        "column_misspelt",
        "Sites!H1",
    ),
    ("misspelt_column", [put("Sites", 2, "pined_hub", "ESK")], "column_similar", "Sites!H1"),
    ("misspelt_column_of_other_values", [put("Sites", 2, "node_link_gpbs", "fast")], "column_misspelt", "Sites!H1"),
    ("values_without_header", [lambda r: r["Sites"][2].append("stray")], "header_blank", "Sites!H1"),
    ("error_as_header", [put("Sites", 1, "name", "#REF!")], "header_broken", "Sites!B1"),
    ("title_above_the_header", [lambda r: r["Sites"].insert(0, ["Fleet list"])], "rows_above", "Sites"),
    ("total_row", [add("Sites", ["Total", None, None, None, None, None, 120])], "total_row", "Sites!row 5"),
    ("total_row_of_a_matrix", [add("Latency", ["Durchschnitt", 1, 2], ["Summe", 3, 4])], "total_row", "Latency!row 5"),
    # cells of any kind
    ("error_cell", [put("Sites", 3, "release", "#N/A")], "cell_error", "Sites!F3"),
    ("error_in_a_matrix", [put("Latency", 3, "ROV", "#DIV/0!")], "cell_error", "Latency!C3"),
    ("error_in_an_own_column", [put("Sites", 2, "wing", "#REF!")], "cell_error_unused", "Sites!H2"),
    ("formula_never_calculated", [put("Sites", 2, "latency_budget_ms", "=20+20")], "formula_unsaved", "Sites!G2"),
    ("formula_in_a_matrix", [put("Latency", 4, "ESK", "=B2*2")], "formula_unsaved", "Latency!B4"),
    ("formula_in_an_own_column", [put("Sites", 2, "wing", "=1+1")], "formula_unsaved_unused", "Sites!H2"),
    ("id_missing", [put("Sites", 3, "site", None)], "required_blank", "Sites!A3"),
    ("blanks_around_an_id", [put("Hubs", 2, "hub", "\u00a0ESK ")], "text_tidied", "Hubs!A2"),
    ("invisible_character_in_an_id", [put("Hubs", 3, "hub", "RO\u200bV")], "text_tidied", "Hubs!A3"),
    # ids
    ("id_as_number", [add("Sites", [7, None, None, None, None, "8.2", 40])], "id_number", "Sites!A5"),
    ("id_shown_with_zeros", [put("Sites", 2, "site", (1, "0000"))], "id_shown", "Sites!A2"),
    ("id_with_a_fraction", [add("Sites", [7.5, None, None, None, None, "8.2", 40])], "id_fraction", "Sites!A5"),
    ("id_of_too_many_digits", [put("Sites", 2, "site", 1234567890123456789)], "id_digits", "Sites!A2"),
    ("id_as_date", [put("Sites", 2, "site", dt.date(2026, 4, 3))], "id_date", "Sites!A2"),
    ("id_as_truth_value", [put("Sites", 2, "pinned_hub", True)], "id_boolean", "Sites!H2"),
    ("comma_in_a_list", [put("Sites", 2, "barred_hubs", "ESK, ROV")], "ids_comma", "Sites!H2"),
    ("site_twice", [put("Sites", 4, "site", "0001")], "site_repeated", "Sites!A4"),
    ("pool_twice", [replace("Hubs", POOLS, ["ESK", "a"], ["ROV", "a"])], "pool_repeated", "Hubs!B3"),
    ("pool_named_as_a_hub", [replace("Hubs", POOLS, ["ESK", None], ["ROV", "ESK"])], "pool_repeated", "Hubs!B3"),
    ("two_blank_pools", [replace("Hubs", POOLS, ["ESK", None], ["ROV", None], ["ESK", None])], "pool_blank", "Hubs!B4"),
    ("zeros_lost_in_a_matrix", [put("Latency", 2, "site", 1)], "id_repaired", "Latency!A2"),
    ("zeros_lost_in_current", [add("Current", CURRENT, [2, "ESK", "E1"])], "id_repaired", "Current!A2"),
    (
        "zeros_lost_ambiguously",
        [put("Sites", 2, "site", "01"), put("Sites", 3, "site", "001"), put("Latency", 2, "site", 1)],
        "id_ambiguous",
        "Latency!A2",
    ),
    (
        "hub_of_a_matrix_by_name",
        [put("Hubs", 2, "name", "Eskdale"), put("Latency", 1, "ESK", "Eskdale")],
        "id_by_name",
        "Latency!B1",
    ),
    ("site_of_a_matrix_by_name", [put("Latency", 3, "site", "Birch Lane")], "id_by_name", "Latency!A3"),
    (
        "name_of_two_hubs",
        [put("Hubs", 2, "name", "Esk"), put("Hubs", 3, "name", "Esk"), put("Latency", 1, "ESK", "Esk")],
        "name_ambiguous",
        "Latency!B1",
    ),
    ("site_unknown_in_a_matrix", [add("Latency", ["0009", 1, 1])], "site_unknown", "Latency!A5"),
    ("site_unknown_in_a_list", [replace("Latency", LONG, ["9", "ESK", 1])], "site_unknown", "Latency!A2"),
    ("hub_unknown_in_a_list", [replace("Latency", LONG, ["0001", "XXX", 1])], "hub_unknown", "Latency!B2"),
    ("hub_unknown_in_samples", [add("Samples", LONG, ["0001", "XXX", 1])], "hub_unknown", "Samples!B2"),
    ("site_unknown_in_current", [add("Current", CURRENT, ["77", "ESK", "E1"])], "site_unknown", "Current!A2"),
    ("hub_unknown_in_current", [add("Current", CURRENT, ["0001", "XXX", "E1"])], "hub_unknown", "Current!B2"),
    ("pinned_to_no_hub", [put("Sites", 2, "pinned_hub", "XXX")], "pinned_unknown", "Sites!H2"),
    ("bars_no_hub", [put("Sites", 2, "barred_hubs", "ESK;XXX")], "barred_unknown", "Sites!H2"),
    (
        "pinned_and_barred",
        [put("Sites", 2, "pinned_hub", "ESK"), put("Sites", 2, "barred_hubs", "ESK")],
        "pinned_barred",
        "Sites!H2",
    ),
    ("serves_no_region", [put("Hubs", 2, "serves_regions", "Nroth")], "region_unknown", "Hubs!F2"),
    # releases
    ("release_8_10_as_number", [put("Sites", 2, "release", 8.1)], "release_number", "Sites!F2"),
    ("release_format_hides_digits", [put("Sites", 2, "release", (8.125, "0.0"))], "release_number", "Sites!F2"),
    ("release_shown_with_decimals", [put("Sites", 2, "release", (8.1, "0.00"))], "release_shown", "Sites!F2"),
    ("release_whole", [put("Sites", 2, "release", 8)], "release_whole", "Sites!F2"),
    ("release_as_date", [put("Sites", 2, "release", dt.date(2026, 10, 8))], "release_date", "Sites!F2"),
    ("release_without_order", [put("Hubs", 2, "host_release", "latest")], "release_order", "Hubs!D2"),
    ("release_floor_as_number", [setting("release_floor", 8.1)], "release_number", "Policy!B4"),
    # numbers
    ("number_as_text", [put("Latency", 2, "ESK", "18.4")], "number_text", "Latency!B2"),
    ("number_with_its_unit", [put("Latency", 2, "ESK", "18.4 ms")], "number_text", "Latency!B2"),
    ("number_with_nbsp", [put("Latency", 2, "ESK", "\u00a018.4\u00a0")], "number_text", "Latency!B2"),
    ("decimal_comma", [put("Latency", 2, "ESK", "18,4")], "number_comma", "Latency!B2"),
    ("comma_before_three_digits", [put("Latency", 2, "ESK", "1,234")], "number_ambiguous", "Latency!B2"),
    ("words_for_a_number", [put("Latency", 2, "ESK", "quick")], "number_wanted", "Latency!B2"),
    ("truth_value_for_a_number", [put("Latency", 2, "ESK", True)], "number_wanted", "Latency!B2"),
    ("not_a_number", [put("Latency", 2, "ESK", "NaN")], "number_infinite", "Latency!B2"),
    ("infinite", [put("Latency", 2, "ESK", "inf")], "number_infinite", "Latency!B2"),
    ("date_for_a_number", [put("Latency", 2, "ESK", dt.date(2026, 4, 18))], "number_date", "Latency!B2"),
    ("rtt_zero", [put("Latency", 2, "ESK", 0)], "rtt_zero", "Latency!B2"),
    ("rtt_negative", [put("Latency", 2, "ESK", -4)], "number_limit", "Latency!B2"),
    ("rtt_absurd", [put("Latency", 2, "ESK", 60_001)], "number_limit", "Latency!B2"),
    ("latitude_beyond_the_pole", [put("Sites", 2, "latitude", 91)], "number_limit", "Sites!D2"),
    ("reserve_of_100", [setting("max_loss_percent", 101)], "number_limit", "Policy!B4"),
    ("half_a_cluster", [put("Sites", 2, "clusters", 1.5)], "whole_wanted", "Sites!H2"),
    ("clusters_beyond_counting", [put("Sites", 2, "clusters", 1e12)], "number_limit", "Sites!H2"),
    (
        "weights_far_apart",
        [put("Sites", 2, "weight", 1e9), put("Sites", 3, "weight", 0.01)],
        "weights_apart",
        "Sites!H2",
    ),
    ("a_billion_clusters", [crowd(1_001, 1_000_000)], "clusters_beyond", "Sites!H2"),
    ("percent_format", [setting("max_loss_percent", (0.02, "0%"))], "percent_shown", "Policy!B4"),
    # other kinds
    ("choice_unknown", [put("Sites", 2, "own_tie_breaker", "perhaps")], "choice_unknown", "Sites!H2"),
    ("no_such_timezone", [put("Sites", 2, "timezone", "Europe/Lodnon")], "timezone_unknown", "Sites!H2"),
    ("timezone_leads_out", [put("Sites", 2, "timezone", "../../etc")], "timezone_unknown", "Sites!H2"),
    ("window_without_day", [put("Sites", 2, "window", "22:00-04:00")], "window_wrong", "Sites!H2"),
    ("window_in_policy", [setting("window", "Sonntag 22:00-04:00")], "window_wrong", "Policy!B4"),
    ("day_before_month", [put("Sites", 2, "opens", "01/03/2026")], "date_ambiguous", "Sites!H2"),
    ("number_for_a_date", [put("Sites", 2, "opens", 46023)], "date_serial", "Sites!H2"),
    ("date_from_a_zero", [put("Sites", 2, "opens", dt.datetime(1900, 1, 1))], "date_wanted", "Sites!H2"),
    ("date_with_time", [put("Sites", 2, "opens", dt.datetime(2026, 3, 1, 9, 30))], "date_time", "Sites!H2"),
    (
        "closes_before_it_opens",
        [put("Sites", 2, "opens", dt.date(2027, 1, 1)), put("Sites", 2, "closes", dt.date(2026, 1, 1))],
        "dates_order",
        "Sites!I2",
    ),
    # changes and prices
    (
        "change_without_a_day",
        [add("Changes", CHANGES, [None, "0001", None, "clusters", "2"])],
        "change_undated",
        "Changes!A2",
    ),
    (
        "change_of_a_site_and_a_pool",
        [add("Changes", CHANGES, [DAY, "0001", "ESK", "clusters", "2"])],
        "change_of_two",
        "Changes!B2",
    ),
    (
        "change_of_an_unknown_column",
        [add("Changes", CHANGES, [DAY, "0001", None, "cluster", "2"])],
        "change_column",
        "Changes!D2",
    ),
    (
        "two_prices",
        [add("Prices", ["item", "buy"], ["host", 900], ["host", 950])],
        "price_repeated",
        "Prices!A3",
    ),
    # latency
    ("pair_twice", [replace("Latency", LONG, ["0001", "ESK", 5], ["0001", "ESK", 5])], "pair_repeated", "Latency!C3"),
    ("pair_differs", [replace("Latency", LONG, ["0001", "ESK", 5], ["0001", "ESK", 6])], "pair_conflict", "Latency!C3"),
    ("matrix_row_twice", [add("Latency", ["0001", 12.5, 32])], "pair_conflict", "Latency!C5"),
    ("matrix_column_no_hub", [put("Latency", 2, "XXX", 5)], "hub_column_unknown", "Latency!D1"),
    ("matrix_without_hubs", [replace("Latency", ["site", "X", "Y"], ["0001", 1, 2])], "matrix_no_hub", "Latency!A1"),
    ("matrix_hub_twice", [put("Latency", 1, "x", "ESK")], "column_repeated", "Latency!D1"),
    ("matrix_corner_blank", [put("Latency", 1, "site", None)], "matrix_corner", "Latency!A1"),
    ("matrix_of_hubs_only", [replace("Latency", ["ESK", "ROV"], [1, 2])], "column_missing", "Latency"),
    ("rtt_zero_in_a_list", [replace("Latency", LONG, ["0001", "ESK", "0.0"])], "rtt_zero", "Latency!C2"),
    (
        "place_to_itself",
        [put("Sites", 2, "site", "ESK"), put("Latency", 2, "site", "ESK"), put("Latency", 2, "ESK", 0)],
        "rtt_to_itself",
        "Latency!B2",
    ),
    (
        "measured_from_the_hub",
        [replace("Latency", LONG, ["0001", "ESK", 5], ["ROV", "0001", 6])],
        "direction_reversed",
        "Latency!A3",
    ),
    (
        "directions_apart",
        [replace("Latency", LONG, ["0001", "ESK", 5], ["ESK", "0001", 6])],
        "directions_differ",
        "Latency!C2",
    ),
    (
        "directions_almost_agree",
        [replace("Latency", LONG, ["0001", "ESK", 5], ["ESK", "0001", 5.2])],
        "directions_jitter",
        "Latency!C2",
    ),
    (
        "estimates_not_accepted",
        [setting("unknown_latency", "estimate"), setting("accepted_evidence", "measured")],
        "estimates_unused",
        "Policy!B5",
    ),
    (
        "links_not_accepted",
        [setting("accepted_evidence", "measured"), add("Links", ["from", "to", "km"], ["0001", "ESK", 9])],
        "links_unused",
        "Policy!B4",
    ),
    (
        "old",
        [
            replace("Latency", [*LONG, "measured_at"], ["0001", "ESK", 5, dt.date(2026, 1, 1)]),
            setting("max_age_days", 90),
            setting("as_of", dt.date(2026, 4, 2)),
        ],
        "latency_old",
        "Policy!B4",
    ),
    ("undated", [setting("max_age_days", 90)], "latency_undated", "Policy!B4"),
    (
        "from_the_future",
        [
            replace("Latency", [*LONG, "measured_at"], ["0001", "ESK", 5, dt.date(2026, 4, 2)]),
            setting("max_age_days", 90),
            setting("as_of", dt.date(2026, 3, 31)),
        ],
        "latency_future",
        "Policy!B4",
    ),
    ("samples_of_a_measured_pair", [add("Samples", LONG, ["0001", "ESK", 5])], "samples_unused", "Samples"),
    ("no_latency_at_all", [drop("Latency")], "latency_none", ""),
    ("link_without_length", [add("Links", ["from", "to", "km"], ["0001", "ESK", None])], "link_length", "Links!row 2"),
    ("link_to_itself", [add("Links", ["from", "to", "km"], ["ESK", "ESK", 4])], "link_loop", "Links!B2"),
    # policy
    ("setting_misspelt", [setting("reserve_precent", 5)], "setting_unknown", "Policy!A4"),
    ("policy_without_values", [lambda r: r["Policy"][0].__setitem__(1, "what")], "column_missing", "Policy"),
    ("setting_without_name", [setting(None, 5)], "required_blank", "Policy!A4"),
    ("setting_twice", [setting("Cluster cap", 32)], "setting_repeated", "Policy!A4"),
    ("reserve_in_loss", [setting("loss_uses_reserve", "yes")], "loss_uses_reserve_idle", "Policy!B4"),
    ("latency_in_no_loss", [setting("loss_latency_budget_ms", 60)], "loss_latency_idle", "Policy!B4"),
    (
        "latency_in_loss_too_low",
        [setting("cover", "hub"), setting("loss_latency_budget_ms", 1)],
        "loss_latency_lower",
        "Policy!B5",
    ),
    ("no_budget", [put("Sites", 3, "latency_budget_ms", None)], "budget_missing", "Sites!G3"),
    ("no_budget_column", [drop_column("Sites", "latency_budget_ms")], "budget_missing", "Sites!row 2"),
    (
        "cost_without_price",
        [setting("objective", "cost"), put("Hubs", 3, "host_cost", None)],
        "host_cost_missing",
        "Hubs!E3",
    ),
    (
        "own_tie_breaker_without_price",
        [setting("objective", "cost"), put("Sites", 2, "own_tie_breaker", "possible")],
        "own_cost_missing",
        "Sites!row 2",
    ),
    # checks across columns
    ("three_nodes", [put("Sites", 2, "nodes", 3)], "nodes_not_two", "Sites!H2"),
    ("more_hosts_than_fit", [put("Hubs", 2, "existing_hosts", 5)], "hosts_over", "Hubs!C2"),
    (
        "distance_without_coordinates",
        [setting("third_location_km", 5), put("Sites", 2, "latitude", None)],
        "coordinates_distance",
        "Sites!D2",
    ),
    ("hub_without_coordinates", [setting("third_location_km", 5)], "coordinates_distance", "Hubs!row 2"),
    ("estimate_without_coordinates", [setting("unknown_latency", "estimate")], "coordinates_estimate", "Hubs!row 2"),
    (
        "coordinates_zero",
        [put("Sites", 2, "latitude", 0), put("Sites", 2, "longitude", 0)],
        "coordinates_zero",
        "Sites!D2",
    ),
    ("site_release_blank", [put("Sites", 2, "release", None)], "release_unchecked", "Sites!F2"),
    ("host_release_blank", [put("Hubs", 3, "host_release", None)], "release_unchecked", "Hubs!D3"),
    (
        "floor_and_release_blank",
        [setting("release_floor", "8.0"), put("Sites", 2, "release", None)],
        "release_floor_blank",
        "Sites!F2",
    ),
    (
        "more_hosts_than_exist",
        [add("Current", CURRENT, ["0001", "ESK", "E1"], ["0002", "ESK", "E2"])],
        "current_hosts",
        "Current!B2",
    ),
    (
        "host_in_other_letters_than_in_hubs",
        [put("Hubs", 2, "existing_hosts", 2), add("Current", CURRENT, ["0001", "ESK", "E1"], ["0002", "ESK", "e1"])],
        "host_alike",
        "Current!C3",
    ),
    (
        "hosts_that_only_current_counts",
        [put("Hubs", 2, "existing_hosts", None), add("Current", CURRENT, ["0001", "ESK", "E1"])],
        "existing_named",
        "Hubs!C2",
    ),
    (
        "sites_without_the_name_of_a_host",
        [put("Hubs", 2, "existing_hosts", None), add("Current", CURRENT, ["0001", "ESK", ""])],
        "existing_assumed",
        "Hubs!C2",
    ),
    (
        "sites_where_no_host_exists",
        [put("Hubs", 2, "existing_hosts", 0), add("Current", CURRENT, ["0001", "ESK", ""])],
        "existing_few",
        "Hubs!C2",
    ),
    (
        "site_served_twice",
        [add("Current", CURRENT, ["0001", "ESK", "E1"], ["0001", "ROV", "R1"])],
        "current_repeated",
        "Current!A3",
    ),
    (
        "site_served_twice_alike",
        [add("Current", CURRENT, ["0001", "ESK", "E1"], ["0001", "ESK", "E1"])],
        "current_same",
        "Current!A3",
    ),
    (
        "pool_of_no_hub",
        [add("Current", [*CURRENT, "pool"], ["0001", "ESK", "E1", "XXX"])],
        "pool_unknown",
        "Current!D2",
    ),
    (
        "pool_of_another_hub",
        [add("Current", [*CURRENT, "pool"], ["0001", "ESK", "E1", "ROV"])],
        "pool_elsewhere",
        "Current!D2",
    ),
    (
        "host_in_two_pools",
        [*TWO_POOLS, add("Current", [*CURRENT, "pool"], ["0001", "ESK", "E1", "A"], ["0002", "ESK", "E1", "B"])],
        "host_two_pools",
        "Current!D3",
    ),
    (
        "host_of_either_pool",
        [*TWO_POOLS, add("Current", CURRENT, ["0001", "ESK", "E1"])],
        "host_pool_unclear",
        "Current!C2",
    ),
    (
        "host_of_no_pool",
        [*TWO_POOLS, put("Sites", 2, "release", "8.11"), add("Current", CURRENT, ["0001", "ESK", "E1"])],
        "host_pool_none",
        "Current!C2",
    ),
    (
        "site_of_either_pool",
        [*TWO_POOLS, add("Current", CURRENT, ["0001", "ESK", None])],
        "site_pool_unclear",
        "Current!C2",
    ),
    # rollout
    ("neighbour_of_no_site", [put("Sites", 2, "neighbours", "0002;XXX")], "neighbour_unknown", "Sites!H2"),
    (
        "freeze_backwards",
        [add("Freezes", ["first", "last"], ["2027-12-20", "2027-12-01"])],
        "freeze_order",
        "Freezes!B2",
    ),
    (
        "availability_as_fraction",
        [put("Hubs", 2, "host_availability_percent", 0.999)],
        "availability_fraction",
        "Hubs!F2",
    ),
    ("setting_as_fraction", [setting("node_availability_percent", 0.99)], "availability_fraction", "Policy!B4"),
]


@pytest.mark.parametrize(("changes", "code", "where"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_spoilt_workbook(read, rows, changes, code, where):
    for change in changes:
        change(rows)
    got = read(rows)
    found = got.of(code)
    assert [f.where for f in found][:1] == [where], got
    assert found[0].severity == CATALOGUE[code].severity
    assert found[0].file == "fleet.xlsx"
    assert "{" not in found[0].message + found[0].hint
    assert (got.fleet is None) == any(f.severity == "error" for f in got.findings)


@pytest.mark.parametrize(
    ("changes", "code"),
    [case[1:3] for case in CASES if case[2] in ("number_limit", "release_number", "cell_error", "formula_unsaved")],
)
def test_one_mistake_makes_one_finding(read, rows, changes, code):
    for change in changes:
        change(rows)
    assert read(rows).codes == {code}


def test_every_code_is_in_the_corpus():
    tests = "".join(path.read_text(encoding="utf-8") for path in sorted(Path(__file__).parent.glob("test_*.py")))
    assert [code for code in CATALOGUE if f'"{code}"' not in tests] == []
