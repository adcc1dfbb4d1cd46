"""A fleet, written as a canonical workbook and read again, is the same fleet, and nothing is repaired the second time."""

# ruff: noqa: E501 (tables read best with one case in a line)

import dataclasses
import datetime as dt
import os

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.columns import HUBS, LATENCY, LINKS, POLICY, SETTINGS, SITES
from planner.fleet import Policy
from planner.intake import REPAIRS, fleet_from_tables, read_fleet
from planner.intake.lookalikes import skeleton
from planner.intake.rawtable import broken, tidy
from planner.outputs import write_repaired

CASES = int(os.environ.get("CASTINGVOTE_FUZZ", "50")) // 8

TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc", "Cf", "Co", "Cn"]), min_size=1, max_size=9)
TEXTS = TEXTS.map(tidy).filter(lambda t: t and broken(t) is None)
IDS = st.one_of(
    TEXTS, st.sampled_from(["0042", "007", "8.10", "1E5", "NA", "TRUE", "=1+1", "+44", "_x0041_", "3-4", "-", "None"])
)
IDS = IDS.filter(lambda t: ";" not in t and "," not in t and t.casefold() not in ("total", "sum"))
FIGURES = st.floats(0.001, 50_000).map(lambda x: float(f"{x:.12g}"))
RELEASES = st.sampled_from(["8.2", "8.10", "8.1", "9", "8.2 SP1", "v7.0", "8.2.0-rc1"])
DAYS = st.dates(dt.date(1950, 1, 1), dt.date(2200, 12, 31))
MOMENTS = st.datetimes(dt.datetime(2000, 1, 1), dt.datetime(2100, 1, 1)).map(lambda m: m.replace(microsecond=0))
KINDS = {
    "text": TEXTS,
    "whole": st.integers(1, 90),
    "number": FIGURES,
    "release": RELEASES,
    "date": DAYS,
    "moment": MOMENTS,
    "timezone": st.sampled_from(["Europe/London", "UTC", "America/New_York"]),
    "window": st.sampled_from(["Sun 22:00-04:00", "Sun 22:00-04:00; Wed 01:00-05:00"]),
}


def values_of(column):
    """What a column may hold, blanks among it."""
    if column.choices:
        given_ones = st.sampled_from(column.choices)
    elif column.name == "weight":
        given_ones = st.integers(1, 10**7).map(
            lambda steps: steps / 1000
        )  # weights of finer steps can be too far apart
    elif column.kind == "ids":
        given_ones = st.lists(IDS, min_size=1, max_size=3, unique=True).map(";".join)
    else:
        given_ones = KINDS[column.kind]
        if column.kind == "whole" and column.most is not None:
            given_ones = st.integers(max(1, int(column.least)), min(90, int(column.most)))
        elif column.most is not None and column.most < 50_000:
            given_ones = st.floats(max(column.least, 0), column.most).map(lambda x: float(f"{x:.9g}"))
    return st.one_of(st.none(), given_ones)


@st.composite
def tables(draw):
    """Tables of a fleet that has no error."""
    sites = draw(st.lists(IDS, min_size=1, max_size=5, unique_by=lambda t: skeleton(t).lstrip("0")))
    hubs = draw(st.lists(IDS, min_size=1, max_size=3, unique_by=lambda t: skeleton(t).lstrip("0")))
    free = {"site", "hub", "pool", "pinned_hub", "barred_hubs", "nodes", "opens", "closes", "own_tie_breaker_cost"}

    def filled(sheet, ids, key):
        names = draw(
            st.lists(st.sampled_from([c for c in sheet.columns if c.name not in free]), max_size=8, unique=True)
        )
        columns = {c.name: draw(st.lists(values_of(c), min_size=len(ids), max_size=len(ids))) for c in names}
        own = {
            "Remark of ours": draw(st.lists(st.one_of(st.none(), TEXTS, FIGURES), min_size=len(ids), max_size=len(ids)))
        }
        return pd.DataFrame({key: ids, **{n: pd.Series(v, dtype=object) for n, v in (columns | own).items()}})

    pairs = draw(st.lists(st.tuples(st.sampled_from(sites), st.sampled_from(hubs)), max_size=8, unique=True))
    figures = [
        draw(st.lists(st.one_of(st.none(), kind), min_size=len(pairs), max_size=len(pairs)))
        for kind in (FIGURES, MOMENTS, st.floats(0, 100).map(lambda x: round(x, 6)))
    ]
    latency = pd.DataFrame(
        {
            "site": [p[0] for p in pairs],
            "hub": [p[1] for p in pairs],
            **{
                n: pd.Series(f, dtype=object)
                for n, f in zip(("rtt_ms", "measured_at", "loss_percent"), figures, strict=True)
            },
        }
    )
    links = draw(st.lists(st.tuples(IDS, IDS, FIGURES), max_size=3))
    current = pd.DataFrame(
        [[s, draw(st.sampled_from(hubs)), draw(IDS)] for s in sites[:2]], columns=["site", "hub", "host"]
    )
    policy = {
        "latency_budget_ms": 40,
        "split_sites": draw(st.booleans()),
        "currency": draw(TEXTS),
        "release_floor": draw(RELEASES),
        "reserve_percent": draw(st.integers(0, 90)),
    }
    return {
        "Sites": filled(SITES, sites, "site"),
        "Hubs": filled(HUBS, hubs, "hub"),
        "Latency": latency,
        "Links": pd.DataFrame(links, columns=["from", "to", "km"]).astype(object),
        "Current": current,
    }, policy  # fmt: skip


