"""A year in the life of a fleet: every month a new export, what came back, a plan, what changed, and the next waves.

Every step is a command. The inventory exports what it knows; who is where, which hosts run and which releases are
reached goes from month to month in what `progress --write-fleet` writes. CASTINGVOTE_SAMPLES=all walks the whole year.
"""

import datetime as dt
import json
import os
import random

import openpyxl
import pytest

from planner.cli import main
from planner.intake import read_fleet

MONTHS = 12 if os.environ.get("CASTINGVOTE_SAMPLES") == "all" else 4
HABITS = ("done", "erledigt", "terminé", "DONE", "x")


class Inventory:
    """What the inventory system knows: sites, round-trip times and hubs; it writes an export each month."""

    def __init__(self):
        self.rng = random.Random(11)
        self.sites, self.rtt, self.number = {}, {}, 0
        self.hubs = {"ESK": "8.2", "ROV": "8.2", "TAM": "8.2"}
        for _ in range(18):
            self.open()

    def open(self):
        self.number += 1
        name = f"{self.number:04d}"
        self.sites[name] = "8.2"
        for hub in self.hubs:
            self.rtt[name, hub] = round(self.rng.uniform(6, 24), 1)

    def change(self, month):
        """Open and close sites, measure some anew; the export itself raises a release in March."""
        self.open()
        if month % 3 == 1:
            self.open()
        if month % 4 == 0:
            self.sites.pop(sorted(self.sites)[self.rng.randrange(len(self.sites))])
        for name in self.rng.sample(sorted(self.sites), 2):
            self.rtt[name, self.rng.choice(sorted(self.hubs))] = round(self.rng.uniform(6, 28), 1)

    def export(self, path, month, before):
        """Write the export, with the sheets of ``before``, the fleet as it was known last, for what runs where."""
        book = openpyxl.Workbook()
        book.remove(book.active)
        releases = dict(self.sites)
        hubs = {hub: [hub, 3, 1 if hub != "TAM" else 0, "", "8.2", "", ""] for hub in self.hubs}
        current = [[name, "ESK", "ESK-01"] for name in sorted(self.sites)[:7]]
        if before is not None:
            releases |= {s: r for s, r in zip(before.site_ids, before.sites["release"], strict=True) if s in releases}
            for row in before.pools.to_dict("records"):
                lists = ["; ".join(row[name]) for name in ("host_names", "upgraded_hosts")]
                today = row["host_release_today"]
                hubs[row["hub"]] = [
                    row["hub"],
                    3,
                    row["existing_hosts"],
                    lists[0],
                    row["host_release"],
                    today,
                    lists[1],
                ]
            names = ["site", "hub", "host"]
            current = [row for row in before.current[names].to_numpy().tolist() if row[0] in self.sites]
        target = {}
        if month == 3:
            target = dict.fromkeys(sorted(self.sites)[:4], "8.4")
            for row in hubs.values():
                row[5], row[4] = row[4], "8.4"
        columns = ["hub", "max_hosts", "existing_hosts", "host_names", "host_release", "host_release_today"]
        tables = {
            "Sites": [["site", "release", "target_release"], *([s, releases[s], target.get(s)] for s in self.sites)],
            "Hubs": [[*columns, "upgraded_hosts"], *hubs.values()],
            "Latency": [["site", "hub", "rtt_ms"], *([s, h, ms] for (s, h), ms in self.rtt.items() if s in self.sites)],
            "Current": [["site", "hub", "host"], *current],
            "Policy": [["setting", "value"], ["latency_budget_ms", 25], ["cluster_cap", 9], ["sites_per_wave", 3],
                       ["timezone", "UTC"], ["window", "Sun 22:00-04:00"], ["fleet_id", "shops"]],
        }  # fmt: skip
        for title, rows in tables.items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(row)
        book.save(path)


