"""The fleet as it is: what steps and rows that are done make of it, and that plans and rollouts go on from there."""

import csv
import datetime as dt
import json
import random

import openpyxl
import pandas as pd
import pytest

from planner.cli import main
from planner.intake import fleet_from_tables, read_fleet
from planner.outputs import write_rollout_workbook, write_workbook
from planner.outputs.progress_workbook import write_progress_workbook
from planner.outputs.read_returned import read_copies
from planner.outputs.repaired import write_now, write_repaired
from planner.outputs.tickets import write_tickets
from planner.progress import Cell, Merged
from planner.rollout import roll_out
from planner.sizing import plan as make_plan
from planner.tracking import fleet_now, merged, resolved, rollout_of, tickets_in, track
from planner.verify import verify, verify_rollout

START = dt.date(2027, 3, 1)
IDS = [f"{n:04d}" for n in range(1, 25)]


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """Hosts to install at ROV, to upgrade at ESK, to retire at OLD; sites to raise, to attach and to move."""
    rng = random.Random(7)
    reach = {"ESK": IDS, "ROV": IDS[8:], "OLD": IDS}
    tables = {
        "Sites": pd.DataFrame({"site": IDS, "release": "8.2", "target_release": ["8.4"] * 6 + [""] * 18}),
        "Hubs": pd.DataFrame(
            {
                "hub": ["ESK", "ROV", "OLD"],
                "max_hosts": [2, 3, 0],
                "existing_hosts": [2, 0, 1],
                "cluster_cap": 8,
                "host_release": "8.4",
                "host_release_today": ["8.2", "", "8.2"],
                "retiring_hosts": ["", "", "OLD-01"],
            }
        ),
        "Latency": pd.DataFrame(
            [(s, h, rng.uniform(5, 20)) for h, sites in reach.items() for s in sites], columns=["site", "hub", "rtt_ms"]
        ),
        "Current": pd.DataFrame(
            {
                "site": IDS[:20],
                "hub": ["ESK"] * 14 + ["OLD"] * 6,
                "host": ["ESK-01"] * 7 + ["ESK-02"] * 7 + ["OLD-01"] * 6,
            }
        ),
        "Freezes": pd.DataFrame({"first": ["2027-12-20"], "last": ["2028-01-03"], "reason": ["year's end"]}),
        "Prices": pd.DataFrame({"item": ["host"], "buy": [900]}),
    }
    made = fleet_from_tables(tables, policy={"latency_budget_ms": 25, "timezone": "Europe/London"})
    write_repaired(made, path := tmp_path_factory.mktemp("fleet") / "fleet.xlsx")
    return read_fleet(path)  # a plan knows which file it was made from


@pytest.fixture(scope="module")
def workbooks(fleet, tmp_path_factory):
    folder = tmp_path_factory.mktemp("books")
    plan = make_plan(fleet)
    found = roll_out(fleet, plan, start=START)
    assert not found.conflicts
    kinds = {step.kind for step in found.steps}
    assert kinds >= {"move", "attach", "host_install", "host_release", "host_retire", "site_release"}
    write_workbook(fleet, plan, folder / "plan.xlsx")
    write_rollout_workbook(fleet, plan, found, folder / "rollout.xlsx")
    return folder, plan, found


def after(fleet, workbooks, done, words="done"):
    """The fleet after the steps with the ids ``done``, as the team's workbook says."""
    folder, plan, _ = workbooks
    book = openpyxl.load_workbook(folder / "rollout.xlsx")
    sheet = book["Steps"]
    column = {cell.value: cell.column for cell in sheet[1]}
    for row in range(2, sheet.max_row + 1):
        if sheet.cell(row, column["step"]).value in done:
            sheet.cell(row, column["status"]).value = words
            sheet.cell(row, column["date"]).value = dt.date(2027, 3, 9)
    book.save(folder / "back.xlsx")
    paths = [folder / "plan.xlsx", folder / "back.xlsx"]
    return fleet_now(fleet, plan, merged(resolved(read_copies(paths), fleet, plan)))


