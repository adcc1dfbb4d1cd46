"""Every sample fleet is planned, written in every form, read back and verified; and one is searched host by host.

.ci/run holds the lowest versions of libraries that pyproject.toml allows against this file, with
CASTINGVOTE_SAMPLES=all; without that, the smallest sample is enough.
"""

import contextlib
import io
import json
import os
from pathlib import Path

import numpy as np
import pytest

import planner
from planner.cli import main
from planner.rules import Checker
from planner.sizing.cover.losses import read_losses
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.search import PrimalSearch
from planner.sizing.instance.problem import build_problem
from planner.sizing.solvers.budget import SolveBudget
from tests.arrays import fleet_of

SAMPLES = Path(__file__).parents[1] / "sample_fleets"
LIMIT = ("--time-limit", "5")
VARIED = ("--vary", "cluster_cap=x0.5,x1", "--jobs", "1", *LIMIT)
ROUNDS = {
    "check": ["--readiness", "readiness.xlsx", "--repaired", "repaired.xlsx", "--write-mapping", "mapping.toml"],
    "plan": ["-o", "plan.xlsx", "--json", "plan.json", "--report", "plan.html", *LIMIT, "--measure-first", "1"],
    "verify": ["plan.json", "--proof", "--json", "-"],
    "explain": ["--time-limit", "2", "--json", "-"],
    "drill": ["plan.json", "-o", "drill.xlsx"],
    "availability": ["plan.xlsx", "-o", "availability.xlsx"],
    "report": ["plan.xlsx", "-o", "again.html", "--curve-seconds", "1"],
    "export": ["plan.xlsx", "--geojson", "plan.geojson", "--csv", "tables", "--markdown", "plan.md"],
    "rollout": ["plan.xlsx", "-o", "rollout.xlsx", "--calendar", "rollout.ics", "--json", "rollout.json"],
    "progress": ["plan.xlsx", "-o", "progress.xlsx", "--as-of", "2027-03-01"],
    "sweep": [*VARIED, "-o", "sweep.xlsx", "--json", "sweep.json", "--chart", "sweep.svg"],
    "horizon": ["--from", "2027-01-01", "--periods", "2", "-o", "horizon.xlsx", "--json", "horizon.json", *LIMIT],
    "designs": ["-o", "designs.xlsx", "--json", "designs.json", "--plans", "2", *LIMIT],
}
ALL = ("twelve_sites", "county_chain", "national_1200")
CHOSEN = ALL if os.environ.get("CASTINGVOTE_SAMPLES") == "all" else ALL[:1]
READ_BACK = (".geojson", ".html", ".ics", ".json", ".md", ".svg", ".toml", ".xlsx")


def ended(arguments):
    """Run the command line here; return its exit code, what it printed, and what it complained of."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as end:
        main(arguments)
    return end.value.code, out.getvalue(), err.getvalue()


@pytest.mark.parametrize("sample", CHOSEN)
def test_every_output_of_a_sample_is_written_and_read_back(sample, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    fleet = SAMPLES / f"{sample}.xlsx"
    for command, options in ROUNDS.items():
        code, out, err = ended([command, str(fleet), *options])
        assert code in (0, 1), (command, err)
        if options[-2:] == ["--json", "-"]:
            json.loads(out)
        for name in options:
            if name.endswith(READ_BACK):
                assert Path(name).stat().st_size, (command, name)
    for path in Path().glob("*json"):
        json.loads(path.read_text())
    inventory = planner.read_fleet(fleet)
    for name in ("plan.xlsx", "plan.json"):
        found = planner.verify(inventory, planner.read_plan(name))
        assert not [one for one in found if one.severity == "violation"], name
    assert planner.read_fleet("repaired.xlsx").site_ids == inventory.site_ids


def test_cover_against_the_loss_of_a_host_is_searched_host_by_host():
    rng, sites = np.random.default_rng(3), 20
    at, hubs = rng.uniform(0, 1000, (sites, 2)), rng.uniform(0, 1000, (4, 2))
    rtt = 4 + 0.05 * np.hypot(at[:, None, 0] - hubs[None, :, 0], at[:, None, 1] - hubs[None, :, 1])
    fleet = fleet_of(
        rtt,
        sites={"clusters": rng.choice([1, 1, 2, 3, 5], sites), "latency_budget_ms": np.sort(rtt, axis=1)[:, 2]},
        pools={"cluster_cap": rng.choice([12, 20], 4), "max_hosts": [4] * 4},
        cover="host",
    )
    problem = build_problem(fleet, Checker(fleet))
    search = PrimalSearch(Ground(problem, read_losses(fleet, problem)), SolveBudget(1.0))
    found = search.first()
    fewest = min((better.state.hosts for better in search.better(found)), default=found.state.hosts)
    plan = planner.plan(fleet)
    assert plan.lower_bound <= plan.hosts <= fewest <= found.state.hosts
    assert not plan.uncovered
