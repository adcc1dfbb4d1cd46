"""Terminals, pipes, files and closed streams."""

import io
import json
import os
import re
import sys

import pytest

from planner.cli.streams import prepare_streams


@pytest.fixture
def left_by_reader():
    """A pipe that nobody reads any more, as after `| head -1`."""
    reader, writer = os.pipe()
    os.close(reader)
    yield writer
    os.close(writer)


def test_a_reader_that_has_gone_hides_no_objection(run, fleets, left_by_reader):
    done = run("check", fleets.wrong(), stdout=left_by_reader)
    assert done.returncode == 1
    assert done.stderr == ""


def test_a_reader_that_has_gone_does_not_stop_the_plan(run, tmp_path, fleets, left_by_reader):
    done = run("plan", fleets.sound(), "-o", "plan.xlsx", "--json", "-", stdout=left_by_reader)
    assert done.returncode == 0
    assert "Written: plan.xlsx" in done.stderr
    assert "rror" not in done.stderr
    assert (tmp_path / "plan.xlsx").exists()


def test_closed_standard_output_does_not_stop_the_plan(run, tmp_path, fleets):
    done = run("plan", fleets.sound(), "--json", "plan.json", preexec_fn=lambda: os.close(1), stdout=None)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads((tmp_path / "plan.json").read_text())["hosts"] == 1


def test_an_encoding_without_the_characters_of_the_fleet_is_no_fault(call, fleets, monkeypatch):
    fleets.write(Latency=[["site", "ESK"], ["0001", 12]], Sites=[["site"], ["0001"], ["Łódź"]])
    ascii_only = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr(sys, "stdout", ascii_only)
    assert call("plan", fleets.folder).code == 1
    ascii_only.flush()
    assert b"(\\u0141\\xf3d\\u017a)" in ascii_only.buffer.getvalue()


def test_streams_that_python_found_closed_are_replaced(monkeypatch):
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    prepare_streams()
    print("nobody hears this")
    print("nor this", file=sys.stderr)
    sys.stdout.close()
    sys.stderr.close()


@pytest.mark.parametrize("command", ["check", "plan"])
def test_text_of_the_fleet_cannot_steer_the_terminal(call, fleets, command):
    fleets.write(
        Sites=[["site"], ["0001"], ["a\x1b[31mb"], ["a\x1b[31mb"]] if command == "check" else [["site"], ["a\x1b[31mb"]]
    )
    done = call(command, fleets.folder)
    assert done.code == 1
    assert "a[31mb" in done.out
    assert "\x1b" not in done.out + done.err


def test_outside_a_terminal_lines_are_not_wrapped_and_nothing_moves(call, twelve_sites, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("FORCE_COLOR", "1")
    done = call("plan", twelve_sites)
    assert re.search("^.*4 tie-breaker hosts at 3 hubs serve 11 of 11 sites. Proven: fewer hosts cannot", done.out)
    assert "Reading" not in done.out + done.err
    assert "Solving" not in done.out + done.err


def test_findings_outside_a_terminal_have_a_line_each(call, fleets):
    done = call("check", fleets.wrong())
    lines = done.out.splitlines()
    assert [line.split()[0] for line in lines] == ["error", "error", f"{fleets.folder}:"]


def test_a_narrow_terminal_without_colour(terminal, bare, twelve_sites):
    at = terminal("plan", twelve_sites, all_output=True, COLUMNS="40", NO_COLOR="1")
    assert at.end() == 0
    assert "Reading the fleet" in at.seen
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", at.seen)
    shown = bare(at.seen).replace("\r\n", "\n").split("\r")[-1]
    lines = shown.splitlines()
    assert max(map(len, lines)) <= 40
    assert any(line.split() == ["ALDER", "2", "1", "5", "8", "3", "of", "4"] for line in lines)


def test_colour_at_a_terminal_only_repeats_words(terminal, bare, fleets):
    at = terminal("check", fleets.wrong(), all_output=True)
    assert at.end() == 1
    assert "\x1b[1;31merror" in at.seen
    assert "error     Policy.csv Policy!B2" in bare(at.seen)


def test_quiet_shows_no_progress_at_a_terminal(terminal, fleets):
    at = terminal("plan", "-q", fleets.sound(), all_output=True)
    assert at.end() == 0
    assert at.seen == ""
