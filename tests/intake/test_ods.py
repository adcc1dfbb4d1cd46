"""OpenDocument workbooks: shown text, repeated cells, comments, errors, limits."""

import datetime as dt

import pytest

FIXED = (
    '<number:number-style style:name="N1"><number:number number:decimal-places="1"/></number:number-style>'
    '<style:style style:name="ce1" style:family="table-cell" style:data-style-name="N1"/>'
)


def number(value, text, extra=""):
    return (
        f'<table:table-cell office:value-type="float" office:value="{value}" {extra}>'
        f"<text:p>{text}</text:p></table:table-cell>"
    )


@pytest.mark.parametrize(
    ("cell", "release"),
    [
        (number(8.1, "8.10"), "8.10"),
        (number(8.1, "8,10"), "8.10"),
        (number(8.1, "8.1", 'table:style-name="ce1"'), "8.1"),
        (number(8, "8"), "8"),
        (number(8.1, "8.1"), None),  # General: it may have been typed as 8.10
        (number(8.125, "8.1", 'table:style-name="ce1"'), None),
    ],
)
def test_a_release_stored_as_a_number_is_known_by_its_shown_text(read, rows, cell, release):
    rows["Sites"][1][5] = cell
    got = read(rows, "ods", styles=FIXED)
    if release is None:
        assert got.only("release_number").where == "Sites!F2"
    else:
        assert got.fleet.sites["release"][0] == release


def test_an_id_shown_with_zeros_is_taken_as_shown(read, rows):
    rows["Sites"][1][0] = number(1, "0001")
    got = read(rows, "ods")
    assert got.codes == {"id_shown"}
    assert got.fleet.site_ids[0] == "0001"


def test_a_percentage_counts_as_shown(read, rows):
    rows["Policy"][2][1] = (
        '<table:table-cell office:value-type="percentage" office:value="0.1"><text:p>10%</text:p></table:table-cell>'
    )
    got = read(rows, "ods")
    assert got.codes == {"percent_shown"}
    assert got.fleet.policy.reserve_percent == 10


def test_dates_truth_values_and_durations(read, rows):
    rows["Sites"][0] += ["opens", "own_tie_breaker", "clusters"]
    rows["Sites"][1] += [
        dt.date(2026, 3, 31),
        True,
        '<table:table-cell office:value-type="time" office:time-value="PT18H04M00S"/>',
    ]
    got = read(rows, "ods")
    assert got.codes == {"number_date"}
    rows["Sites"][1][-1] = 1
    fleet = read(rows, "ods").fleet
    assert fleet.sites["opens"][0] == dt.datetime(2026, 3, 31)
    assert fleet.own_tie_breaker.tolist() == ["yes", "no", "no"]


def test_errors_and_uncalculated_formulas(read, rows):
    rows["Sites"][1][5] = (
        '<table:table-cell office:value-type="string" calcext:value-type="error" office:string-value="">'
        "<text:p>#N/A</text:p></table:table-cell>"
    )
    rows["Sites"][2][5] = '<table:table-cell table:formula="of:=[.A1]"/>'
    assert {(f.code, f.where) for f in read(rows, "ods").findings} == {
        ("cell_error", "Sites!F2"),
        ("formula_unsaved", "Sites!F3"),
    }


def test_comments_are_no_part_of_the_cell_and_runs_are(read, rows):
    rows["Sites"][1][1] = (
        '<table:table-cell office:value-type="string"><office:annotation><text:p>a remark</text:p></office:annotation>'
        "<text:p>Alder<text:s text:c='2'/><text:span>Street</text:span></text:p></table:table-cell>"
    )
    assert read(rows, "ods").fleet.sites["name"][0] == "Alder  Street"


def test_repeated_rows_and_cells_keep_their_addresses(read, rows):
    rows["Sites"].insert(2, '<table:table-row table:number-rows-repeated="5"><table:table-cell/></table:table-row>')
    rows["Latency"][1] = ["0001", number(9, "9", 'table:number-columns-repeated="2"')]
    rows["Sites"][-1][6] = -1
    rows["Sites"].append(
        '<table:table-row table:number-rows-repeated="1048000">'
        '<table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
    )
    got = read(rows, "ods")
    assert got.only("number_limit").where == "Sites!G9"
    rows["Sites"][-2][6] = 40
    assert read(rows, "ods").fleet.latency["rtt_ms"][:2].tolist() == [9, 9]


@pytest.mark.parametrize(("rows_repeated", "columns_repeated"), [(1_048_576, 1_000), (2_000_000, 1), (1, 20_000)])
def test_values_repeated_beyond_all_measure_are_refused(read, rows, rows_repeated, columns_repeated):
    cell = number(1, "1", f'table:number-columns-repeated="{columns_repeated}"')
    rows["Latency"].append(f'<table:table-row table:number-rows-repeated="{rows_repeated}">{cell}</table:table-row>')
    assert read(rows, "ods").codes == {"file_too_big"}


def test_merged_cells_and_row_groups(read, rows):
    rows["Sites"][1] = (
        "<table:table-row-group><table:table-row>"
        '<table:table-cell office:value-type="string" table:number-rows-spanned="2"><text:p>0001</text:p>'
        "</table:table-cell><table:table-cell/></table:table-row></table:table-row-group>"
    )
    rows["Sites"][2] = ["<table:covered-table-cell/>", "Birch Lane"]
    got = read(rows, "ods")
    assert got.only("site_repeated").where == "Sites!A3"
    assert "A2:A3" in got.only("merged_cells").message
