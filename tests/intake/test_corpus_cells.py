"""Cells as spreadsheet programs, locales and people write them: the value that each must give, and its finding."""

# ruff: noqa: E501 (tables read best with one case in a line)

import datetime as dt

import numpy as np
import pytest

from planner.intake.messages import CATALOGUE

NOTHING = None

# (situation, column of Sites, the texts of its three cells, the values that the fleet must have, codes that must come)
COLUMNS = [
    ("decimal_commas_settle_three_digits", "weight", ["12,5", "1,234", "3"], [12.5, 1.234, 3], {"number_comma"}),
    ("decimal_points_settle_three_digits", "weight", ["12.5", "1,234", "3"], [12.5, 1234, 3], {"number_comma"}),
    ("decimal_commas_make_a_point_group", "weight", ["12,5", "1.234", "3"], [12.5, 1234, 3], {"number_comma"}),
    ("decimal_point_alone", "weight", ["12.5", "1.234", "3"], [12.5, 1.234, 3], {"number_text"}),
    ("both_signs_leave_it_open", "weight", ["12,5", "1,234", "1.5"], NOTHING, {"number_ambiguous"}),
    ("whole_numbers_have_no_decimals", "clusters", ["1,234", "1.234", "2"], [1234, 1234, 2], {"number_comma"}),
    ("figures_with_their_noun", "clusters", ["12 clusters", "3 Cluster", "4"], [12, 3, 4], {"number_noun"}),
    ("apostrophes", "weight", ["1'234", "1’234.5", "1'234'567"], [1234, 1234.5, 1234567], {"number_comma"}),
    ("thin_spaces", "weight", ["1\u2009234", "1\u202f234,5", "1\u00a0234\u00a0567"], [1234, 1234.5, 1234567], set()),
    ("full_width_digits", "clusters", ["１２", "３", "4"], [12, 3, 4], {"number_script"}),
    ("arabic_indic_digits", "weight", ["١٢٫٥", "٣", "4"], [12.5, 3, 4], {"number_script"}),
    ("minus_signs_of_typography", "longitude", ["−1.6", "–1.2", "-0.3"], [-1.6, -1.2, -0.3], {"number_text"}),
    ("milliseconds_in_the_cell", "latency_budget_ms", ["40 ms", "40ms", "40 msec"], [40, 40, 40], {"number_text"}),
    ("seconds_in_the_cell", "latency_budget_ms", ["0.04 s", "0,035 sec", "40"], [40, 35, 40], {"unit_in_cell"}),
    ("microseconds_in_the_cell", "latency_budget_ms", ["40000 µs", "35000us", "40"], [40, 35, 40], {"unit_in_cell"}),
    ("one_way_in_the_cell", "latency_budget_ms", ["20 ms one way", "40", "40"], [40, 40, 40], {"way_in_cell"}),
    ("upper_bounds", "latency_budget_ms", ["<40", "≤ 35 ms", "< 0.04 s"], [40, 35, 40], {"number_bound"}),
    ("lower_bounds", "latency_budget_ms", [">40", "40", "40"], NOTHING, {"number_beyond"}),
    ("about", "latency_budget_ms", ["~40", "ca. 35", "≈ 30"], [40, 35, 30], {"number_about"}),
    ("ranges", "latency_budget_ms", ["20-40", "40", "40"], NOTHING, {"number_wanted"}),
    ("units_of_something_else", "latency_budget_ms", ["40 km", "40", "40"], NOTHING, {"number_wanted"}),
    ("words_for_not_known", "weight", ["n/a", "-", "unknown"], [np.nan] * 3, {"value_unknown"}),
    ("gigabits_in_the_cell", "uplink_mbps", ["1 Gbit/s", "512 kbps", "50 Mb/s"], [1000, 0.512, 50], {"unit_in_cell"}),
    ("bytes_in_the_cell", "uplink_mbps", ["10 MB/s", "50", "50"], [80, 50, 50], {"unit_in_cell"}),
    ("money_with_its_sign", "own_tie_breaker_cost", ["£1,200.50", "1 200 €", "USD 90"], [1200.5, 1200, 90], set()),
    ("degrees_with_letters", "longitude", ["1.6° W", "1.2W", "0.3 E"], [-1.6, -1.2, 0.3], {"number_text"}),
    ("degrees_minutes_seconds", "latitude", ["54° 30' 36\" N", "54°30′N", "51.4"], [54.51, 54.5, 51.4], {"number_text"}),
    ("compass_of_the_other_axis", "latitude", ["1.6 W", "54", "54"], NOTHING, {"number_wanted"}),
    ("exponents", "weight", ["1e3", "1.5E+02", "2E-1"], [1000, 150, 0.2], {"number_text"}),
    ("underscores_are_no_grouping", "weight", ["1_000", "2", "3"], NOTHING, {"number_wanted"}),
    ("hexadecimal", "clusters", ["0x10", "2", "3"], NOTHING, {"number_wanted"}),
    ("german_truths", "own_tie_breaker", ["Ja", "NEIN", "falsch"], ["yes", "no", "no"], {"choice_word"}),
    ("french_truths", "own_tie_breaker", ["oui", "Non", "VRAI"], ["yes", "no", "yes"], {"choice_word"}),
    ("spanish_truths", "own_tie_breaker", ["sí", "no", "Verdadero"], ["yes", "no", "yes"], {"choice_word"}),
    ("polish_and_czech_truths", "own_tie_breaker", ["tak", "nie", "ano"], ["yes", "no", "yes"], {"choice_word"}),
    ("cyrillic_and_greek_truths", "own_tie_breaker", ["Да", "нет", "ναι"], ["yes", "no", "yes"], {"choice_word"}),
    ("asian_truths", "own_tie_breaker", ["はい", "いいえ", "是"], ["yes", "no", "yes"], {"choice_word"}),
    ("nordic_truths", "own_tie_breaker", ["Kyllä", "ei", "nej"], ["yes", "no", "no"], {"choice_word"}),
    ("crosses_and_ticks", "own_tie_breaker", ["x", "✓", "✗"], ["yes", "yes", "no"], {"choice_word"}),
    ("noughts_and_ones", "own_tie_breaker", [1, 0, "1"], ["yes", "no", "yes"], set()),
    ("truth_values", "own_tie_breaker", [True, False, "TRUE"], ["yes", "no", "yes"], set()),
    ("full_width_truths", "own_tie_breaker", ["ｙｅｓ", "ｎｏ", "no"], ["yes", "no", "no"], {"choice_word"}),
    ("maybe_is_no_choice", "own_tie_breaker", ["maybe", "no", "no"], NOTHING, {"choice_unknown"}),
    ("choice_not_known", "node_link", ["tbd", "Direct", "SWITCHED"], ["", "direct", "switched"], {"value_unknown"}),
    ("release_not_known", "release", ["n/a", "8.2", "8.2"], ["", "8.2", "8.2"], {"value_unknown"}),
    ("release_in_full_width", "release", ["８.２", "8.2", "8.2"], ["8.2", "8.2", "8.2"], {"text_tidied"}),
    ("date_with_points", "opens", ["31.03.2026", "1.2.2026", None], ["2026-03-31", "2026-02-01", "NaT"], {"date_text"}),
    ("date_with_its_day_beyond_12", "opens", ["31/03/2026", None, None], ["2026-03-31", "NaT", "NaT"], {"date_text"}),
    ("date_with_month_first", "opens", ["03/31/2026", None, None], ["2026-03-31", "NaT", "NaT"], {"date_text"}),
    ("date_of_two_minds", "opens", ["03/04/2026", None, None], NOTHING, {"date_ambiguous"}),
    ("date_settled_by_others", "opens", ["31/03/2026", "03/04/2026", None], ["2026-03-31", "2026-04-03", "NaT"], {"date_order"}),
    ("date_settled_month_first", "opens", ["03/31/2026", "03/04/2026", None], ["2026-03-31", "2026-03-04", "NaT"], {"date_order"}),
    ("dates_that_contradict", "opens", ["31/03/2026", "03/31/2026", "03/04/2026"], NOTHING, {"date_ambiguous"}),
    ("date_with_the_same_day_and_month", "opens", ["03/03/2026", None, None], ["2026-03-03", "NaT", "NaT"], {"date_text"}),
    ("date_with_a_month_name", "opens", ["31 March 2026", "31-Mar-2026", "March 31, 2026"], ["2026-03-31"] * 3, {"date_text"}),
    ("date_year_first", "opens", ["2026/03/31", "2026.3.31", "2026-03-31"], ["2026-03-31"] * 3, {"date_text"}),
    ("date_as_spreadsheets_show_it", "opens", ["31-Mar-26", "31 Mar. 26", "1 Apr 26"], ["2026-03-31", "2026-03-31", "2026-04-01"], {"date_text"}),
    ("date_of_two_digits", "opens", ["31/03/26", None, None], NOTHING, {"date_wanted"}),
    ("date_in_other_languages", "opens", ["31. März 2026", "31 de marzo de 2026", "Di., 31.03.2026"], ["2026-03-31"] * 3, {"date_text"}),
    ("date_as_far_away_as_it_gets", "opens", ["1er août 2026", "2026年3月31日", "31 marca 2026"], ["2026-08-01", "2026-03-31", "2026-03-31"], {"date_text"}),
    ("date_of_two_digits_with_points", "opens", ["31.03.26", "1.4.26", None], ["2026-03-31", "2026-04-01", "NaT"], {"date_text"}),
    ("date_without_signs", "opens", [20260331, None, None], ["2026-03-31", "NaT", "NaT"], set()),
    ("date_as_a_number_in_text", "opens", ["46112", None, None], ["2026-03-31", "NaT", "NaT"], {"date_serial"}),
    ("date_before_or_after", "opens", ["before 31.03.2026", None, None], NOTHING, {"date_wanted"}),
    ("date_that_never_was", "opens", ["30.02.2026", None, None], NOTHING, {"date_wanted"}),
    ("date_as_a_number", "opens", [46112, None, None], ["2026-03-31", "NaT", "NaT"], {"date_serial"}),
    ("version_for_a_date", "opens", ["8.10", None, None], NOTHING, {"date_wanted"}),
    ("date_not_known", "opens", ["tbd", None, None], ["NaT", "NaT", "NaT"], {"value_unknown"}),
    ("date_for_a_version", "release", [dt.date(2026, 10, 8), "8.2", "8.2"], NOTHING, {"release_date"}),
    ("zero_width_characters", "name", ["Al\u200bder", "Bi\u2060rch", "\ufeffCedar"], ["Alder", "Birch", "Cedar"], {"text_tidied"}),
    ("right_to_left_override", "name", ["Al\u202eder", "\u2066Birch\u2069", "C"], ["Alder", "Birch", "C"], {"text_steered"}),
    ("line_break_in_a_name", "name", ["Alder\nStreet", "B", "C"], ["Alder\nStreet", "B", "C"], set()),
    ("html_in_a_name", "name", ["<b>A</b>", "&amp;", "C"], ["<b>A</b>", "&amp;", "C"], set()),
    ("formula_in_a_name", "name", ["+1", "@SUM(A1)", "-1"], ["+1", "@SUM(A1)", "-1"], set()),
    ("hub_not_known", "pinned_hub", ["n/a", "ESK", None], None, {"value_unknown"}),
    ("german_error_value", "name", ["#NV", "B", "C"], NOTHING, {"cell_error"}),
    ("french_error_value", "weight", ["#VALEUR!", "1", "1"], NOTHING, {"cell_error"}),
]  # fmt: skip
COLUMNS = [(name, column, *rest) for name, column, *rest in COLUMNS]


