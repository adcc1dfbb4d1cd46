"""The benchmarks still run: every engine finds the same value, and the command writes its files."""

import csv

import pytest
from click.testing import CliRunner

from planner.rules import Checker
from planner.sizing.problem import build_problem
from tests.benchmarks.__main__ import main
from tests.benchmarks.engines import ENGINES
from tests.benchmarks.engines.answer import SKIPPED
from tests.benchmarks.sets import SETS


@pytest.mark.parametrize("of_set", ["towns", "tight", "mixed", "cover"])
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


def test_the_command_writes_its_files(tmp_path):
    arguments = ["--sets", "tight", "--sizes", "60x6", "--engines", "castingvote", "--out", str(tmp_path)]
    result = CliRunner().invoke(main, [*arguments, "--seconds", "20"])
    assert result.exit_code == 0, result.output
    rows = list(csv.DictReader((tmp_path / "results.csv").read_text().splitlines()))
    assert [(row["engine"], row["sites"], row["proven"]) for row in rows] == [("castingvote", "60", "True")]
    assert "| tight | 60 x 6 |" in (tmp_path / "results.md").read_text()