def assert_same(one, other):
    for name in ("sites", "pools", "latency", "samples", "links", "current"):
        left, right = (getattr(fleet, name) for fleet in (one, other))
        pd.testing.assert_frame_equal(left, right, check_dtype=False, check_categorical=False, obj=name)
    assert one.policy == other.policy


@given(tables())
@settings(max_examples=CASES, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_fleet_survives(tmp_path, made):
    frames, policy = made
    first = fleet_from_tables(frames, policy)
    write_repaired(first, tmp_path / "repaired.xlsx")
    again = read_fleet(tmp_path / "repaired.xlsx")
    assert_same(first, again)
    assert not {f.code for f in again.findings} & REPAIRS, again.findings


def test_a_long_list_becomes_a_matrix(tmp_path, monkeypatch):
    monkeypatch.setattr("planner.outputs.repaired._LONG_LIST", 2000)
    sites, hubs = [f"{i:04d}" for i in range(70)], [f"H{j}" for j in range(30)]
    rtt_ms = np.random.default_rng(1).uniform(1, 90, (70, 30)).round(2)
    rtt_ms[5, 7] = np.nan
    latency = pd.DataFrame(rtt_ms, columns=hubs)
    latency.insert(0, "site", sites)
    frames = {"Sites": pd.DataFrame({"site": sites}), "Hubs": pd.DataFrame({"hub": hubs}), "Latency": latency}
    first = fleet_from_tables(frames, {"latency_budget_ms": 40})
    write_repaired(first, tmp_path / "repaired.xlsx")
    assert openpyxl.load_workbook(tmp_path / "repaired.xlsx")["Latency"].max_column == 31
    assert_same(first, read_fleet(tmp_path / "repaired.xlsx"))


@pytest.mark.parametrize("kind", ["xlsx", "csv", "ods"])
def test_repairs_are_made_once(read, rows, tmp_path, kind):
    rows["Sites"][0][6] = "Latency budget [s]"
    for row, value in zip(rows["Sites"][1:], ["0,04", "40 ms", "≤ 0.04"], strict=True):
        row[6] = value
    rows["Latency"][1][0], rows["Latency"][2][0] = "1", "0002\u00a0"
    first = read(rows, kind)
    assert first.codes & REPAIRS
    write_repaired(first.fleet, tmp_path / "repaired.xlsx")
    again = read_fleet(tmp_path / "repaired.xlsx")
    assert_same(first.fleet, again)
    assert again.findings == ()


def test_every_setting_is_written(tmp_path, rows, read):
    names = {setting.name for setting in SETTINGS}
    assert names == {field.name for field in dataclasses.fields(Policy)}
    write_repaired(read(rows).fleet, tmp_path / "repaired.xlsx")
    page = openpyxl.load_workbook(tmp_path / "repaired.xlsx")[POLICY.name]
    written = {row[0] for row in page.iter_rows(min_row=2, values_only=True)}
    assert written == {name for name in names if getattr(Policy(), name) not in (None, "")}


def test_unused_sheets_are_left_out(tmp_path, rows, read):
    write_repaired(read(rows).fleet, tmp_path / "repaired.xlsx")
    titles = openpyxl.load_workbook(tmp_path / "repaired.xlsx").sheetnames
    assert titles == ["Sites", "Hubs", LATENCY.name, "Policy"]
    assert LINKS.name not in titles
