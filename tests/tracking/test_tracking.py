"""The team's workbooks as one, what became of each site, and the forecast."""

import datetime as dt
import random
import re
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest

from planner.intake import fleet_from_tables
from planner.outputs import read_plan, write_rollout_workbook, write_workbook
from planner.outputs.progress_workbook import _days, write_progress_workbook
from planner.outputs.read_returned import read_copies
from planner.progress import Forecast, Progress, SiteProgress
from planner.rollout import roll_out
from planner.sizing import plan as make_plan
from planner.tracking import fleet_now, merged, track
from planner.tracking.forecast import forecast
from planner.tracking.open_days import open_days

TODAY = dt.date(2027, 3, 31)


@pytest.fixture(scope="module")
def fleet():
    ids = [f"{n:04d}" for n in range(1, 21)]
    rng = random.Random(4)
    tables = {
        "Sites": pd.DataFrame({"site": ids, "cost centre": [f"0{n}" for n in range(20)]}),
        "Hubs": pd.DataFrame({"hub": ["ESK", "ROV"], "max_hosts": 3, "existing_hosts": [2, 0], "cluster_cap": 8}),
        "Latency": pd.DataFrame([(s, h, rng.uniform(5, 20)) for s in ids for h in ("ESK", "ROV")],
                                columns=["site", "hub", "rtt_ms"]),
        "Current": pd.DataFrame({"site": ids[:15], "hub": "ESK", "host": ["ESK-01"] * 8 + ["ESK-02"] * 7}),
    }  # fmt: skip
    return fleet_from_tables(tables, policy={"latency_budget_ms": 25, "then": "latency"})


@pytest.fixture(scope="module")
def plan(fleet):
    return make_plan(fleet)


@pytest.fixture
def team(fleet, plan, tmp_path):
    """Write the plan workbook and copies that people filled in; return their paths."""
    write_workbook(fleet, plan, tmp_path / "plan.xlsx")

    def copy(name, change):
        book = openpyxl.load_workbook(tmp_path / "plan.xlsx")
        sheet = book["Assignments"]
        letters = {cell.value: cell.column_letter for cell in sheet[1]}
        rows = {row[0].value: row[0].row for row in sheet.iter_rows(min_row=2)}

        def fill(site, **values):
            for heading, value in values.items():
                sheet[f"{letters[heading]}{rows[site]}"] = value

        change(fill, book)
        book.save(tmp_path / name)
        return tmp_path / name

    return copy


def test_blocked_sites_stay_in_the_burn_down(plan):
    """They were in the planned curve and not in the one of what is left: the two began apart."""
    sites, day = ["a", "b", "c"], dt.date(2027, 3, 1)
    status = ["done", "blocked", "open"]
    rows = [SiteProgress(s, "H", "H", w, day if w == "done" else None) for s, w in zip(sites, status, strict=True)]
    likely = Forecast(day, day + dt.timedelta(days=2), day + dt.timedelta(days=2), "")
    told = list(_days(Progress(day, tuple(rows), likely, planned_on={day: 1, day + dt.timedelta(days=1): 2})))
    left, planned = [row[2] for row in told], [row[-1] for row in told]
    assert (left[0], left[1], planned[0], planned[1]) == (3, 2, 3, 2)
    assert told[1][3] == 2  # today's, of the likely line
    assert told[3][3] == 1  # the blocked site


def to_do(plan):
    return [row.site for row in plan.assignments if row.action != "keep"]


def row_of(whole, site):
    return next({k: c.value for k, c in row.items()} for row in whole.rows if row["site"].value == site)


def test_an_untouched_workbook_has_everything_left(fleet, plan, team, tmp_path):
    found = track(fleet, plan, merged(read_copies([tmp_path / "plan.xlsx"])), TODAY)
    assert [row.site for row in found.left] == to_do(plan)
    assert (found.done, found.blocked, found.drifted, found.clashes, found.problems) == ((), (), (), (), ())


