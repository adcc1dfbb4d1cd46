"""Certificates on the command line: written beside a plan, exported later, and checked with or without the plan."""

import json

import pytest

from planner.errors import InputError
from planner.fleet import Finding


@pytest.fixture
def certified(call, twelve_sites):
    done = call("plan", twelve_sites, "--json", "plan.json", "--certificate", "plan.vipr")
    assert done.code == 0
    assert "The certificate proves that no plan that serves the same sites needs fewer than 4 hosts." in done.out
    return twelve_sites


def test_a_certificate_is_checked_without_the_plan_and_with_it(call, certified):
    done = call("verify", certified, "--certificate", "plan.vipr")
    assert done.code == 0
    assert done.out.startswith(
        "The certificate holds. The plan in it needs 4 hosts. Proven: no plan that serves the same sites"
    )
    done = call("verify", certified, "plan.json", "--proof", "--certificate", "plan.vipr", "--json", "-")
    assert done.code == 0
    assert json.loads(done.out)["certificate"]["verdict"] == "holds"


def test_export_writes_the_same(call, tmp_path, certified):
    assert call("export", certified, "plan.json", "--certificate", "again.vipr").code == 0
    assert (tmp_path / "again.vipr").read_bytes() == (tmp_path / "plan.vipr").read_bytes()
    done = call("export", certified, "plan.json", "--certificate", "-")
    assert done.out == (tmp_path / "plan.vipr").read_text(encoding="ascii")


def test_a_changed_certificate_ends_with_1(call, tmp_path, certified):
    path = tmp_path / "plan.vipr"
    path.write_text(path.read_text(encoding="ascii").replace("RTP range 4 4", "RTP range 5 5"), encoding="ascii")
    done = call("verify", certified, "--certificate", "plan.vipr")
    assert done.code == 1
    assert done.out.startswith("The certificate does not hold: ")


@pytest.mark.parametrize("content", [None, b"\xff\xfe", b""])
def test_what_is_no_certificate_is_said_to_be_none(call, tmp_path, certified, content):
    if content is not None:
        (tmp_path / "other.vipr").write_bytes(content)
    done = call("verify", certified, "--certificate", "other.vipr")
    assert done.code == (1 if content == b"" else 2)
    assert "Traceback" not in done.out + done.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("verify",), "Name a PLAN to check"),
        (("verify", "--proof", "--certificate", "plan.vipr"), "Name a PLAN to check"),
        (("plan", "--json", "-", "--certificate", "-"), "Only one"),
        (("plan", "--certificate", "nowhere/plan.vipr"), "does not exist"),
    ],
)
def test_wrong_calls(call, certified, arguments, words):
    done = call(arguments[0], certified, *arguments[1:])
    assert done.code == 2
    assert words in done.err


def test_a_plan_is_not_lost_where_no_certificate_can_be_written(call, tmp_path, twelve_sites, monkeypatch):
    def refuse(*_arguments, **_named):
        raise InputError((Finding("error", "price_unknown", "Hubs", "host_cost is not known."),))

    monkeypatch.setattr("planner.cli.certify.certify_plan", refuse)
    done = call("plan", twelve_sites, "--json", "plan.json", "--certificate", "plan.vipr")
    assert done.code == 1
    assert "host_cost is not known." in done.err
    assert "plan.vipr" not in done.out
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]
