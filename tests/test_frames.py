"""The nouns as pandas users meet them: tables with types, one line in a session, plots, equality and pickling."""

import datetime as dt
import pickle

import pandas as pd
import pytest
from pandas.api import types

import planner
from planner import columns
from planner.plan import Assignment, Plan, Unserved
from planner.typed_tables import typed_table
from tests.test_api import TWELVE_SITES, tables


@pytest.fixture(scope="module")
def fleet():
    return planner.read_fleet(TWELVE_SITES)


@pytest.fixture(scope="module")
def made(fleet):
    return planner.plan(fleet.replace(policy=fleet.policy.replace(cover="none")))


@pytest.fixture(scope="module")
def nouns(fleet, made):
    return {
        "fleet": fleet,
        "plan": made,
        "rollout": planner.roll_out(fleet, made, start=dt.date(2027, 1, 4)),
        "sweep": planner.sweep(fleet, planner.vary("cluster_cap=3,4"), jobs=1),
        "horizon": planner.horizon(fleet, dt.date(2027, 1, 1), periods=2),
        "comparison": planner.compare_designs(fleet),
        "drills": planner.drill(fleet, made),
        "drill": planner.drill(fleet, made, [made.host_list[0].host]).drill,
        "availability": planner.availability(fleet, made),
        "readiness": planner.audit(fleet),
        "explanation": planner.explain(fleet, time_limit=1),
    }


NAMES = (
    *("fleet", "plan", "rollout", "sweep", "horizon", "comparison"),
    *("drills", "drill", "availability", "readiness", "explanation"),
)


@pytest.mark.parametrize("name", NAMES)
def test_every_noun_is_one_line_and_a_page_and_survives_pickling(nouns, name):
    noun = nouns[name]
    assert "\n" not in repr(noun)
    assert len(repr(noun)) < 450
    assert repr(noun) == f"<{type(noun).__name__}: {noun.glance}>"
    page = noun._repr_html_()
    assert type(noun).__name__ in page
    assert all(f"{frame}_frame" in page for frame, rows in noun.frames.items() if len(rows))
    assert pickle.loads(pickle.dumps(noun)) == noun


@pytest.mark.parametrize("name", NAMES)
def test_every_table_is_a_frame_with_as_many_rows_as_the_list(nouns, name):
    frames = nouns[name].frames
    assert frames
    for table, frame in frames.items():
        assert isinstance(frame, pd.DataFrame)
        assert frame.columns.is_unique, table
        assert frame.index.equals(pd.RangeIndex(len(frame))), table


def test_a_plan_is_told_in_one_line_with_what_is_not_met_first(made):
    assert repr(made) == "<Plan: 4 hosts for 11 sites; no plan for them has fewer>"
    lacking = made.replace(unserved=(Unserved("0099", 1, ()),), lower_bound=3.0)
    assert repr(lacking) == "<Plan: 1 site unserved; 4 hosts for 11 sites; not proven, bound 3>"


def test_the_tables_of_a_plan_have_its_rows_and_types(made):
    hosts, assignments = made.hosts_frame, made.assignments_frame
    assert hosts["host"].tolist() == [host.host for host in made.host_list]
    assert hosts["clusters"].sum() == assignments["clusters"].sum() == 12
    assert (assignments["margin_ms"] == assignments["budget_ms"] - assignments["rtt_ms"]).all()
    assert types.is_integer_dtype(hosts["clusters"])
    assert types.is_bool_dtype(hosts["existing"])
    assert types.is_float_dtype(assignments["standby_rtt_ms"])
    assert assignments["standby"].isna().all()


def test_an_empty_table_has_the_columns_and_types_of_a_full_one(made):
    full, empty = made.assignments_frame, made.replace(assignments=()).assignments_frame
    assert list(full) == list(empty)
    assert full.dtypes.tolist() == empty.dtypes.tolist()
    assert list(made.frames) == [name.removesuffix("_frame") for name in vars(Plan) if name.endswith("_frame")]
    assert Assignment.__slots__[:3] == ("site", "host", "hub")


def test_steps_and_points_are_flat_and_keep_their_order(nouns):
    rollout, sweep = nouns["rollout"], nouns["sweep"]
    assert rollout.steps_frame["id"].tolist() == [step.id for step in rollout.steps]
    assert rollout.steps_frame["wave"].tolist() == [wave.wave for wave in rollout.waves for _ in wave.steps]
    assert str(rollout.steps_frame["starts"].dt.tz) == "UTC"
    points = sweep.points_frame
    assert points["scenario"].tolist() == ["as it is", "cluster_cap=3", "cluster_cap=4"]
    assert points["cluster_cap"].tolist()[1:] == ["3", "4"]
    assert points["hosts"].tolist() == [point.figures.hosts for point in sweep.points]


def test_figures_of_a_failed_point_are_missing(nouns):
    import dataclasses

    sweep = nouns["sweep"]
    failed = dataclasses.replace(sweep.points[1], figures=None, error="no cap")
    frame = dataclasses.replace(sweep, points=(sweep.points[0], failed)).points_frame
    assert frame["error"].tolist() == ["", "no cap"]
    assert pd.isna(frame["hosts"][1])
    assert "1 failed" in repr(dataclasses.replace(sweep, points=(failed,)))


def test_fleets_are_equal_where_they_plan_alike(fleet):
    again = planner.read_fleet(TWELVE_SITES)
    assert again == fleet
    assert planner.fleet_from_tables(tables()) == fleet
    assert fleet != fleet.replace(policy=fleet.policy.replace(cluster_cap=5))
    assert fleet != fleet.replace(sites=fleet.sites.assign(clusters=2.0))
    assert fleet != "fleet"
    with pytest.raises(TypeError, match="unhashable"):
        hash(fleet)


@pytest.mark.parametrize(
    ("name", "plot"),
    [
        ("plan", "plot_loads"),
        ("plan", "plot_latency"),
        ("rollout", "plot_waves"),
        ("sweep", "plot_hosts"),
        ("horizon", "plot_hosts"),
        ("comparison", "plot_costs"),
        ("drills", "plot_losses"),
    ],
)
def test_plots_are_axes_with_words(nouns, name, plot):
    plt = pytest.importorskip("matplotlib.pyplot")
    drawn = getattr(nouns[name], plot)()
    assert drawn.get_title()
    assert drawn.patches or drawn.lines
    plt.close("all")


def test_the_map_draws_every_site_and_every_hub(fleet, made):
    plt = pytest.importorskip("matplotlib.pyplot")
    number, hubs = len(fleet.sites), len(fleet.pools)
    placed = fleet.replace(
        sites=fleet.sites.assign(latitude=[50.0 + i / 10 for i in range(number)], longitude=[1.0] * number),
        pools=fleet.pools.assign(latitude=[51.0 + i for i in range(hubs)], longitude=[2.0] * hubs),
    )
    _, ax = plt.subplots()
    assert made.plot_map(placed, ax=ax) is ax
    dots = sum(len(drawn.get_offsets()) for drawn in ax.collections)
    assert dots == number + len(set(fleet.pools["hub"]))
    assert "without coordinates" not in ax.get_title()
    nowhere = placed.replace(sites=placed.sites.assign(latitude=float("nan")))
    assert "12 sites without coordinates" in made.plot_map(nowhere).get_title()
    plt.close("all")


def test_the_table_of_a_sheet_that_is_not_there_is_ones_own():
    changed = typed_table(columns.LINKS, {})
    changed["own"] = []
    changed.insert(0, "other", [])
    assert tuple(typed_table(columns.LINKS, {})) == columns.LINKS.names
