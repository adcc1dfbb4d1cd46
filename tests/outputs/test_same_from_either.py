"""Every output made from a plan workbook is that made from plan.json."""

import dataclasses
import re
from pathlib import Path

import pytest

import planner
from planner.explain import pairs_to_measure
from planner.outputs import plan_to_geojson, plan_to_json, plan_to_markdown
from planner.outputs.report.page import report_html
from planner.outputs.rollout_json import rollout_to_json
from planner.verify import verify_proof
from tests.how_many import ALL_SAMPLES
from tests.independent.generator import Wanted, tables_of

SEEDS = (2, 7)
TRIED = SEEDS if ALL_SAMPLES else SEEDS[:1]
SAMPLES = Path(__file__).parents[2] / "sample_fleets"

# Features of random fleets, see `tests.independent.generator`.
KINDS = {
    "cover": Wanted(covers=("hub",), always=("today", "several_clusters")),
    "limits": Wanted(covers=("none",), always=("limits_host", "limits_hub", "limits_zone", "shares", "today")),
    "own tie-breakers": Wanted(covers=("none", "host"), always=("own", "today")),
    "unserved sites": Wanted(covers=("none",), always=("tight", "today", "weights", "losses")),
    "estimates": Wanted(covers=("none",), always=("coordinates", "estimates", "ages", "samples")),
    "money": Wanted(covers=("none",), always=("prices", "pair_costs")),
}


def random_fleet(kind, seed):
    """Return a fleet of a kind; of ``split sites`` one of unserved sites whose sites may be split."""
    tables = tables_of(seed, KINDS["unserved sites" if kind == "split sites" else kind])
    split = {"split_sites": "yes", "objective": "hosts"} if kind == "split sites" else {}
    return planner.fleet_from_tables(tables.frames(), {**tables.policy, **split})


def either(fleet, folder):
    """Return the plan of a fleet as plan.json and as the workbook give it back."""
    plan = planner.plan(fleet, time_limit=20)
    plan = plan.replace(measure_first=pairs_to_measure(fleet, plan, time_limit=0.5))
    planner.write_json(plan, folder / "plan.json")
    planner.write_workbook(fleet, plan, folder / "plan.xlsx", readiness=planner.audit(fleet))
    return planner.read_plan(folder / "plan.json"), planner.read_plan(folder / "plan.xlsx")


def outputs(fleet, plan, folder):
    """Return every output made from a plan."""
    tables = planner.write_csv(fleet, plan, folder)
    found = {path.name: path.read_bytes() for path in tables} | {
        "json": plan_to_json(plan),
        "geojson": plan_to_geojson(fleet, plan),
        "markdown": plan_to_markdown(fleet, plan),
        "report": _renumbered(report_html(fleet, plan)),
        "drill": planner.drill(fleet, plan),
        "availability": planner.availability(fleet, plan),
        "verify": planner.verify(fleet, plan),
        "proof": verify_proof(fleet, plan),
    }
    try:
        found["rollout"] = rollout_to_json(planner.roll_out(fleet, plan, time_limit=0.0))
    except planner.InputError as error:  # split sites
        found["rollout"] = error.findings
    return found


def _renumbered(page):
    """Return a page with the ids of Bokeh's models, which count on through a process, in order of appearance."""
    found = {}
    return re.sub(r'"p\d+"', lambda match: f'"p{found.setdefault(match[0], len(found))}"', page)


def the_same(fleet, folder):
    from_json, from_workbook = either(fleet, folder)
    for field in dataclasses.fields(from_json):
        assert getattr(from_workbook, field.name) == getattr(from_json, field.name), field.name
    made = [outputs(fleet, plan, folder / name) for name, plan in (("a", from_json), ("b", from_workbook))]
    for name, output in made[0].items():
        assert made[1][name] == output, name
    return from_json


@pytest.mark.parametrize("sample", ["twelve_sites", *(["county_chain", "national_1200"] if ALL_SAMPLES else [])])
def test_samples(sample, tmp_path):
    plan = the_same(planner.read_fleet(SAMPLES / f"{sample}.xlsx"), tmp_path)
    assert plan.complete == (sample == "twelve_sites")


@pytest.mark.parametrize(("kind", "seed"), [(kind, seed) for kind in (*KINDS, "split sites") for seed in TRIED])
def test_random_fleets(kind, seed, tmp_path):
    the_same(random_fleet(kind, seed), tmp_path)


def test_random_fleets_are_what_they_are_for():
    plans = {kind: [planner.plan(random_fleet(kind, seed)) for seed in SEEDS] for kind in (*KINDS, "split sites")}
    assert any(row.standby for plan in plans["cover"] for row in plan.assignments)
    assert any(one.why == "own_tie_breaker" for plan in plans["own tie-breakers"] for one in plan.no_host_needed)
    assert any(one.current for plan in plans["unserved sites"] for one in plan.unserved)
    assert any(row.evidence == "estimated" for plan in plans["estimates"] for row in plan.assignments)
    assert any(len(plan.assignments) > len({row.site for row in plan.assignments}) for plan in plans["split sites"])


def test_a_covered_plan_is_told_as_covered_from_a_workbook(tmp_path):
    fleet = random_fleet("cover", 1)
    _, plan = either(fleet, tmp_path)
    told = plan_to_markdown(fleet, plan)
    assert "no standby is planned" not in told
    assert "version not stated" not in told