def test_different_cells_of_several_copies_come_together_without_a_clash(fleet, plan, team, tmp_path):
    a, b, *_ = to_do(plan)
    north = team("north.xlsx", lambda fill, _: fill(a, status="done", date=dt.date(2027, 3, 1), remarks="north"))
    south = team("south.xlsx", lambda fill, _: fill(b, status="blocked", initials="cd", remarks="gate locked"))
    for order in ([north, south], [south, north], [tmp_path / "plan.xlsx", north, south]):
        whole = merged(read_copies(order))
        assert whole.clashes == ()
        assert row_of(whole, a)["status"] == "done"
        assert str(row_of(whole, a)["date"]).startswith("2027-03-01")
        assert (row_of(whole, b)["status"], row_of(whole, b)["initials"]) == ("blocked", "cd")
        found = track(fleet, plan, whole, TODAY)
        assert ([r.site for r in found.done], [r.site for r in found.blocked]) == ([a], [b])


def test_clashes_are_listed_cell_by_cell_and_nothing_is_lost(fleet, plan, team):
    a, b, *_ = to_do(plan)
    one = team(
        "one.xlsx",
        lambda fill, _: (fill(a, status="done", initials="ab", remarks="went well"), fill(b, status="planned")),
    )
    two = team(
        "two.xlsx",
        lambda fill, _: (fill(a, status="blocked", initials="cd", remarks="no power"), fill(b, status="done")),
    )
    whole = merged(read_copies([one, two]))
    assert {(c.what, c.column) for c in whole.clashes} == {(f"site {a}", "status"), (f"site {a}", "initials")}
    status = next(c for c in whole.clashes if c.column == "status")
    assert [(file, text) for file, _, text in status.values] == [("one.xlsx", "done"), ("two.xlsx", "blocked")]
    assert all(where.startswith("Assignments!") for _, where, _ in status.values)
    assert row_of(whole, a)["status"] == "blocked"  # who takes a site for done would count on its new host
    remarks = row_of(whole, a)["remarks"]
    for words in ("went well", "no power", "done", "cd"):
        assert words in remarks
    assert row_of(whole, b)["status"] == "done"


def test_cells_that_people_changed_elsewhere_are_listed(fleet, plan, team, tmp_path):
    def change(_fill, book):
        book["Hosts"]["D2"], book["Hosts"]["A2"] = "8.99", "ESK-99"
        book["Assignments"]["Z1"], book["Assignments"]["Z2"] = "ticket", "T-17"

    whole = merged(read_copies([tmp_path / "plan.xlsx", team("two.xlsx", change)]))
    assert any(c.column == "Hosts!A2" and "ESK-99" in str(c) for c in whole.clashes)
    assert 'two.xlsx Hosts!D2: "8.99" is copied into the merged workbook.' in whole.notes
    assert "T-17" in {row["ticket"].value for row in whole.rows if "ticket" in row}


def test_host_changed_by_hand_is_drift_and_is_checked(fleet, plan, team):
    a = to_do(plan)[0]
    other = next(h.host for h in plan.host_list if h.host != next(r.host for r in plan.assignments if r.site == a))
    path = team("hand.xlsx", lambda fill, _: fill(a, host=other, status="done", date="2027-03-02"))
    found = track(fleet, plan, merged(read_copies([path])), TODAY)
    (drifted,) = found.drifted
    assert (drifted.site, drifted.host) == (a, other)
    assert found.done_on == {dt.date(2027, 3, 2): 1}
    full = team("full.xlsx", lambda fill, _: [fill(s, host=other) for s in to_do(plan)])
    found = track(fleet, plan, merged(read_copies([full])), TODAY)
    assert any("may carry" in problem for problem in found.problems)


def test_site_that_stands_elsewhere_by_now_is_drift(fleet, plan, tmp_path, team):
    a = next(row.site for row in plan.assignments if row.action == "move")
    current = fleet.current.assign(
        host=[("ESK-09" if s == a else h) for s, h in zip(fleet.current["site"], fleet.current["host"], strict=True)]
    )
    found = track(fleet.replace(current=current), plan, merged(read_copies([tmp_path / "plan.xlsx"])), TODAY)
    assert [(r.site, r.drift) for r in found.drifted] == [(a, "Current has it on ESK-09")]


