"""Current names hubs and no hosts: plan, rollout and progress count the same moves, before and after a part is done."""

import datetime as dt
import random

import openpyxl
import pandas as pd
import pytest

from planner.intake import fleet_from_tables, read_fleet
from planner.outputs import read_plan, write_rollout_workbook, write_workbook
from planner.outputs.read_returned import read_copies
from planner.outputs.repaired import write_now, write_repaired
from planner.rollout import roll_out
from planner.sizing import plan as make_plan
from planner.tracking import fleet_now, merged, resolved, track
from planner.verify import verify, verify_rollout
from tests.how_many import seeds


def estate(seed):
    rng = random.Random(seed)
    sites, hubs = [f"{n:03d}" for n in range(40)], ["FRA", "DUS", "HAM"]
    return fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": sites, "clusters": [rng.choice([1, 1, 2]) for _ in sites]}),
            "Hubs": pd.DataFrame({"hub": hubs, "max_hosts": [3, 3, 0 if seed % 2 else 3]}),
            "Latency": pd.DataFrame(
                [(s, h, round(rng.uniform(4, 26), 2)) for s in sites for h in hubs], columns=["site", "hub", "rtt_ms"]
            ),
            "Current": pd.DataFrame({"site": sites[:36], "hub": [rng.choice(hubs) for _ in range(36)]}),
        },
        {"latency_budget_ms": 25, "cluster_cap": 20, "reserve_percent": 10 * (seed % 3), "pilot_sites": 0},
    )


def moves(rollout):
    """The sites that a rollout moves, its conflicts among them."""
    return {step.site for step in rollout.steps if step.kind in ("move", "detour")}


@pytest.mark.parametrize("seed", seeds(4, 4))
def test_what_is_left_is_what_the_next_rollout_moves(tmp_path, seed):
    write_repaired(estate(seed), tmp_path / "fleet.xlsx")
    fleet = read_fleet(tmp_path / "fleet.xlsx")
    assert fleet == estate(seed)
    assert "existing_assumed" in {finding.code for finding in fleet.findings}
    assert of_nobody(tmp_path / "fleet.xlsx") == dict.fromkeys(fleet.pool_ids, (None, "blank"))
    plan = make_plan(fleet)
    assert [v for v in verify(fleet, plan) if v.severity == "violation"] == []
    to_move = {row.site for row in plan.assignments if row.action == "move"}
    first = roll_out(fleet, plan, start=dt.date(2027, 3, 1), time_limit=0)
    assert not [c for c in first.conflicts if c.code != "unserved"]
    assert moves(first) == to_move
    assert verify_rollout(fleet, plan, first) == ()
    write_workbook(fleet, plan, tmp_path / "plan.xlsx")
    done = fill(tmp_path / "plan.xlsx", first)
    plan = read_plan(tmp_path / "plan.xlsx")
    copies = resolved(read_copies([tmp_path / "plan.xlsx"]), fleet, plan)
    assert [note for copy in copies for note in copy.notes if "neither in the plan" in note] == []
    assert sum("names the hub and no host" in note for copy in copies for note in copy.notes) == 1
    whole = merged(copies)
    found, now = track(fleet, plan, whole, dt.date(2027, 3, 2)), fleet_now(fleet, plan, whole).fleet
    write_now(now, (), tmp_path / "now.xlsx")
    as_made, now = now, read_fleet(tmp_path / "now.xlsx")
    assert now == as_made
    known = dict(zip(now.pool_ids, now.pools["existing_hosts"], strict=True))
    told = of_nobody(tmp_path / "now.xlsx")
    assert set(told) == set(now.pool_ids)
    assert all((stands, where) in ((None, "blank"), (known[hub], "written")) for hub, (stands, where) in told.items())
    second = roll_out(now, plan, start=dt.date(2027, 3, 3), time_limit=0)
    left = {row.site for row in found.left}
    assert {s.site for s in second.steps if s.kind in ("move", "detour", "attach")} == left
    assert moves(second) == to_move - done
    assert verify_rollout(now, plan, second) == ()
    assert [v for v in verify(now, plan) if v.severity == "violation"] == []


def of_nobody(path):
    """Return of each pool whose hosts nobody counted what its cell holds, and what the sheet Assumed says of that."""
    book = openpyxl.load_workbook(path)
    heads, *rows = book["Hubs"].iter_rows(values_only=True)
    cells = {row[heads.index("hub")]: row[heads.index("existing_hosts")] for row in rows}
    _, *told = book["Assumed"].iter_rows(values_only=True)
    return {what.removeprefix("pool "): (cells[what.removeprefix("pool ")], where.split(",")[0])
            for what, _, _, where, _ in told}  # fmt: skip


def fill(path, rollout):
    """Mark the first half of the sites that change as done, in the order of the rollout."""
    changed = list(dict.fromkeys(step.site for step in rollout.steps if step.kind in ("move", "attach")))
    done = set(changed[: len(changed) // 2])
    book = openpyxl.load_workbook(path)
    sheet = book["Assignments"]
    header = next(row for row in sheet.iter_rows() if any(cell.value == "site" for cell in row))
    at = {cell.value: cell.column for cell in header}
    for row in range(header[0].row + 1, sheet.max_row + 1):
        if sheet.cell(row, at["site"]).value in done:
            sheet.cell(row, at["status"]).value = "done"
    book.save(path)
    return done


def test_a_host_of_today_without_a_name_is_known_by_the_one_that_the_rollout_gives_it(tmp_path):
    """It was said to be neither planned nor running, and its retirement was not counted."""
    fleet = fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": ["001", "002"]}),
            "Hubs": pd.DataFrame({"hub": ["FRA", "MUC"], "existing_hosts": 1}),
            "Latency": pd.DataFrame(
                [("001", "FRA", 9), ("002", "FRA", 9), ("002", "MUC", 3)], columns=["site", "hub", "rtt_ms"]
            ),
            "Current": pd.DataFrame({"site": ["001", "002"], "hub": ["FRA", "MUC"]}),
        },
        {"latency_budget_ms": 25, "cluster_cap": 20, "pilot_sites": 0},
    )
    plan = make_plan(fleet)
    rollout = roll_out(fleet, plan, start=dt.date(2027, 3, 1), time_limit=0)
    assert [step.id for step in rollout.steps] == ["move 002", "retire MUC-01"]
    write_rollout_workbook(fleet, plan, rollout, tmp_path / "rollout.xlsx")
    write_workbook(fleet, plan, tmp_path / "plan.xlsx")

    def after(*done):
        book = openpyxl.load_workbook(tmp_path / "rollout.xlsx")
        heads = [cell.value for cell in book["Steps"][1]]
        for row in book["Steps"].iter_rows(min_row=2):
            if row[heads.index("step")].value in done:
                row[heads.index("status")].value = "done"
        book.save(tmp_path / "back.xlsx")
        copies = resolved(read_copies([tmp_path / "plan.xlsx", tmp_path / "back.xlsx"]), fleet, plan)
        assert [note for copy in copies for note in copy.notes if "neither in the plan" in note] == []
        return merged(copies)

    too_early = fleet_now(fleet, plan, after("retire MUC-01"))
    assert "host MUC-01 is retired, and 002 is still on it" in " ".join(too_early.notes)
    whole = after("move 002", "retire MUC-01")
    now = fleet_now(fleet, plan, whole).fleet
    assert now.pools.set_index("hub")["existing_hosts"].to_dict() == {"FRA": 1, "MUC": 0}
    assert fleet_now(now, plan, whole).changes == ()
    assert roll_out(now, make_plan(now), start=dt.date(2027, 3, 1), time_limit=0).waves == ()