def half_done(path, back, month):
    """Fill in the first half of the steps as a team does, each month in its own words."""
    book = openpyxl.load_workbook(path)
    sheet = book["Steps"]
    column = {cell.value: cell.column for cell in sheet[1]}
    waves = [sheet.cell(row, column["wave"]).value for row in range(2, sheet.max_row + 1)]
    last = (max(waves) + 1) // 2 if waves else 0
    done = []
    for row, wave in enumerate(waves, start=2):
        if wave <= last:
            sheet.cell(row, column["status"]).value = HABITS[month % len(HABITS)]
            sheet.cell(row, column["date"]).value = f"{month + 1}.2.2027" if month % 2 else dt.date(2027, 2, month + 1)
            done.append(sheet.cell(row, column["step"]).value)
    sheet.cell(1, sheet.max_column + 1).value = "fitter"
    book.save(back)
    return done


@pytest.fixture
def run(tmp_path, monkeypatch, capfd):
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        printed = capfd.readouterr()
        assert ended.value.code in (0, 1), (arguments, printed.err)
        return ended.value.code, printed.out

    return call


def test_a_year_in_the_life_of_a_fleet(run, tmp_path):
    inventory, before, work, kinds = Inventory(), None, [], set()
    last = {"number": 0, "hash": ""}
    for month in range(1, MONTHS + 1):
        inventory.change(month)
        inventory.export("export.xlsx", month, before)
        now = f"now-{month:02d}.xlsx"
        if month == 1:
            run("check", "export.xlsx", "--repaired", now)
        else:
            merged = ("-o", "merged.xlsx") if month == 4 else ()
            run("progress", "export.xlsx", "plan.xlsx", "back.xlsx", *merged, "--write-fleet", now)
        before = read_fleet(now)
        holds(before, work, inventory)
        drain = ("--drain", "ROV") if month in (4, 5) else ()
        quick = ("--measure-first", 0, "--json", f"plan-{month:02d}.json", "-o", "plan.xlsx", "--force", "-q")
        (tmp_path / "plan.xlsx").unlink(missing_ok=True)  # only the fleet can tell the number
        run("plan", now, *drain, *quick)
        assert run("verify", now, "plan.xlsx")[0] == 0, month
        last = counted_on(json.loads((tmp_path / f"plan-{month:02d}.json").read_text()), last)
        if month > 1:
            old, new = f"plan-{month - 1:02d}.json", f"plan-{month:02d}.json"
            fleets = ("--old-fleet", f"now-{month - 1:02d}.xlsx", "--new-fleet", now)
            code, told = run("compare", old, new, *fleets)
            assert code == 0, (month, told)
        run("rollout", now, "plan.xlsx", "-o", "rollout.xlsx", "--start", f"2027-{month:02d}-01", "--force",
            "--json", "rollout.json")  # fmt: skip
        steps = [
            step for wave in json.loads((tmp_path / "rollout.json").read_text())["waves"] for step in wave["steps"]
        ]
        done = set(half_done("rollout.xlsx", "back.xlsx", month))
        assert done
        work = [step for step in steps if step["id"] in done]
        kinds |= {step["kind"] for step in work}
    assert kinds >= {"attach", "move", "host_install", "host_release", "site_release"}


def counted_on(plan, last):
    """Hold the number of a plan against that of the month before."""
    same = plan["hash"] == last["hash"]
    assert plan["number"] == last["number"] + (not same)
    assert same or plan["follows"] == last["hash"]
    assert plan["fleet_id"] == "shops"
    return plan


def holds(fleet, work, inventory):
    """Hold the fleet as the export and the returned workbook make it against the steps that were done."""
    today = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    releases = dict(zip(fleet.site_ids, fleet.sites["release"], strict=True))
    names = {name for names in fleet.pools["host_names"] for name in names}
    for step in work:
        if step["kind"] in ("attach", "move") and step["site"] in inventory.sites:
            assert today.get(step["site"]) == step["to_host"]
        elif step["kind"] == "site_release" and step["site"] in inventory.sites:
            assert releases[step["site"]] == step["release"]
        elif step["kind"] in ("host_install", "host_retire"):
            assert (step["host"] in names) == (step["kind"] == "host_install")