def test_site_that_is_still_to_leave_for_its_own_tie_breaker_has_not_drifted(fleet, tmp_path):
    leaves = fleet.replace(sites=fleet.sites.assign(own_tie_breaker=["yes", *["no"] * 19]))
    plan = make_plan(leaves)
    write_workbook(leaves, plan, tmp_path / "plan.xlsx")
    write_rollout_workbook(leaves, plan, roll_out(leaves, plan), tmp_path / "rollout.xlsx")
    copies = read_copies(paths := [tmp_path / "plan.xlsx", tmp_path / "rollout.xlsx"])
    whole = merged(copies)
    found = track(leaves, plan, whole, TODAY)
    assert "0001" in [row.site for row in found.left]
    assert found.drifted == ()
    write_progress_workbook(paths, copies, whole, found, tmp_path / "merged.xlsx")
    assert read_plan(tmp_path / "merged.xlsx").assignments == plan.assignments
    again = merged(read_copies([tmp_path / "merged.xlsx"]))
    assert "0001" in [row.site for row in track(leaves, plan, again, TODAY).left]
    elsewhere = leaves.current.assign(host=["ESK-09", *leaves.current["host"][1:]])
    found = track(leaves.replace(current=elsewhere), plan, whole, TODAY)
    assert [(row.site, row.drift) for row in found.drifted] == [("0001", "Current has it on ESK-09")]


def test_odd_cells_are_told_and_no_reason_to_stop(fleet, plan, team):
    a, b, c, *_ = to_do(plan)
    path = team(
        "odd.xlsx",
        lambda fill, _: (
            fill(a, status="DONE", date="last week"),
            fill(b, status="nearly"),
            fill(c, status="done", date=dt.date(2031, 1, 1)),
        ),
    )
    found = track(fleet, plan, merged(read_copies([path])), TODAY)
    notes = "\n".join(found.notes)
    assert [row.site for row in found.done] == [a, c]
    assert 'status "nearly" is none of' in notes
    assert "cannot be read" in notes
    assert "still to come" in notes


def test_replan_starts_from_what_is_done(fleet, plan, team):
    done = to_do(plan)[:4]
    path = team("done.xlsx", lambda fill, _: [fill(site, status="done") for site in done])
    now = fleet_now(fleet, plan, merged(read_copies([path]))).fleet
    hosts = {row.site: row.host for row in plan.assignments}
    today = dict(zip(now.current["site"], now.current["host"], strict=True))
    assert {site: today[site] for site in done} == {site: hosts[site] for site in done}
    pool_of = {host.host: host.pool for host in plan.host_list}
    stated = dict(zip(now.current["site"], now.current["pool"], strict=True))
    assert {site: stated[site] for site in done} == {site: pool_of[hosts[site]] for site in done}
    before = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    assert {s: h for s, h in today.items() if s not in done} == {s: h for s, h in before.items() if s not in done}
    again = make_plan(now)
    assert {r.site for r in again.assignments if r.action == "attach"} == set(fleet.site_ids) - set(today)


def test_merged_workbook_keeps_all_and_reads_back(fleet, plan, team, tmp_path):
    a, b, *_ = to_do(plan)

    def one(fill, book):
        fill(a, status="done", date=dt.date(2027, 3, 1), remarks="=first")
        book["Assignments"]["Z1"], book["Assignments"]["Z2"] = "ticket", "T-17"
        book["Policy"]["F9"] = "by phone"
        book["Assignments"]["A2"].comment = openpyxl.comments.Comment("ask Kim", "team")

    paths = [team("one.xlsx", one), team("two.xlsx", lambda fill, _: fill(b, status="blocked", remarks="no key"))]
    whole = merged(read_copies(paths))
    found = track(fleet, plan, whole, TODAY)
    write_progress_workbook(paths, read_copies(paths), whole, found, tmp_path / "merged.xlsx")
    book = openpyxl.load_workbook(tmp_path / "merged.xlsx")
    assert book["Assignments"]["Z2"].value == "T-17"
    assert book["Policy"]["F9"].value == "by phone"
    assert book["Assignments"]["A2"].comment.text == "ask Kim"
    (chart,) = book["Burn-down"]._charts
    assert len(chart.series) == 4
    again = merged(read_copies([tmp_path / "merged.xlsx"]))
    assert [{k: c.value for k, c in row.items()} for row in again.rows] == [
        {k: c.value for k, c in row.items()} for row in whole.rows
    ]
    assert read_plan(tmp_path / "merged.xlsx").assignments == read_plan(paths[0]).assignments
    once = [tmp_path / "merged.xlsx"]
    write_progress_workbook(once, read_copies(once), again, track(fleet, plan, again, TODAY), tmp_path / "twice.xlsx")
    assert sorted(openpyxl.load_workbook(tmp_path / "twice.xlsx").sheetnames) == sorted(book.sheetnames)