def sound(found):
    return [str(one) for one in found if one.severity == "violation"]


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8, 1.0])
def test_the_rest_of_a_plan_rolls_out_from_the_fleet_as_it_is(fleet, workbooks, share, tmp_path):
    _, plan, found = workbooks
    waves = round(share * len(found.waves))
    done = {step.id for wave in found.waves[:waves] for step in wave.steps}
    now = after(fleet, workbooks, done, "erledigt")
    write_now(now.fleet, now.changes, tmp_path / "now.xlsx")
    again = read_fleet(tmp_path / "now.xlsx")
    assert not [one for one in again.findings if one.severity != "info"]
    assert sound(verify(again, plan)) == []
    rest = roll_out(again, plan, start=dt.date(2027, 4, 1))
    assert not rest.conflicts
    assert sound(verify_rollout(again, plan, rest)) == []
    assert {step.id for step in rest.steps} == {step.id for step in found.steps} - done
    if share == 1.0:
        assert make_plan(again).hosts == plan.hosts
        assert not any(row.action != "keep" for row in make_plan(again).assignments)


def test_each_change_has_its_source_and_saying_it_twice_changes_nothing(fleet, workbooks):
    _, _, found = workbooks
    now = after(fleet, workbooks, {step.id for step in found.steps})
    of_host = {(c.what, c.column): (c.before, c.after) for c in now.changes if c.what.startswith("host")}
    assert of_host[("host OLD-01", "host_names")] == ("OLD", "")
    assert of_host[("host ROV-01", "host_names")] == ("", "ROV")
    done = [c for c in now.changes if c.what != "policy"]
    assert {c.on for c in done} == {dt.date(2027, 3, 9)}
    assert all(c.source.startswith("back.xlsx Steps!") for c in done)
    assert after(now.fleet, workbooks, {step.id for step in found.steps}).changes == ()


def test_a_host_of_a_pool_that_is_half_upgraded_is_not_upgraded_again(fleet, workbooks):
    _, plan, found = workbooks
    one = next(step for step in found.steps if step.kind == "host_release")
    needed = {one.id, *one.needs}
    now = after(fleet, workbooks, needed).fleet
    esk = now.pools.set_index("pool").loc["ESK"]
    assert (esk["host_release_today"], esk["upgraded_hosts"]) == ("8.2", (one.host,))
    rest = roll_out(now, plan, start=dt.date(2027, 4, 1))
    assert one.host not in {step.host for step in rest.steps if step.kind == "host_release"}
    assert sound(verify_rollout(now, plan, rest)) == []


def test_ids_in_other_letters_are_mended_and_unknown_ones_are_said(fleet, workbooks, tmp_path):
    folder, plan, _ = workbooks
    book = openpyxl.load_workbook(folder / "plan.xlsx")
    sheet = book["Assignments"]
    column = {cell.value: cell.column for cell in sheet[1]}
    at = {sheet.cell(row, 1).value: row for row in range(2, sheet.max_row + 1)}
    row = {name: next(r for r in plan.assignments if r.action == name) for name in ("attach", "move")}
    first, second = at[row["attach"].site], at[row["move"].site]
    sheet.cell(first, 1).value = int(row["attach"].site)
    sheet.cell(first, column["host"]).value = row["attach"].host.lower().replace("-", " ")
    sheet.cell(second, column["host"]).value = "XYZ-09"
    for line in (first, second):
        sheet.cell(line, column["status"]).value = "fait"
    book.save(tmp_path / "back.xlsx")
    whole = merged(resolved(read_copies([folder / "plan.xlsx", tmp_path / "back.xlsx"]), fleet, plan))
    now = fleet_now(fleet, plan, whole)
    assert [(c.what, c.after) for c in now.changes if c.column == "host"] == [
        (f"site {row['attach'].site}", row["attach"].host)
    ]
    notes = " ".join(whole.notes)
    assert f'is taken for "{row["attach"].host}"' in notes
    assert 'host "XYZ-09" is neither in the plan nor running today' in notes


def test_a_repaired_fleet_keeps_every_sheet(fleet, tmp_path):
    """Freezes, changes and prices were lost."""
    changed = fleet.replace(changes=fleet.changes.iloc[:0])
    write_repaired(changed, tmp_path / "again.xlsx")
    again = read_fleet(tmp_path / "again.xlsx")
    for name in ("sites", "pools", "current", "freezes", "changes", "prices"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(changed, name), check_dtype=False)


