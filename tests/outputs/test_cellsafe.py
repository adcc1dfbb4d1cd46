"""Text that tries to be something else once it stands in a cell."""

import datetime as dt
import math

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.outputs import cellsafe, read_plan, write_workbook
from planner.plan import Reason, Unserved

NASTY = {
    "formula": "=1+2",
    "phone number": "+49 30 1234",
    "minus": "-2+3",
    "at": "@SUM(A1)",
    "tab": "\t=1",
    "error": "#N/A",
    "command": "=cmd|' /C calc'!A0",
    "html": "<b>Alder & Sons</b>",
    "right to left": "\u202eמרחק\u202c",
    "emoji": "🏪 shop 👩‍🚀",
    "control": "bell\x07 null\x00 escape\x1b",
    "non-character": "odd\ufffe\uffff",
    "surrogate": "half \ud83d",
    "lines": "one\r\ntwo\rthree",
    "long": "x" * 40_000,
    "long emoji": "🏪" * 20_000,
    "truth": "TRUE",
    "zeros": "0042",
}


@pytest.fixture(scope="module")
def names(fleet, plan, tmp_path_factory):
    """What pandas reads back for each nasty site name."""
    path = tmp_path_factory.mktemp("nasty") / "plan.xlsx"
    texts = list(NASTY.values())
    # As objects: strings of Arrow, which pandas takes where pyarrow is there, hold no lone surrogates.
    name = pd.Series([*texts, *fleet.sites["name"][len(texts) :]], dtype=object)
    sites = fleet.sites.assign(name=name, region=fleet.sites["region"])
    own = sites.assign(**{"=own": sites["name"]})
    nasty_reason = Unserved("0180", 1, (Reason("latency", "=1+2 \x07"),), "-\ud83d")
    write_workbook(fleet.replace(sites=own), plan.replace(unserved=(nasty_reason,)), path)
    rows = pd.read_excel(path, sheet_name="Assignments", dtype=object, keep_default_na=False, engine="openpyxl")
    for _, row in rows.iterrows():
        assert row["=own"] == row["name"]
    book = openpyxl.load_workbook(path)
    assert {cell.data_type for cell in book["Assignments"]["B"]} == {"s"}
    return dict(zip(NASTY, rows["name"], strict=False)), book


@pytest.mark.parametrize("kind", ["formula", "phone number", "minus", "at", "tab", "error", "command", "html", "emoji"])
def test_text_stays_the_text_it_was(names, kind):
    assert names[0][kind] == NASTY[kind]


@pytest.mark.parametrize("kind", ["right to left", "truth", "zeros"])
def test_scripts_words_and_zeros_survive(names, kind):
    assert names[0][kind] == NASTY[kind]


def test_characters_that_xml_cannot_hold_are_shown_as_replaced(names):
    assert names[0]["control"] == "bell\ufffd null\ufffd escape\ufffd"
    assert names[0]["non-character"] == "odd\ufffd\ufffd"
    assert names[0]["surrogate"] == "half \ufffd"


def test_line_ends_are_unified(names):
    assert names[0]["lines"] == "one\ntwo\nthree"


def test_long_text_is_cut_with_a_note(names):
    assert names[0]["long"].endswith("x [cut: 40,000 characters]")
    assert names[0]["long emoji"].endswith("🏪 [cut: 20,000 characters]")


def test_text_like_a_formula_is_marked_so_that_editing_the_cell_keeps_it(names):
    cells = names[1]["Assignments"]["B"]
    marked = {kind: cell.quotePrefix for kind, cell in zip(NASTY, cells[1:], strict=False)}
    assert all(marked[kind] for kind in ("formula", "phone number", "minus", "at", "tab"))
    assert not marked["html"]


def test_nasty_reasons_do_not_stop_the_writing(names):
    assert names[1]["Unserved"]["F2"].value == "latency: =1+2 \ufffd"


@given(st.text(max_size=60))
def test_any_text_becomes_one_that_xml_can_hold_and_stays_so(text):
    safe = cellsafe.safe_text(text)
    assert cellsafe.safe_text(safe) == safe
    assert not any(0xD800 <= ord(c) <= 0xDFFF or (ord(c) < 32 and c not in "\t\n") for c in safe)


def test_ids_that_look_like_formulas_come_back_from_the_workbook(fleet, plan, tmp_path):
    strange = ["=A1", "+1", "-7", "@x", "0042", "1e5", "2026-01-01", "<a&b>", "مخزن"]
    sites = fleet.sites.assign(site=[*strange, *fleet.sites["site"][len(strange) :]])
    renamed = tuple(
        a if n >= len(strange) else type(a)(strange[n], *[getattr(a, f) for f in _REST])
        for n, a in enumerate(plan.assignments)
    )
    write_workbook(fleet.replace(sites=sites), plan.replace(assignments=renamed), tmp_path / "plan.xlsx")
    assert read_plan(tmp_path / "plan.xlsx").assignments == renamed


_REST = ("host", "hub", "clusters", "rtt_ms", "budget_ms", "evidence", "standby", "moved_from", "action")


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (math.nan, None),
        (math.inf, None),
        (None, None),
        (pd.NaT, None),
        (pd.NA, None),
        ((), None),
        (("a", "b"), "a; b"),
        (np.int64(3), 3),
        (np.float64(2.5), 2.5),
        (np.bool_(True), True),
        (2**60, str(2**60)),
        (pd.Timestamp("2026-01-05 10:00"), dt.datetime(2026, 1, 5, 10)),
        (pd.Timestamp("2026-01-05", tz="UTC"), "2026-01-05 00:00:00+00:00"),
        (dt.date(1899, 5, 1), "1899-05-01"),
        (dt.time(22, 0), dt.time(22, 0)),
        (dt.timedelta(hours=1), "1:00:00"),
        ({"a": 1}, "{'a': 1}"),
    ],
)
def test_value_of_a_users_column_becomes_one_that_a_cell_can_hold(value, expected):
    plain = cellsafe.plain(value)
    assert plain == expected
    assert type(plain) is type(expected)


def test_taken_names_get_a_number():
    assert cellsafe.sheet_name("Wave", ["wave", "WAVE (2)"]) == "Wave (3)"
    assert cellsafe.table_name("Hosts", ["hosts"]) == "Hosts_2"
    assert cellsafe.column_heading("cost", ["Cost"]) == "cost (2)"


@pytest.mark.parametrize(("wanted", "name"), [("No host needed", "No_host_needed"), ("A1", "T_A1"), ("R1C1", "T_R1C1")])
def test_table_names_are_words_and_no_cell_addresses(wanted, name):
    assert cellsafe.table_name(wanted) == name