EXTENSION = (
    '<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}" '
    'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><x14:dataValidations count="4" '
    'xmlns:xm="http://schemas.microsoft.com/office/excel/2006/main">'
    '<x14:dataValidation type="list" errorStyle="warning" allowBlank="1" showErrorMessage="1" error="Not a host." '
    'xr:uid="{00000000-0002-0000-0300-000000000000}" '
    'xmlns:xr="http://schemas.microsoft.com/office/spreadsheetml/2014/revision">'
    "<x14:formula1><xm:f>Hosts!$A$2:$A$4</xm:f></x14:formula1><xm:sqref>F2:F21 H2</xm:sqref></x14:dataValidation>"
    '<x14:dataValidation type="whole" operator="between"><x14:formula1><xm:f>1</xm:f></x14:formula1><x14:formula2>'
    "<xm:f>Hosts!$B$2</xm:f></x14:formula2><xm:sqref>G2</xm:sqref></x14:dataValidation>"
    '<x14:dataValidation type="riddle"><x14:formula1><xm:f>1</xm:f></x14:formula1><xm:sqref>G3</xm:sqref>'
    '</x14:dataValidation><x14:dataValidation type="list"><x14:formula1><xm:f>Hosts!$A$2</xm:f></x14:formula1>'
    "</x14:dataValidation></x14:dataValidations></ext></extLst></worksheet>"
)


def as_excel_saves_it(path, title):
    """Move the drop-down of hosts of a sheet to the extension in which Excel keeps what refers to another sheet."""
    part = f"xl/worksheets/sheet{openpyxl.load_workbook(path).sheetnames.index(title) + 1}.xml"
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    text, moved = re.subn(
        r"<dataValidation (?:(?!</dataValidation>).)*Hosts!.*?</dataValidation>", "", parts[part].decode()
    )
    assert moved == 1
    # The list of extensions comes last, after the parts of tables.
    parts[part] = text.replace("</worksheet>", EXTENSION).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


@pytest.mark.filterwarnings("ignore:Data Validation extension:UserWarning")
def test_merged_workbook_keeps_validations_that_refer_to_other_sheets(fleet, plan, team, tmp_path):
    path = team("one.xlsx", lambda fill, _: fill(to_do(plan)[0], status="done"))
    as_excel_saves_it(path, "Assignments")
    own = openpyxl.load_workbook(path)["Assignments"].data_validations.dataValidation
    whole = merged(read_copies([path]))
    write_progress_workbook(
        [path], read_copies([path]), whole, track(fleet, plan, whole, TODAY), tmp_path / "merged.xlsx"
    )
    kept = openpyxl.load_workbook(tmp_path / "merged.xlsx")["Assignments"].data_validations.dataValidation
    assert len(kept) == len(own) + 2  # those of an unknown kind and of no cell are left out
    hosts, between = kept[-2:]
    assert (hosts.type, hosts.formula1, str(hosts.sqref)) == ("list", "Hosts!$A$2:$A$4", "F2:F21 H2")
    assert (hosts.errorStyle, hosts.allowBlank, hosts.showErrorMessage) == ("warning", True, True)
    assert hosts.error == "Not a host."
    assert (between.operator, between.formula1, between.formula2) == ("between", "1", "Hosts!$B$2")


