"""Text that means one number is read, text that may mean two is refused."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.columns import HUBS, LATENCY, SITES
from planner.intake.cells import clean
from planner.intake.findings import Findings
from planner.intake.frames import table_of_frame
from planner.intake.rawtable import Cells, tidy

RTT = LATENCY.column("rtt_ms")


def cleaned(spec, *values):
    """The cleaned column of ``values``, and the codes of its findings."""
    findings = Findings()
    frame = pd.DataFrame({"column": pd.Series(values, dtype=object)})
    result = clean(Cells(spec, table_of_frame("Sheet", frame), 0, findings))
    return result, [f.code for f in findings.result()]


@pytest.mark.parametrize(
    ("text", "value", "code"),
    [
        ("18.4", 18.4, "number_text"),
        (" 18.4\u00a0", 18.4, "number_text"),
        ("+18", 18, "number_text"),
        (".5", 0.5, "number_text"),
        ("1.84e1", 18.4, "number_text"),
        ("1\u202f234", 1234, "number_text"),
        ("1 234", 1234, "number_text"),
        ("18.4ms", 18.4, "number_text"),
        ("1.234", 1.234, "number_text"),
        ("18,4", 18.4, "number_comma"),
        ("18,40", 18.4, "number_comma"),
        ("0,123", 0.123, "number_comma"),
        ("1234,567", 1234.567, "number_comma"),
        ("1,234.5", 1234.5, "number_comma"),
        ("1.234,5", 1234.5, "number_comma"),
        ("1 234,5", 1234.5, "number_comma"),
        ("1,234", np.nan, "number_ambiguous"),
        ("18,400 ms", np.nan, "number_ambiguous"),
        ("18,4,1", np.nan, "number_wanted"),
        ("1 23", np.nan, "number_wanted"),
        ("18.4 km", np.nan, "number_wanted"),
        ("0.0184 s", 18.4, "unit_in_cell"),
        ("1_8", np.nan, "number_wanted"),
        ("0x12", np.nan, "number_wanted"),
        ("12-04", np.nan, "number_wanted"),
        ("nan", np.nan, "number_infinite"),
        ("-Inf", np.nan, "number_infinite"),
        ("1e999", np.nan, "number_infinite"),
    ],
)
def test_text_for_a_round_trip_time(text, value, code):
    result, codes = cleaned(RTT, text)
    np.testing.assert_array_equal(result, [value])
    assert code in codes
    assert "number_text" in codes or len(codes) == 1


def test_the_limits_themselves_are_allowed_or_not_as_the_column_says():
    assert cleaned(SITES.column("latitude"), 90.0, -90.0)[1] == []
    assert cleaned(RTT, 60_000.0)[1] == []
    assert cleaned(RTT, 0.0)[1] == ["number_limit"]
    assert cleaned(HUBS.column("max_hosts"), 0)[1] == []
    assert cleaned(HUBS.column("cluster_cap"), 0)[1] == ["number_limit"]


@pytest.mark.parametrize("value", [10**400, float("inf"), np.float64("-inf")])
def test_numbers_without_bound(value):
    result, codes = cleaned(RTT, value)
    assert np.isnan(result).all()
    assert "number_infinite" in codes


@given(st.floats(0.001, 60_000))
@settings(max_examples=60, deadline=None)
def test_a_number_reads_the_same_as_number_as_text_and_with_a_decimal_comma(value):
    as_number, none = cleaned(RTT, value)
    as_text, _ = cleaned(RTT, repr(value))
    assert as_number[0] == as_text[0] == value
    assert none == []
    with_comma, codes = cleaned(RTT, f"{value:.2f}".replace(".", ","))
    assert with_comma[0] == float(f"{value:.2f}") or codes == ["number_limit", "number_comma"]


KINDS = {spec.kind: spec for spec in (*SITES.columns, *HUBS.columns, *LATENCY.columns)}


@given(st.text(max_size=12))
@settings(max_examples=60, deadline=None)
def test_any_text_in_any_kind_of_column_gives_a_value_or_a_finding(text):
    for spec in KINDS.values():
        result, codes = cleaned(spec, text)
        blank = not tidy(text)
        assert len(result) == (0 if blank else 1)
        if not blank and (pd.isna(result[0]) if spec.kind in ("number", "whole", "date", "moment") else not result[0]):
            assert codes or (spec.kind == "ids" and not text.strip("; \n"))


@pytest.mark.parametrize(
    ("column", "text", "value"),
    [
        ("cluster_cap", "25 clusters", 25),
        ("cluster_cap", "25 Cluster pro Host", 25),
        ("cluster_cap", "1,200 clusters", 1200),
        ("max_hosts", "3 Server", 3),
        ("existing_hosts", "2 hôtes", 2),
        ("cluster_cap", "25 or more clusters", None),
        ("cluster_cap", "25 sites", None),
        ("cluster_cap", "25 clusters, 2 hosts", None),
        ("existing_hosts", "25 per host", None),
        ("max_hosts", "2 dozen hosts", None),
    ],
)
def test_a_figure_with_its_noun_is_read_where_that_means_one_thing(column, text, value):
    result, codes = cleaned(HUBS.column(column), text)
    assert (None if np.isnan(result[0]) else result[0]) == value
    assert (codes == ["number_wanted"]) == (value is None)
