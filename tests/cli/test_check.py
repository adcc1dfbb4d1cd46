"""`castingvote check`: all findings of a fleet, as text and as JSON."""

import json

import click
import openpyxl
import pytest

from planner.cli import cli
from planner.intake import read_fleet


def test_a_sound_fleet(call, twelve_sites):
    done = call("check", twelve_sites)
    assert done.code == 0
    assert "twelve_sites.xlsx: 12 sites, 3 hubs, 1 info.\n" in done.out
    assert done.err == ""


def test_errors_in_the_data_are_an_objection_not_a_wrong_call(call, fleets):
    done = call("check", fleets.wrong())
    assert done.code == 1
    assert done.out.count("error     ") == 2
    assert done.out.endswith("2 errors.\n")


def test_warnings_are_no_objection(call, fleets):
    fleets.write(Current=[["site", "hub"], ["0007", "ESK"]])
    done = call("check", fleets.folder)
    assert done.code == 0
    assert "warning   Current.csv Current!A2" in done.out


def test_json_has_every_finding_with_its_place(call, fleets):
    done = call("check", "--json", "-", fleets.wrong())
    assert done.code == 1
    told = json.loads(done.out)
    findings = told["findings"]
    assert told["readiness"] is None
    assert {f["where"] for f in findings} == {"Policy!B2", "Policy!B3"}
    assert all(set(f) == {"severity", "code", "where", "message", "hint", "file"} for f in findings)


def test_json_of_a_fleet_without_findings_has_an_empty_list_and_the_audit(call, fleets):
    done = call("check", "--json", "-", fleets.sound())
    assert (done.code, done.err) == (0, "")
    told = json.loads(done.out)
    assert told["findings"] == []
    assert told["readiness"]["counts"] == {"ready": 0, "ready_after": 2, "not_a_fit": 0, "no_host_needed": 0}
    assert {"code", "severity", "site", "detail", "remedy", "columns"} == set(told["readiness"]["sites"][0]["items"][0])


def test_a_file_that_cannot_be_read_ends_in_2_with_no_json(call):
    done = call("check", "--json", "-", "nowhere.xlsx")
    assert (done.code, done.out) == (2, "")
    assert "nowhere.xlsx" in done.err


def test_quiet_speaks_of_errors_only(call, fleets):
    fleets.write(Current=[["site", "hub"], ["0007", "ESK"]])
    assert call("check", "-q", fleets.folder).out == ""
    assert "Policy!B2" in call("check", "-q", fleets.wrong()).out


ODD = {
    "Sites": [["Store ID", "Budget one way [s]"], ["0001", "0,01"], ["0002", "0,01"]],
    "Hubs": [["hub", "host_release"], ["ESK", "8.2"]],
}


def test_repairs_are_written_and_read_again_without_one(call, fleets, tmp_path):
    fleets.write(**ODD)
    done = call("check", fleets.folder, "--repaired", "clean.xlsx", "--write-mapping", "fleet.toml")
    assert done.code == 0
    assert (
        'warning   Sites.csv Sites!B1: The header "Budget one way [s]" says one way: the times were doubled.'
        in done.out
    )
    assert '"Store ID" = site' in done.out
    assert done.out.endswith("Written: fleet.toml\nWritten: clean.xlsx\n")
    again = call("check", "clean.xlsx")
    assert again.code == 0
    assert "doubled" not in again.out
    assert read_fleet(tmp_path / "clean.xlsx").budgets_ms.tolist() == [20, 20]
    assert call("check", fleets.folder, "--mapping", "fleet.toml").code == 0


def test_nothing_is_repaired_while_there_are_errors(call, fleets, tmp_path):
    done = call("check", fleets.wrong(), "--repaired", "clean.xlsx", "--write-mapping", "fleet.toml")
    assert done.code == 1
    assert "Not written: clean.xlsx. Correct the errors first." in done.err
    assert not (tmp_path / "clean.xlsx").exists()
    assert (tmp_path / "fleet.toml").exists()


def test_outputs_may_not_be_the_input_nor_of_another_kind(call, fleets):
    fleets.sound()
    assert call("check", fleets.folder, "--repaired", "clean.csv").code == 2
    assert call("check", fleets.folder, "--repaired", "nowhere/clean.xlsx").code == 2


COMMANDS = {name: cli.get_command(click.Context(cli), name) for name in cli.list_commands(click.Context(cli))}


@pytest.mark.parametrize("name", [n for n, c in COMMANDS.items() if any(p.name == "fleet" for p in c.params)])
def test_every_command_that_reads_a_fleet_heeds_a_mapping(call, fleets, name):
    fleets.sound()
    more = ["plan.json"] if any(p.name == "plan" for p in COMMANDS[name].params) else []
    needs = {
        "sweep": ["--vary", "cluster_cap=8"],
        "report": ["-o", str(fleets.folder.parent / "plan.html")],
        "export": ["--markdown", "-"],
        "progress": ["plan.xlsx"],
    }
    done = call(name, fleets.folder, *more, *needs.get(name, []), "--mapping", "nowhere.toml")
    assert done.code == 2
    assert "nowhere.toml: The mapping file cannot be read" in done.err


