"""The benchmarks still run: every engine finds the same value, and the command writes its files."""

import csv
import dataclasses

import pytest
from click.testing import CliRunner

from planner.fleet import Policy
from planner.rules import Checker
from planner.sizing.instance.problem import build_problem
from planner.verify import verify
from tests.benchmarks import generated
from tests.benchmarks.__main__ import main
from tests.benchmarks.engines import ENGINES
from tests.benchmarks.engines.answer import SKIPPED
from tests.benchmarks.sets import SETS
from tests.benchmarks.store import read_rows


@pytest.mark.parametrize("of_set", ["towns", "tight", "mixed", "nearby", "cover"])
def test_every_engine_finds_the_same_value(of_set):
    fleet = SETS[of_set].build("60x6")
    problem = build_problem(fleet, Checker(fleet))
    answers = {}
    for name in SETS[of_set].engines:
        answer = ENGINES[name].solve(fleet if ENGINES[name].takes == "fleet" else problem, 20.0)
        if not answer.note.startswith(SKIPPED):
            answers[name] = (answer.value, answer.bound, answer.proven, answer.note)
    hosts = answers["castingvote"][0]
    assert hosts >= 1
    assert answers == dict.fromkeys(answers, (hosts, hosts, True, ""))


@pytest.mark.parametrize("of_set", ["cover-host", "cover-hub", "cover-hub-towns"])
def test_sets_with_standbys_take_more_hosts_than_those_without(of_set):
    fleet = SETS[of_set].build("200x12")
    bare = fleet.replace(policy=dataclasses.replace(fleet.policy, cover="none"))
    (engine,) = SETS[of_set].engines
    answer, less = (ENGINES[engine].solve(one, 20.0) for one in (fleet, bare))
    assert answer.plan is not None
    assert answer.proven
    assert answer.value > less.value
    assert not [finding for finding in verify(fleet, answer.plan) if finding.severity == "violation"]
    # A hub may be the only one in reach; a host never is where its hub may run more.
    alone = len(answer.plan.uncovered)
    assert (alone > 0) == (of_set != "cover-host")
    assert answer.note == (f"{alone} sites without a standby" if alone else "")


def test_every_engine_finds_the_same_cost():
    fleet = generated.plain("16x4", budgets_ms=(40, 60), cap=7)
    pools, latency = (
        fleet.pools.assign(host_cost=[300.0, 250.5, 410.0, 275.25]),
        fleet.latency.assign(pair_cost=fleet.latency["rtt_ms"].round(2)),
    )
    fleet = fleet.replace(pools=pools, latency=latency, policy=Policy(objective="cost"))
    problem = build_problem(fleet, Checker(fleet))
    answers = {
        name: ENGINES[name].solve(fleet if ENGINES[name].takes == "fleet" else problem, 20.0)
        for name in SETS["holmberg"].engines
    }
    assert all(answer.proven for answer in answers.values())
    assert len({round(answer.value, 4) for answer in answers.values()}) == 1
    assert answers["castingvote"].value > 3 * 250.5  # 16 sites and a cap of 7 need three hosts


def test_the_command_writes_its_files(tmp_path):
    arguments = ["--sets", "tight", "--sizes", "60x6", "--engines", "castingvote", "--out", str(tmp_path)]
    result = CliRunner().invoke(main, [*arguments, "--seconds", "20"])
    assert result.exit_code == 0, result.output
    rows = list(csv.DictReader((tmp_path / "results.csv").read_text().splitlines()))
    assert [(row["engine"], row["sites"], row["proven"]) for row in rows] == [("castingvote", "60", "True")]
    again = CliRunner().invoke(main, ["--sets", "cover", *arguments[2:], "--seconds", "20"])
    assert again.exit_code == 0, again.output
    assert [(row.set, row.proven) for row in read_rows(tmp_path / "results.csv")] == [("tight", True), ("cover", True)]
    assert "| tight | 60 x 6 |" in (tmp_path / "results.md").read_text()
