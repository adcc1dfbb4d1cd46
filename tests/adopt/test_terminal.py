"""A person at a terminal: questions with sample values, answers remembered, and the ways of a program."""

import os
import pty
import re
import subprocess
import sys

import openpyxl
import pytest
from click.testing import CliRunner

from planner.cli import cli
from planner.intake import inspect_fleet
from tests.adopt.trades import bank_agencies, masts, pharmacies, write
from tests.adopt.truth import questions

PROMPT = "Your choice"


def at_terminal(arguments, answers, cwd):
    """Run the command at a terminal, type ``answers`` one by one at its prompts, and return what it printed."""
    leader, follower = pty.openpty()
    command = [sys.executable, "-m", "planner", *arguments]
    process = subprocess.Popen(command, stdin=follower, stdout=follower, stderr=follower, cwd=cwd, close_fds=True)
    os.close(follower)
    shown, left = "", list(answers)
    while True:
        try:
            more = os.read(leader, 65536).decode(errors="replace")
        except OSError:
            break
        shown += more
        if left and shown.count(PROMPT) > len(answers) - len(left):
            os.write(leader, f"{left.pop(0)}\n".encode())
    os.close(leader)
    return re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", shown), process.wait()


@pytest.fixture
def banks(tmp_path):
    return write(bank_agencies(number=30), tmp_path)


def test_a_person_answers_and_the_answers_count(banks, tmp_path, monkeypatch):
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, (os.getcwd(), os.environ.get("PYTHONPATH")))))
    shown, code = at_terminal(["adopt", str(banks), "-o", "m.toml"], ["Fermée", ""], tmp_path)
    assert code == 0, shown
    assert shown.count(PROMPT) == len(questions(banks)) == 2
    assert "En service" in shown
    fleet = inspect_fleet(banks, tmp_path / "m.toml").fleet
    world = bank_agencies(number=30).world
    assert set(fleet.site_ids) == {site.id for site in world.sites if site.status != "closed"}


def test_nobody_to_ask_and_nothing_accepted_writes_nothing(banks, tmp_path):
    result = CliRunner().invoke(cli, ["adopt", str(banks), "-o", str(tmp_path / "m.toml")])
    assert result.exit_code == 2
    assert "--accept" in result.output
    assert not (tmp_path / "m.toml").exists()


def test_an_answer_may_be_given_in_advance(banks, tmp_path):
    mapping = tmp_path / "m.toml"
    arguments = ["adopt", str(banks), "-o", str(mapping), "--accept", "--answer", "Sites.status=Projet"]
    assert CliRunner().invoke(cli, arguments, catch_exceptions=False).exit_code == 0
    fleet = inspect_fleet(banks, mapping).fleet
    closed = {site.id for site in bank_agencies(number=30).world.sites if site.status == "closed"}
    assert closed <= set(fleet.site_ids)


def test_next_month_s_export_needs_no_question(banks, tmp_path):
    runner = CliRunner()
    assert runner.invoke(cli, ["adopt", str(banks), "-o", str(tmp_path / "m.toml"), "--accept"]).exit_code == 0
    later = write(bank_agencies(number=45), tmp_path / "later") if (tmp_path / "later").mkdir() is None else None
    result = runner.invoke(cli, ["adopt", str(later), "-o", str(tmp_path / "n.toml")], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    assert "headers are known" in result.output
    again = runner.invoke(cli, ["adopt", str(later), "-o", str(tmp_path / "n.toml")], catch_exceptions=False)
    assert "nothing to ask" in again.output


def test_a_mapping_of_other_headers_is_not_replaced(banks, tmp_path):
    other = write(masts(number=30), tmp_path)
    mapping = tmp_path / "m.toml"
    assert CliRunner().invoke(cli, ["adopt", str(banks), "-o", str(mapping), "--accept"]).exit_code == 0
    kept = mapping.read_text(encoding="utf-8")
    result = CliRunner().invoke(cli, ["adopt", str(other), "-o", str(mapping), "--accept"])
    assert result.exit_code == 2
    assert mapping.read_text(encoding="utf-8") == kept


def test_plan_of_a_file_of_unknown_names_says_how_to_go_on(tmp_path):
    book = write(pharmacies(number=40), tmp_path)
    result = CliRunner().invoke(cli, ["plan", str(book), "-o", str(tmp_path / "p.xlsx")])
    assert result.exit_code == 2 or "castingvote adopt" in str(result.exception)


def test_times_with_their_unit_in_the_cell_are_no_column_of_units(tmp_path):
    """The one column of times was taken for that of their units too, and the mapping could not be read."""
    book = openpyxl.Workbook()
    sheets = {
        "Shops": [["Shop", "Clusters"], *([f"S{n:02d}", 1] for n in range(12))],
        "Data centres": [["Centre", "Most hosts"], ["NORTH", 2], ["SOUTH", 2]],
        "Ping": [
            ["Shop", "Centre", "RTT avg"],
            *([f"S{n:02d}", hub, f"{5 + n}.{n} ms"] for n in range(12) for hub in ("NORTH", "SOUTH")),
        ],
        "Policy": [["setting", "value"], ["latency_budget_ms", 30]],
    }
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    book.remove(book.worksheets[0])
    book.save(tmp_path / "shops.xlsx")
    mapping = tmp_path / "m.toml"
    result = CliRunner().invoke(cli, ["adopt", str(tmp_path / "shops.xlsx"), "-o", str(mapping), "--accept"])
    assert "unit_column" not in mapping.read_text(encoding="utf-8"), result.output
    fleet = inspect_fleet(tmp_path / "shops.xlsx", mapping).fleet
    assert fleet.latency["rtt_ms"].max() == pytest.approx(16.11)