READY = {
    "Sites": [
        [
            "site",
            "nodes",
            "node_link",
            "node_link_gbps",
            "uplink_mbps",
            "tie_breaker_net",
            "storage_net",
            "management_net",
        ],
        ["0001", 2, "direct", 25, 50, 30, 10, 20],
        ["0002", 2, "direct", 1, 50, 30, 10, 30],
    ],
    "Hubs": [["hub", "max_hosts", "zone"], ["ESK", 2, "power-esk"]],
    "Policy": [["setting", "value"], ["latency_budget_ms", 20], ["tie_breaker_kbps", 64]],
}


def ready_fleet(fleets):
    sites = [[*row, zone] for row, zone in zip(READY["Sites"], ["zone", "power-1", "power-2"], strict=True)]
    fitted = {"node_links": 2, "service_link_gbps": 1, "storage_tiers": 2, "storage_groups": 1, "cache_devices": 1}
    sites = [[*sites[0], *fitted], *([*row, *fitted.values()] for row in sites[1:])]
    return fleets.write(**{**READY, "Sites": sites})


def test_readiness_is_told_in_short(call, fleets):
    done = call("check", ready_fleet(fleets))
    assert done.code == 0
    told = " ".join(done.out.split())
    assert "1 site is ready for a shared host. 1 site is not confirmed: 1 needs work." in told
    assert "1 node_link open Fit a node link of 10 Gb/s or more" in told
    assert "1 own_network open Give tie-breaker traffic a network of its own." in told
    assert "Readiness does not change the plan." in told


def test_sites_that_are_not_ready_are_no_objection(call, fleets):
    assert call("check", "-q", ready_fleet(fleets)).out == ""
    assert call("plan", fleets.folder).code == 0


def test_plan_tells_readiness_in_a_line_and_writes_it(call, fleets, tmp_path):
    done = call("plan", ready_fleet(fleets), "-o", "plan.xlsx", "--json", "plan.json")
    assert "Readiness: 1 site is ready for a shared host. 1 site is not confirmed: 1 needs work." in done.out
    told = json.loads((tmp_path / "plan.json").read_text())["readiness"]
    assert [site["outcome"] for site in told["sites"]] == ["ready", "ready_after"]
    assert "Readiness" in openpyxl.load_workbook(tmp_path / "plan.xlsx").sheetnames
    assert call("verify", fleets.folder, "plan.xlsx").code == 0


def test_the_workbook_of_readiness(call, fleets, tmp_path):
    done = call("check", ready_fleet(fleets), "--readiness", "ready.xlsx")
    assert done.code == 0
    assert done.out.endswith("Written: ready.xlsx\n")
    assert openpyxl.load_workbook(tmp_path / "ready.xlsx")["Readiness"]["E2"].value == "ready"


def test_the_workbook_is_written_when_quiet_or_json_too(call, fleets, tmp_path):
    for name, options in (("quiet", ["-q"]), ("json", ["--json", "-"])):
        assert call("check", ready_fleet(fleets), *options, "--readiness", f"{name}.xlsx").code == 0
        assert (tmp_path / f"{name}.xlsx").exists()


def test_no_workbook_from_a_fleet_with_errors(call, fleets, tmp_path):
    done = call("check", fleets.wrong(), "--readiness", "ready.xlsx")
    assert done.code == 1
    assert "Not written: ready.xlsx" in done.err
    assert not (tmp_path / "ready.xlsx").exists()


def test_wrong_names_of_the_workbook_are_refused_before_any_work(call, fleets):
    assert call("check", fleets.sound(), "--readiness", "ready.csv").code == 2
    assert call("check", fleets.sound(), "--readiness", "nowhere/ready.xlsx").code == 2


def test_what_no_site_states_is_told_once_and_not_for_each_site(call, fleets):
    policy = [["setting", "value"], ["latency_budget_ms", 20], ["management_floor", "8.4"]]
    done = call("check", fleets.write(Policy=policy))
    (line,) = [
        line for line in done.out.splitlines() if line.startswith("No site has data for some checks. Add the columns")
    ]
    assert "node_link, node_link_gbps, node_links" in line
    assert "Fill in column node_link_gbps" not in done.out


def test_names_of_the_fleet_do_not_steer_the_terminal(call, fleets):
    fleets.write(
        Sites=[["site", "release", "node_link_gbps"], ["0001", "8.2", 1]],
        Hubs=[["hub"], ["E\x1b[31mK"]],
        Latency=[["site", "hub", "rtt_ms"], ["0001", "E\x1b[31mK", 5]],
        Policy=[["setting", "value"], ["latency_budget_ms", 20], ["management_floor", "8.4"]],
    )
    assert "\x1b" not in call("check", fleets.folder).out