def with_column(rows, column, values):
    header = rows["Sites"][0]
    if column not in header:
        header.append(column)
    at = header.index(column)
    for row, value in zip(rows["Sites"][1:], values, strict=True):
        row.extend([None] * (at + 1 - len(row)))
        row[at] = value


@pytest.mark.parametrize(("column", "cells", "values", "codes"), [c[1:] for c in COLUMNS], ids=[c[0] for c in COLUMNS])
def test_a_column_of_odd_cells(read, rows, column, cells, values, codes):
    with_column(rows, column, cells)
    if column == "pinned_hub":
        values = ["", "ESK", ""]
    got = read(rows)
    assert codes <= got.codes, got
    if values is NOTHING:
        assert got.fleet is None
        assert any(f.severity == "error" and f.code in codes for f in got.findings)
        return
    assert got.fleet is not None, got
    read_values = got.fleet.sites[column]
    if read_values.dtype.kind == "M":
        assert [str(v)[:10] for v in read_values] == values
    elif read_values.dtype.kind == "f":
        np.testing.assert_allclose(read_values, values)
    else:
        assert read_values.tolist() == values


@pytest.mark.parametrize(("column", "cells", "values", "codes"), [c[1:] for c in COLUMNS], ids=[c[0] for c in COLUMNS])
def test_the_same_column_in_csv(read, rows, column, cells, values, codes):
    if any(not isinstance(cell, str | None) for cell in cells):
        pytest.skip("CSV holds text only")
    with_column(rows, column, cells)
    got = read(rows, "csv")
    assert codes - {"number_text"} <= got.codes, got
    assert (got.fleet is None) == any(CATALOGUE[code].severity == "error" for code in codes), got
    if got.fleet is not None and values is not None and got.fleet.sites[column].dtype.kind == "f":
        np.testing.assert_allclose(got.fleet.sites[column], values)


