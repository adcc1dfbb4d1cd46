"""--pings on every command that reads a fleet, and what plan and explain say of pairs to measure first."""

import csv
import json

import pytest

REPLY = "64 bytes from 192.0.2.1: icmp_seq={0} ttl=57 time={1} ms\n"
RUN = (
    "2026-11-20\n"
    + REPLY.format(1, 12.5)
    + REPLY.format(2, 13.5)
    + "\n2 packets transmitted, 2 received, 0% packet loss\n"
)


@pytest.fixture
def fleet(tmp_path):
    """Two sites and one hub; the round-trip time of the first is in a folder of ping output."""
    folder = tmp_path / "fleet"
    folder.mkdir()
    sheets = {
        "Sites": [["site", "latency_budget_ms", "release"], ["0001", 40, "8.2"], ["0002", 40, "8.2"]],
        "Hubs": [["hub", "host_release"], ["ESK", "8.4"]],
        "Links": [["from", "to", "latency_ms"], ["0001", "0009", 1]],
    }
    for name, rows in sheets.items():
        with (folder / f"{name}.csv").open("w", newline="") as file:
            csv.writer(file).writerows(rows)
    probes = tmp_path / "probes"
    probes.mkdir()
    (probes / "0001__ESK.txt").write_text(RUN)
    return folder


def test_plan_verify_check_and_explain_read_the_folder(call, fleet, tmp_path):
    assert call("plan", fleet, "--pings", "probes", "--json", "plan.json", "-q").code == 1
    data = json.loads((tmp_path / "plan.json").read_text())
    (row,) = data["assignments"]
    assert (row["site"], row["rtt_ms"], row["evidence"], row["measured_at"]) == (
        "0001",
        13.5,
        "measured",
        "2026-11-20T00:00:00",
    )
    (pair,) = data["measure_first"]
    assert (pair["site"], pair["hub"], pair["evidence"], pair["outcome"]) == ("0002", "ESK", "unknown", "within")
    assert call("verify", fleet, "plan.json", "--pings", "probes").code == 0
    assert call("verify", fleet, "plan.json").code == 1
    assert call("check", fleet, "--pings", "probes").code == 0
    explained = call("explain", fleet, "--pings", "probes")
    assert "Measure these first" in explained.out
    assert "If it is within its budget, 0002 would be served." in explained.out
    assert "measured 2026-11-20" in call("explain", fleet, "--pings", "probes", "--site", "0001").out


def test_the_search_for_pairs_can_be_switched_off(call, fleet, tmp_path):
    assert call("plan", fleet, "--pings", "probes", "--json", "plan.json", "-q", "--measure-first", "0").code == 1
    assert json.loads((tmp_path / "plan.json").read_text())["measure_first"] == []


def test_a_folder_that_is_not_there_ends_in_two_and_writes_nothing(call, fleet, tmp_path):
    result = call("plan", fleet, "--pings", "nowhere", "--json", "plan.json")
    assert result.code == 2
    assert "nowhere" in result.err
    assert not (tmp_path / "plan.json").exists()
