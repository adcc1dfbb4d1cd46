"""The public API: what it exports, that the road works from Python, and that the order of rows does not matter."""

import datetime as dt
import inspect
import random
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import planner

TWELVE_SITES = Path(__file__).parents[1] / "sample_fleets" / "twelve_sites.xlsx"


def test_the_exports_are_these():
    assert planner.__all__ == [
        "Assignment",
        "Availability",
        "BudgetPoint",
        "CastingvoteError",
        "Comparison",
        "Difference",
        "DrillReport",
        "Explanation",
        "Finding",
        "Fleet",
        "Horizon",
        "Host",
        "HostCount",
        "InputError",
        "OwnAim",
        "OwnRule",
        "OwnSource",
        "Plan",
        "Policy",
        "Progress",
        "Readiness",
        "Rollout",
        "Scenario",
        "SolverError",
        "Step",
        "Sweep",
        "Violation",
        "Wave",
        "__version__",
        "audit",
        "availability",
        "budget_curve",
        "compare",
        "compare_designs",
        "count",
        "cover_prices",
        "drill",
        "explain",
        "fleet_from_tables",
        "horizon",
        "installed",
        "plan",
        "read_availability",
        "read_designs",
        "read_difference",
        "read_drill",
        "read_fleet",
        "read_horizon",
        "read_plan",
        "read_rollout",
        "read_sweep",
        "roll_out",
        "schema",
        "show_progress",
        "sweep",
        "vary",
        "verify",
        "verify_certificate",
        "write_certificate",
        "write_csv",
        "write_geojson",
        "write_json",
        "write_markdown",
        "write_report",
        "write_template",
        "write_workbook",
    ]
    assert all(hasattr(planner, name) for name in planner.__all__)


@pytest.mark.parametrize("name", [name for name in planner.__all__ if name != "__version__"])
def test_every_export_is_documented(name):
    text = getattr(planner, name).__doc__
    assert text
    first = text.strip().splitlines()[0]
    assert first.endswith((".", ",", ":")) or len(text.splitlines()) > 1
    # dataclass writes the signature where nobody wrote a sentence
    assert not first.startswith(f"{name}(")


@pytest.mark.parametrize(
    "name",
    [
        "audit",
        "compare",
        "compare_designs",
        "fleet_from_tables",
        "horizon",
        "plan",
        "read_fleet",
        "read_plan",
        "sweep",
        "vary",
        "verify",
        "write_workbook",
    ],
)
def test_every_function_tells_its_types(name):
    signature = inspect.signature(getattr(planner, name))
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())


def test_the_whole_road(tmp_path):
    fleet = planner.read_fleet(TWELVE_SITES)
    plan = planner.plan(fleet)
    assert (plan.status, plan.hosts, plan.lower_bound) == ("optimal", 4, 4)
    assert not [v for v in planner.verify(fleet, plan) if v.severity == "violation"]
    planner.write_workbook(fleet, plan, tmp_path / "plan.xlsx")
    planner.write_json(plan, tmp_path / "plan.json")
    assert planner.read_plan(tmp_path / "plan.json") == plan
    assert planner.read_plan(tmp_path / "plan.xlsx").assignments == plan.assignments


def test_scenarios_are_planned_from_python():
    fleet = planner.read_fleet(TWELVE_SITES)
    found = planner.sweep(fleet, planner.vary("cluster_cap=3,4"), jobs=1)
    hosts = {point.scenario.name: point.figures.hosts for point in found.points}
    smaller = planner.plan(fleet.replace(policy=fleet.policy.replace(cluster_cap=3))).hosts
    assert hosts == {"as it is": 4, "cluster_cap=3": smaller, "cluster_cap=4": 4}
    horizon = planner.horizon(fleet, dt.date(2027, 1, 1), periods=2)
    assert [step.standing for step in horizon.steps] == [4, 4]
    assert [design.hosts for design in planner.compare_designs(fleet).designs][1] == 4