@pytest.mark.parametrize("pace", [1, 3])
def test_steady_pace_has_one_answer(pace):
    """Every day the same: the rest takes rest / pace days, early, likely and late alike."""
    record = {TODAY - dt.timedelta(days=n): pace for n in range(10)}
    found = forecast(record, 12, TODAY)
    assert found.early == found.likely == found.late == TODAY + dt.timedelta(days=12 // pace)


def test_weekly_windows_stay_weekly():
    """One window a week, four sites in each, the next one today: ten sites take the third window."""
    record = {TODAY - dt.timedelta(days=7 * n): 4 for n in range(1, 6)}
    found = forecast(record, 10, TODAY)
    assert found.early == found.late == TODAY + dt.timedelta(days=14)


def test_forecast_meets_the_exact_percentiles_of_a_coin():
    """One site or none a day, each half of the record: days to the k-th success are negative binomial.

    Source: NIST/SEMATECH and any textbook, negative binomial distribution; here k = 3, p = 1/2, by exact summation.
    """
    record = {TODAY - dt.timedelta(days=n): 1 for n in (0, 3, 4, 6, 8, 11)}  # 6 of 12 days
    found = forecast(record, 3, TODAY)
    days = np.arange(3, 200)
    ways = [(n - 1) * (n - 2) / 2 * 0.5**n for n in days]
    exact = [int(days[np.searchsorted(np.cumsum(ways), p)]) for p in (0.1, 0.5, 0.9)]
    told = [(day - TODAY).days for day in (found.early, found.likely, found.late)]
    assert all(abs(a - b) <= 1 for a, b in zip(told, exact, strict=True)), (told, exact)


def with_windows(windows, **tables):
    ids = [f"{n}" for n in range(len(windows))]
    tables |= {
        "Sites": pd.DataFrame({"site": ids, "window": windows, "region": ["North"] * len(ids)}),
        "Hubs": pd.DataFrame({"hub": ["ESK"]}),
        "Latency": pd.DataFrame({"site": ids, "hub": "ESK", "rtt_ms": 5.0}),
    }
    return fleet_from_tables(tables, policy={"latency_budget_ms": 25, "timezone": "Europe/London"})


def ahead(fleet, record, left):
    days = open_days(fleet, left, fleet.site_ids, min(record), TODAY)
    return forecast(record, len(left), TODAY, calendar=days)


@pytest.mark.parametrize("days", [10, 21])
def test_a_freeze_to_come_puts_the_end_off_by_its_days(days):
    """One site a day; 2027-04-03 to 04-07 are frozen, so that the third site and those after come five days later."""
    record = {TODAY - dt.timedelta(days=n): 1 for n in range(days)}
    freeze = pd.DataFrame({"first": ["2027-04-03"], "last": ["2027-04-07"], "regions": ["north"]})
    found = ahead(with_windows([""] * 4, Freezes=freeze), record, ["0", "1", "2", "3"])
    assert found.early == found.late == TODAY + dt.timedelta(days=4 + 5)
    assert "no change at the sites left on 5 days" in found.words
    elsewhere = freeze.assign(regions="South")
    assert ahead(with_windows([""] * 4, Freezes=elsewhere), record, ["0", "1", "2", "3"]).late == TODAY + dt.timedelta(
        4
    )


def test_a_freeze_in_the_record_is_no_slow_pace():
    """Two sites a day for 9 days before a freeze of 5 days that ends today: the pace is two a day."""
    record = {TODAY - dt.timedelta(days=n): 2 for n in range(4, 13)}
    freeze = pd.DataFrame({"first": ["2027-03-28"], "last": ["2027-03-30"]})
    found = ahead(with_windows([""] * 6, Freezes=freeze), record, [str(n) for n in range(6)])
    assert (found.early, found.late) == (TODAY + dt.timedelta(days=2),) * 2  # today is day one: nothing is done on it


def test_sites_wait_for_their_own_windows():
    """TODAY is a Wednesday. Two sites a day; two may only be changed on Sundays, the other two at any time."""
    record = {TODAY - dt.timedelta(days=n): 2 for n in range(21)}
    fleet = with_windows(["Sun 20:00-23:00", "Sun 20:00-23:00", "", ""])
    assert ahead(fleet, record, ["2", "3"]).late == TODAY + dt.timedelta(days=1)
    assert ahead(fleet, record, ["0", "1", "2", "3"]).late == dt.date(2027, 4, 4)
    assert ahead(fleet, record, ["0", "1"]).early == dt.date(2027, 4, 4)


def test_no_forecast_where_the_sites_left_have_no_day_of_the_pace():
    """Work was done on Wednesdays alone, and the site left may be changed on Sundays alone."""
    record = {TODAY - dt.timedelta(days=7 * n): 2 for n in range(4)}
    found = ahead(with_windows(["Sun 20:00-23:00"]), record, ["0"])
    assert found.likely is None
    assert "more than ten years" in found.words


@pytest.mark.parametrize(
    ("record", "left", "words"),
    [({}, 5, "No forecast"), ({TODAY: 3}, 5, "No forecast"), ({}, 0, "Nothing is left")],
)
def test_too_little_record_gives_no_forecast_and_says_why(record, left, words):
    found = forecast(record, left, TODAY)
    assert found.words.startswith(words)
    assert (found.likely is None) == (left > 0)