# (situation, the id on the sheet Sites, how Latency writes it, the finding)
IDS = [
    ("cyrillic_letter", "A01", "\u041001", "id_lookalike"),
    ("greek_letter", "B01", "\u039201", "id_lookalike"),
    ("cyrillic_on_the_sites_sheet", "\u041e1", "O1", "id_lookalike"),
    ("full_width", "S01", "Ｓ０１", "id_lookalike"),
    ("non_breaking_hyphen", "S-01", "S\u201101", "id_lookalike"),
    ("dash_by_autocorrect", "S-01", "S–01", "id_lookalike"),
    ("two_blanks", "S 01", "S  01", "id_lookalike"),
    ("curly_apostrophe", "S'01", "S’01", "id_lookalike"),
    ("non_breaking_space", "S 01", "S\u00a001", "text_tidied"),
    ("line_break", "S 01", "S\n01", "text_tidied"),
    ("zeros_lost", "0042", 42, "id_repaired"),
    ("right_to_left_override", "S01", "S\u202e01", "text_steered"),
    ("control_character", "S01", "S01\u0085", "text_steered"),
    ("letter_o_for_nought", "S01", "SO1", "site_unknown"),
    ("another_case", "S01", "s01", "site_unknown"),
]


@pytest.mark.parametrize(("known", "written", "code"), [c[1:] for c in IDS], ids=[c[0] for c in IDS])
def test_an_id_that_is_written_otherwise(read, rows, known, written, code):
    rows["Sites"][1][0] = known
    rows["Latency"][1][0] = written
    got = read(rows)
    assert code in got.codes, got
    (pairs,) = [got.fleet.latency.groupby("site", observed=False).size()]
    assert pairs[known] == (0 if code == "site_unknown" else 2)


def test_ids_that_look_alike_on_one_sheet(read, rows):
    rows["Sites"][2][0], rows["Latency"][2][0] = "\u041e001", "\u041e001"
    rows["Sites"][1][0], rows["Latency"][1][0] = "O001", "O001"
    got = read(rows)
    assert got.only("ids_alike").where == "Sites!A3"
    assert len(got.fleet.latency) == 6


def test_an_id_of_a_thousand_characters_is_refused(read, rows):
    rows["Sites"][1][0] = "S" * 1000
    assert read(rows).only("id_long").where == "Sites!A2"


def test_a_name_of_a_hundred_thousand_characters_is_cut(read, rows):
    rows["Sites"][1][1] = "n" * 100_000
    got = read(rows, "csv")
    assert got.only("text_cut").severity == "warning"
    assert len(got.fleet.sites["name"][0]) == 32_767