LAZY = """
import sys, planner
assert "sweep" in dir(planner)
assert not [name for name in sys.modules if name.startswith("planner.scenarios")]
from planner import *
assert sweep is planner.sweep
assert "planner.scenarios.sweeping" in sys.modules
"""


def test_scenarios_are_loaded_only_when_they_are_asked_for():
    subprocess.run([sys.executable, "-c", LAZY], check=True, cwd=Path(planner.__file__).parents[1])
    with pytest.raises(AttributeError, match="sweeps"):
        planner.sweeps  # noqa: B018


def test_bad_input_raises_one_error_that_carries_all_findings():
    sites = pd.DataFrame({"site": ["0001", "0001"], "clusters": [1, -1]})
    with pytest.raises(planner.InputError) as caught:
        planner.fleet_from_tables({"Sites": sites, "Hubs": pd.DataFrame({"hub": ["ESK"]})})
    assert isinstance(caught.value, planner.CastingvoteError)
    assert {"Sites!A3", "Sites!B3"} <= {finding.where for finding in caught.value.findings}


def tables():
    """The sheets of twelve_sites as frames, cells as text so that releases stay what they are."""
    sheets = pd.read_excel(TWELVE_SITES, sheet_name=None, engine="openpyxl", dtype=str, keep_default_na=False)
    return {name: sheets[name] for name in ("Sites", "Hubs", "Latency", "Current", "Policy")}


def substance(plan):
    """What a plan says, without how long it took and from which file it came."""
    return plan.replace(seconds={}, sources=(), findings=())


@pytest.fixture(scope="module")
def straight():
    return substance(planner.plan(planner.fleet_from_tables(tables())))


def shuffled(seed):
    """The same tables with rows, columns and sheets in another order."""
    rng = random.Random(seed)
    frames = {}
    for name, frame in tables().items():
        by_row = frame.sample(frac=1, random_state=seed)
        frames[name] = by_row[rng.sample(list(frame.columns), len(frame.columns))]
    return dict(rng.sample(list(frames.items()), len(frames)))


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_rows_columns_and_tables_does_not_matter(straight, seed):
    assert substance(planner.plan(planner.fleet_from_tables(shuffled(seed)))) == straight


@pytest.mark.parametrize("seed", [4, 5])
def test_the_order_of_rows_in_a_workbook_does_not_matter(straight, tmp_path, seed):
    with pd.ExcelWriter(tmp_path / "shuffled.xlsx") as book:
        for name, frame in shuffled(seed).items():
            frame.to_excel(book, sheet_name=name, index=False)
    assert substance(planner.plan(planner.read_fleet(tmp_path / "shuffled.xlsx"))) == straight


def test_the_order_of_rows_in_csv_files_does_not_matter(straight, tmp_path):
    for name, frame in shuffled(6).items():
        frame.to_csv(tmp_path / f"{name}.csv", index=False)
    assert substance(planner.plan(planner.read_fleet(tmp_path))) == straight


@pytest.mark.parametrize("seed", [0, 7])
def test_the_same_seed_gives_the_same_plan_twice(seed):
    fleet = planner.read_fleet(TWELVE_SITES)
    first, second = (planner.plan(fleet, seed=seed).replace(seconds={}) for _ in range(2))
    assert first == second


def test_a_larger_fleet_shuffled_gives_the_same_plan_and_every_seed_the_same_number_of_hosts():
    from sample_fleets.make_fleet import generate

    frames = generate(200, 8, seed=3)
    straight = substance(planner.plan(planner.fleet_from_tables(frames)))
    mixed = {name: frame.sample(frac=1, random_state=1) for name, frame in frames.items()}
    assert substance(planner.plan(planner.fleet_from_tables(mixed))) == straight
    assert substance(planner.plan(planner.fleet_from_tables(frames), seed=1)).hosts == straight.hosts