def test_the_burn_down_has_the_planned_curve_and_slipped_waves_are_named(fleet, workbooks, tmp_path):
    folder, plan, found = workbooks
    first = {step.id for step in found.waves[0].steps}
    after(fleet, workbooks, first)
    paths = [folder / "plan.xlsx", folder / "back.xlsx"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    late = found.waves[1].starts.date() + dt.timedelta(days=3)
    told = track(fleet, plan, whole, late)
    assert sum(told.planned_on.values()) == sum(row.to_do for row in told.rows)
    assert [words.split()[1] for words in told.slipped] == [
        str(wave.wave) for wave in found.waves[1:] if max(s.starts.date() for s in wave.steps) < late
    ]
    assert told.slipped
    write_progress_workbook(paths, copies, whole, told, tmp_path / "merged.xlsx")
    rows = list(openpyxl.load_workbook(tmp_path / "merged.xlsx")["Burn-down"].values)
    planned = [row[rows[0].index("planned")] for row in rows[1:]]
    assert planned[0] == sum(told.planned_on.values())
    assert planned[-1] == 0
    assert planned == sorted(planned, reverse=True)


def test_what_the_plan_workbook_alone_says_is_done_has_not_slipped(fleet, workbooks, tmp_path):
    folder, plan, found = workbooks
    book = openpyxl.load_workbook(folder / "plan.xlsx")
    sheet = book["Assignments"]
    column = {cell.value: cell.column_letter for cell in sheet[1]}
    for row in range(2, sheet.max_row + 1):
        sheet[f"{column['status']}{row}"] = "done"
        sheet[f"{column['date']}{row}"] = START
    book.save(tmp_path / "back.xlsx")
    paths = [folder / "plan.xlsx", tmp_path / "back.xlsx", folder / "rollout.xlsx"]
    whole = merged(resolved(read_copies(paths), fleet, plan))
    late = found.waves[-1].ends.date() + dt.timedelta(days=3)
    told = track(fleet, plan, whole, late)
    left = [sum(step.kind not in ("attach", "move", "detour") for step in wave.steps) for wave in found.waves]
    counts = {str(wave.wave): count for wave, count in zip(found.waves, left, strict=True) if count}
    assert {words.split()[1]: int(words.split()[4]) for words in told.slipped} == counts


def test_tickets_have_a_row_for_each_wave_and_place(fleet, workbooks, tmp_path):
    _, _, found = workbooks
    write_tickets(fleet, found, tmp_path / "tickets.csv")
    with (tmp_path / "tickets.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    wanted = {(str(wave.wave), step.site or step.host) for wave in found.waves for step in wave.steps}
    assert {(row["wave"], row["place"]) for row in rows} == wanted
    assert len(rows) == len(wanted)
    assert all(row["what"] and row["way_back"] and row["starts"] < row["ends"] for row in rows)
    assert not any(row["ticket"] or row["approver"] for row in rows)


def test_ticket_numbers_typed_on_steps_come_back(fleet, workbooks, tmp_path):
    folder, plan, found = workbooks
    steps = list(found.steps)
    book = openpyxl.load_workbook(folder / "rollout.xlsx")
    sheet = book["Steps"]
    heads = [cell.value for cell in sheet[1]]
    for row in sheet.iter_rows(min_row=2):
        if row[heads.index("step")].value in (steps[0].id, steps[-1].id):
            row[heads.index("ticket")].value = "00123" if row[heads.index("step")].value == steps[0].id else 4711
    book.save(tmp_path / "back.xlsx")
    paths = [folder / "rollout.xlsx", tmp_path / "back.xlsx"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    numbers = tickets_in(whole.steps)
    assert numbers == {steps[0].id: "00123", steps[-1].id: "4711"}
    assert not whole.clashes
    again, unread = rollout_of(whole.steps)
    assert not unread
    write_tickets(fleet, again, tmp_path / "again.csv", numbers)
    write_tickets(fleet, found, tmp_path / "first.csv", numbers)
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "first.csv").read_bytes()
    assert (tmp_path / "again.csv").read_text(encoding="utf-8-sig").count("00123") == 1
    write_progress_workbook(paths, copies, whole, track(fleet, plan, whole, dt.date(2027, 3, 31)), tmp_path / "m.xlsx")
    kept = openpyxl.load_workbook(tmp_path / "m.xlsx")["Steps"]
    typed = {str(row[heads.index("step")].value): row[heads.index("ticket")].value for row in kept.iter_rows(min_row=2)}
    assert {step: str(number) for step, number in typed.items() if number is not None} == numbers


def test_a_step_whose_times_are_gone_is_noted(fleet, workbooks):
    folder, _, _ = workbooks
    (copy,) = read_copies([folder / "rollout.xlsx"])
    spoilt = {**copy.steps[0], "time zone": Cell("Nowhere/Land", "Steps!M2")}
    again, notes = rollout_of([spoilt, *copy.steps[1:]])
    assert len(list(again.steps)) == len(copy.steps) - 1
    assert "cannot be read" in notes[0]


def test_the_next_rollout_has_the_tickets_that_were_typed_and_buys_no_host_twice(fleet, workbooks, tmp_path):
    folder, _, found = workbooks
    write_repaired(fleet, tmp_path / "fleet.xlsx")
    book = openpyxl.load_workbook(folder / "rollout.xlsx")
    sheet = book["Steps"]
    at = {cell.value: cell.column - 1 for cell in sheet[1]}
    installed = next(step for step in found.steps if step.kind == "host_install")
    open_one = next(step for step in reversed(list(found.steps)) if step.kind == "move")
    for row in sheet.iter_rows(min_row=2):
        if row[at["step"]].value in (installed.id, open_one.id):
            row[at["ticket"]].value = f"T-{row[at['step']].value}"
            row[at["status"]].value = "done" if row[at["step"]].value == installed.id else "open"
    book.save(tmp_path / "back.xlsx")
    asked = ["rollout", tmp_path / "fleet.xlsx", folder / "plan.xlsx", "-o", tmp_path / "next.xlsx"]
    asked += ["--tickets", tmp_path / "next.csv", "--json", tmp_path / "next.json", "--start", "2027-04-01"]
    for path in (folder / "plan.xlsx", tmp_path / "back.xlsx"):
        asked += ["--progress", path]
    with pytest.raises(SystemExit, match="0"):
        main([str(word) for word in asked])
    rows = list(openpyxl.load_workbook(tmp_path / "next.xlsx")["Steps"].iter_rows(min_row=2, values_only=True))
    tickets = {row[at["step"]]: row[at["ticket"]] for row in rows if row[at["ticket"]]}
    assert tickets == {open_one.id: f"T-{open_one.id}"}
    assert f"T-{open_one.id}" in (tmp_path / "next.csv").read_text(encoding="utf-8-sig")
    bought = [n for m in json.loads((tmp_path / "next.json").read_text())["materials"] for n in m["names"]]
    assert installed.host not in bought


def test_run_sheets_in_the_merged_workbook_print_as_they_did_and_own_columns_too(fleet, workbooks, tmp_path):
    folder, plan, _ = workbooks
    book = openpyxl.load_workbook(folder / "plan.xlsx")
    sheet = book["Assignments"]
    sheet.cell(1, sheet.max_column + 1).value = "cabinet key"
    sheet.cell(2, sheet.max_column).value = "key 7"
    remarks = next(cell.column for cell in sheet[1] if cell.value == "remarks")
    sheet.cell(3, remarks).value = "The caretaker has to be called a day ahead. " * 4
    book.save(tmp_path / "back.xlsx")
    paths = [folder / "plan.xlsx", tmp_path / "back.xlsx", folder / "rollout.xlsx"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    write_progress_workbook(paths, copies, whole, track(fleet, plan, whole, dt.date(2027, 3, 31)), tmp_path / "m.xlsx")
    kept, first = openpyxl.load_workbook(tmp_path / "m.xlsx"), openpyxl.load_workbook(folder / "rollout.xlsx")
    for title in ("Wave 1", "Steps"):
        mine, theirs = kept[title], first[title]
        for look in ("orientation", "fitToWidth", "fitToHeight", "paperSize"):
            assert getattr(mine.page_setup, look) == getattr(theirs.page_setup, look)
        assert mine.oddFooter.right.text == theirs.oddFooter.right.text
        assert len(mine.data_validations.dataValidation) == len(theirs.data_validations.dataValidation)
        assert {n: r.height for n, r in mine.row_dimensions.items()}.items() >= {
            n: r.height for n, r in theirs.row_dimensions.items() if title != "Steps"
        }.items()
    assert kept["Steps"].data_validations.dataValidation
    sheet = kept["Assignments"]
    assert sheet.print_area.endswith(f"${sheet.max_row}")
    assert f"${sheet.cell(1, sheet.max_column).column_letter}$" in sheet.print_area
    assert sheet.row_dimensions[3].height > 40
    heads = [sheet.cell(1, sheet.max_column - k).fill.fgColor.rgb for k in (0, 1)]
    assert heads[0] == heads[1]


def test_a_site_split_over_hosts_keeps_them_all_and_counts_once():
    """Of two rows that were done the fleet kept the last, and the next plan moved the site for no reason."""
    tables = {
        "Sites": pd.DataFrame({"site": ["1", "2", "3"], "clusters": [2, 2, 1]}),
        "Hubs": pd.DataFrame({"hub": ["ESK", "OLD"], "max_hosts": 2, "existing_hosts": 2, "cluster_cap": 8,
                              "host_names": ["ESK-01; ESK-02", "OLD-01; OLD-02"]}),
        "Latency": pd.DataFrame([(site, hub, 9.0) for site in "123" for hub in ("ESK", "OLD")],
                                columns=["site", "hub", "rtt_ms"]),
        "Current": pd.DataFrame([("1", "OLD", "OLD-01"), ("1", "OLD", "OLD-02"), ("2", "OLD", "OLD-01"),
                                 ("2", "OLD", "OLD-02")], columns=["site", "hub", "host"]),
    }  # fmt: skip
    split = fleet_from_tables(tables, policy={"latency_budget_ms": 25, "split_sites": True})
    made = make_plan(split)

    def row(site, host, status):
        cells = {"site": site, "host": host, "planned host": host, "action": "move", "status": status}
        return {name: Cell(value, f"Assignments!{name}", name) for name, value in cells.items()}

    whole = Merged((row("1", "ESK-01", "done"), row("1", "ESK-02", "done"), row("3", "ESK-01", "done")), ())
    now = fleet_now(split, made, whole)
    hosts = now.fleet.current.groupby("site")["host"].agg(list).to_dict()
    assert hosts == {"1": ["ESK-01", "ESK-02"], "2": ["OLD-01", "OLD-02"], "3": ["ESK-01"]}
    assert not [change for change in fleet_now(now.fleet, made, whole).changes if change.what != "policy"]
    half = Merged((row("1", "ESK-01", "done"), row("1", "ESK-02", "open"), *whole.rows[2:]), ())
    hosts = fleet_now(split, made, half).fleet.current.groupby("site")["host"].agg(list).to_dict()
    assert hosts["1"] == ["OLD-01", "OLD-02", "ESK-01"]  # nobody knows which of the old ones it has left
    told = track(split, made, half, START)
    assert ([row.site for row in told.done], [row.site for row in told.left]) == (["3"], ["1"])


def test_sites_done_on_a_host_whose_hub_the_fleet_has_not_are_said(fleet, workbooks):
    """The export had lost the hub, and the sites stayed where they had been without a word."""
    _, plan, _ = workbooks
    row = next(row for row in plan.assignments if row.host.startswith("ROV"))
    pools = fleet.pools[fleet.pools["hub"] != "ROV"].reset_index(drop=True)
    latency = fleet.latency[fleet.latency["hub"] != "ROV"].reset_index(drop=True)
    without = fleet.replace(pools=pools, latency=latency)
    cells = {"site": row.site, "host": row.host, "planned host": row.host, "status": "done"}
    done = {name: Cell(value, f"Assignments!{name}", name) for name, value in cells.items()}
    (note,) = fleet_now(without, plan, Merged((done,), ())).notes
    assert note.startswith(f"Done on {row.host}, whose pool the fleet has not: {row.site}.")
