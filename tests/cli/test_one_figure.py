"""One figure has one definition: all figures of one name, gathered from every output of the sample fleets, agree."""

import csv
import json
import os
import re
from collections import defaultdict
from pathlib import Path

import openpyxl
import pytest

import planner
from planner.plan import moved_sites, running_on

SAMPLES = Path(__file__).parents[2] / "sample_fleets"


class Gathered:
    """Figures by name, and by the output that tells them."""

    def __init__(self):
        self.found = defaultdict(dict)

    def add(self, name, output, value):
        self.found[name][output] = None if value is None else int(value)

    def first(self, name, output, pattern, text):
        """Add the number that a pattern finds in a text; 0 where it finds none."""
        match = re.search(pattern, text)
        self.add(name, output, match[1].replace(",", "") if match else 0)

    def differing(self):
        return {name: told for name, told in self.found.items() if len(set(told.values())) > 1}


def rows_of(path, sheet):
    """The rows of a sheet of a workbook, as dicts by its header."""
    header, *rows = openpyxl.load_workbook(path)[sheet].iter_rows(values_only=True)
    return [dict(zip(header, row, strict=True)) for row in rows if any(cell is not None for cell in row)]


def csv_rows(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def summary_of(path):
    """The sheet Summary: what stands beside each label."""
    return {row[0]: row[1] for row in openpyxl.load_workbook(path)["Summary"].iter_rows(values_only=True) if row[0]}


def gather_plan(told, made, text, book, tables, ticket, page):
    """Add what the outputs of one plan say of it."""
    number = len(made["host_list"])
    told.add("hosts", "plan.json", made["hosts"])
    told.add("hosts", "plan.json, listed", number)
    told.add("hosts", "workbook", summary_of(book)["Hosts"])
    told.add("hosts", "csv", len(csv_rows(tables / "hosts.csv")))
    sites = {row["site"] for row in made["assignments"]}
    told.add("served", "plan.json", len(sites))
    told.add("served", "workbook", summary_of(book)["Sites served"])
    told.add("served", "workbook, listed", len({row["site"] for row in rows_of(book, "Assignments")}))
    told.add("served", "csv", len({row["site"] for row in csv_rows(tables / "assignments.csv")}))
    told.add("unserved", "plan.json", len(made["unserved"]))
    told.add("unserved", "workbook", summary_of(book)["Sites unserved"])
    told.add("unserved", "csv", len({row["site"] for row in csv_rows(tables / "unserved.csv")}))
    told.first("unserved", "ticket", r"\*\*([\d,]+) sites? without a tie-breaker", ticket)
    for output, words in (("terminal", text), ("ticket", ticket), ("report", page)):
        told.first("hosts", output, r"([\d,]+) tie-breaker hosts? ", words)
        told.first("served", output, r" serves? ([\d,]+) of ", words)
        told.first("needing", output, r" serves? [\d,]+ of ([\d,]+) site", words)
        told.first("unserved", f"{output}, first sentence", r"; ([\d,]+) sites? (?:is|are) not served", words)
        told.first("spared", output, r"([\d,]+) more sites? needs? no shared host", words)
    told.add("needing", "plan.json", len(sites | {row["site"] for row in made["unserved"]}))
    told.add("spared", "plan.json", len(made["no_host_needed"]))
    told.add("spared", "workbook", summary_of(book)["No host needed"])
    told.add("new hosts", "plan.json", sum(not host["existing"] for host in made["host_list"]))
    told.add("new hosts", "ticket", sum(int(n) for n in re.findall(r"^\| \S+ \| \d+ \| (\d+) ", ticket, re.MULTILINE)))
    told.add(
        "new hosts", "csv", sum(row["existing"] in ("no", "False", "false") for row in csv_rows(tables / "hosts.csv"))
    )


def gather_moves(told, name, made, moves, text, book):
    told.add(name, "moved_sites", moves)
    told.add(name, "plan.json, aims", next(aim["value"] for aim in made["aims"] if aim["aim"] == "moves"))
    told.first(name, "terminal", r" moves (?:the fewest sites: )?([\d,]+)", text)
    told.add(name, "workbook", summary_of(book)["Moves"])


def gather_rollout(told, name, fleet, made, text, folder):
    """Add moves, and the hosts that run when all steps are done: those of today and installed, less those retired."""
    kinds = defaultdict(set)
    for wave in json.loads((folder / "rollout.json").read_text())["waves"]:
        for step in wave["steps"]:
            kinds[step["kind"]].add(step["site"] or step["host"])
    told.add(name, "rollout.json", len(kinds["move"]))
    told.first(name, "rollout, terminal", r"([\d,]+) moves?\b", text)
    overview = openpyxl.load_workbook(folder / "rollout.xlsx").worksheets[0]
    said = " ".join(str(cell) for row in overview.values for cell in row)
    told.first(name, "rollout workbook", r"([\d,]+) moves?\b", said)
    today = (set(fleet.current["host"]) - {""}) | {h["host"] for h in made["host_list"] if h["existing"]}
    told.add(f"hosts in the end, {name}", "rollout.json", len((today | kinds["host_install"]) - kinds["host_retire"]))


def gather_ahead(told, folder):
    """Add what sweep, horizon and designs say of the fleet as it is."""
    figures = json.loads((folder / "sweep.json").read_text())["points"][0]["figures"]
    for name in ("hosts", "served", "moves"):
        told.add(name, "sweep", figures[name])
    told.add("unserved", "sweep", len(figures["unserved"]))
    told.add("new hosts", "sweep", figures["new_hosts"])
    (step,) = json.loads((folder / "horizon.json").read_text())["steps"]
    told.add("hosts", "horizon, own minimum", step["least"])
    told.add("unserved", "horizon", len(step["unserved"]))
    shared = json.loads((folder / "designs.json").read_text())["designs"][1]
    told.add("unserved", "designs", shared["unserved"])
    told.add("needing", "designs", shared["sites"] + shared["unserved"])


LONG = pytest.mark.skipif(os.environ.get("CASTINGVOTE_SAMPLES") != "all", reason="CASTINGVOTE_SAMPLES=all runs it")


@pytest.mark.parametrize("sample", ["twelve_sites", pytest.param("county_chain", marks=LONG)])
def test_all_figures_of_one_name_agree(call, tmp_path, sample):
    """29, 30, 36, 78 and 0 moves; 164 of 170 and 165 of 171 sites; 12, 13 and 15 hosts; 0 new hosts and 1."""
    path, told = SAMPLES / f"{sample}.xlsx", Gathered()
    fleet = planner.read_fleet(path)

    def done(*arguments):
        found = call(*arguments)
        assert found.code in (0, 1), found.err
        return found.out

    def plan_of(name):
        plan = planner.read_plan(tmp_path / name)
        return json.loads((tmp_path / name).read_text()), plan, len(moved_sites(fleet, plan))

    text = done(
        "plan",
        path,
        "-o",
        "plan.xlsx",
        "--json",
        "plan.json",
        "--report",
        "plan.html",
        "--measure-first",
        0,
        "--trade-off",
    )
    done("export", path, "plan.json", "--csv", "tables", "--markdown", "ticket.md")
    (made, plan, moves), book, tables = plan_of("plan.json"), tmp_path / "plan.xlsx", tmp_path / "tables"
    ticket, page = ((tmp_path / name).read_text(encoding="utf-8") for name in ("ticket.md", "plan.html"))
    gather_plan(told, made, text, book, tables, ticket, page)
    gather_moves(told, "moves", made, moves, text, book)
    told.first("moves", "trade-off", rf"(?m)^ *{made['hosts']} +(\d+) +\d+ +", text)
    parts = ("assignments", "unserved", "no_host_needed")
    told.add("all sites", "plan.json", len({row["site"] for part in parts for row in made[part]}))
    told.add("all sites", "fleet", len(fleet.site_ids))
    told.first("moves", "ticket", r"- ([\d,]+) moves?:", ticket)
    told.first("moves", "report", r"Moves</dt>\s*<dd>([\d,]+)", page)
    told.add("moves", "csv", sum(row["action"] == "move" for row in csv_rows(tables / "assignments.csv")))
    told.add("moves", "workbook, listed", sum(row["action"] == "move" for row in rows_of(book, "Assignments")))

    rolled = done("rollout", path, "plan.json", "-o", "rollout.xlsx", "--json", "rollout.json")
    gather_rollout(told, "moves", fleet, made, rolled, tmp_path)
    told.add("hosts in the end, moves", "plan", plan.hosts + len(running_on(fleet, plan)))
    for output, words in (("terminal", text), ("ticket", ticket), ("rollout", rolled), ("report", page)):
        if running_on(fleet, plan):
            told.first("hosts in the end, moves", output, r"([\d,]+) hosts in all", words)

    cap = fleet.policy.cluster_cap
    done("sweep", path, "--vary", f"cluster_cap={cap},{cap + 1}", "--aims", "--jobs", 1, "--json", "sweep.json")
    done("horizon", path, "--from", "2027-01-01", "--periods", 1, "--json", "horizon.json")
    done("designs", path, "--plans", 2, "--json", "designs.json")
    gather_ahead(told, tmp_path)
    told.first("hosts", "drill", r"of the ([\d,]+) hosts", done("drill", path, "plan.json"))
    explained = json.loads(done("explain", path, "--json", "-", "--time-limit", 20))
    told.add("hosts", "explain", explained["figures"]["hosts"])
    told.add("unserved", "explain", len(explained["unserved"]))
    assert told.differing() == {}
    assert [[row["site"], row["remedy"]] for row in explained["unserved"]] == [
        [row["site"], row["remedy"]] for row in made["unserved"]
    ]
