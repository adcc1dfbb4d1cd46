"""Forty copies as teams send them back: every cell that a person typed is in the merged workbook, or in a finding."""

import csv
import dataclasses
import datetime as dt
import itertools
import os

import openpyxl
import pandas as pd
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill

from planner.intake import fleet_from_tables
from planner.outputs import write_rollout_workbook, write_workbook
from planner.outputs.progress_words import status_of
from planner.outputs.progress_workbook import write_progress_workbook
from planner.outputs.read_returned import read_copies
from planner.outputs.sheet_copy import cells_of
from planner.progress import Cell, Copy
from planner.rollout import roll_out
from planner.sizing import plan as make_plan
from planner.tracking import doubts, merged, of_other_plans, resolved, track
from planner.tracking.planned import planned_on, slipped

TODAY = dt.date(2027, 3, 31)
WHOLE = os.environ.get("CASTINGVOTE_SAMPLES") == "all"
SITES = [f"{n:04d}" for n in range(1, 13)]


@pytest.fixture(scope="module")
def books(tmp_path_factory):
    folder = tmp_path_factory.mktemp("corpus")
    tables = {
        "Sites": pd.DataFrame({"site": SITES}),
        "Hubs": pd.DataFrame({"hub": ["ESK", "ROV"], "max_hosts": 2, "existing_hosts": [1, 0], "cluster_cap": 8}),
        "Latency": pd.DataFrame(
            [(s, h, 9.0) for s in SITES for h in ("ESK", "ROV")], columns=["site", "hub", "rtt_ms"]
        ),
        "Current": pd.DataFrame({"site": SITES[:6], "hub": "ESK", "host": "ESK-01"}),
    }  # fmt: skip
    fleet = fleet_from_tables(tables, policy={"latency_budget_ms": 25})
    plan = make_plan(fleet)
    write_workbook(fleet, plan, folder / "plan.xlsx")
    spare = openpyxl.load_workbook(folder / "plan.xlsx")
    for title in set(spare.sheetnames) - {
        "Summary",
        "Hosts",
        "Assignments",
        "Unserved",
    }:  # the others take time to load
        del spare[title]
    spare.save(folder / "plan.xlsx")
    write_rollout_workbook(fleet, plan, roll_out(fleet, plan, start=dt.date(2027, 3, 1)), folder / "rollout.xlsx")
    return folder, fleet, plan


class Typist:
    """Types into a workbook, and remembers each text and comment with its cell."""

    def __init__(self, book, sheet):
        self.book, self.sheet = book, book[sheet]
        self.columns = {cell.value: cell.column for cell in self.sheet[1]}
        self.typed, self.said = [], []

    def put(self, row, column, value, sheet=None):
        target = self.sheet if sheet is None else self.book[sheet]
        cell = target.cell(row, self.columns[column] if isinstance(column, str) else column)
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"
        self.typed.append((f"{target.title}!{cell.coordinate}", value))

    def comment(self, row, column, text, sheet=None):
        target = self.sheet if sheet is None else self.book[sheet]
        target.cell(row, column).comment = Comment(text, "team")
        self.said.append(text)

    def new_column(self, heading, values, gap=0):
        at = self.sheet.max_column + 1 + gap
        for row, value in enumerate((heading, *values), start=1):
            if value is not None:
                self.put(row, at, value)

    def new_sheet(self, title, rows):
        self.book.create_sheet(title)
        for row, values in enumerate(rows, start=1):
            for column, value in enumerate(values, start=1):
                self.put(row, column, value, title)


def section(row):
    def habit(t):
        t.sheet.insert_rows(row)
        t.put(row, 1, "North region, done by Kim")

    return habit


def sorted_rows(t):
    rows = [[cell.value for cell in row] for row in t.sheet.iter_rows(min_row=2)]
    for number, values in enumerate(reversed(rows), start=2):
        for column, value in enumerate(values, start=1):
            t.sheet.cell(number, column).value = value
    t.put(2, "status", "done")
    t.put(2, "remarks", "sorted from the end")


def status(word, date=None):
    def habit(t):
        for row in (2, 4, 5):
            t.put(row, "status", word)
            if date is not None:
                t.put(row, "date", date)

    return habit


HABITS = {
    **{f"status {word}": status(word) for word in (
        "done", "DONE", "Done!", "erledigt", "terminé", "hecho", "fatto", "gereed", "hotovo", "готово", "完了", "x",
        "✓", "in progress", "läuft", "en cours", "on hold", "blockiert", "n/a", "halb fertig", "ask Kim",
    )},
    **{f"date {date}": status("done", date) for date in (
        dt.date(2027, 3, 3), dt.datetime(2027, 3, 3, 22, 15), "2027-03-03", "3.3.2027", "13/03/2027", "3 March 2027",
        "Mar 3, 2027", "03-Mar-27", "3 Mar. 27", "3/3", "3.3.", "3.3.27", "03/04/2027", "last Tuesday", "KW 12",
    )},
    "own column": lambda t: t.new_column("ticket", ["T-17", None, "T-18", 4711]),
    "own column behind a gap": lambda t: t.new_column("Telefon", ["0171 5550100", "0171 5550101"], gap=1),
    "comments": lambda t: (t.comment(3, 1, "gate code changed"), t.comment(4, 3, "ask the landlord"),
                           t.comment(1, 2, "see the list")),
    "own sheet": lambda t: t.new_sheet("Contacts", [["who", "phone"], ["Kim", "0171 5550102"], ["Lee", 12345]]),
    "note on another sheet": lambda t: (t.put(40, 10, "called on Monday", t.book.sheetnames[0]),
                                        t.comment(40, 11, "is this so?", t.book.sheetnames[0])),
    "section row": section(4),
    "sorted rows": sorted_rows,
    "host by hand": lambda t: (t.put(3, "host", "ROV 7"), t.put(3, "status", "done"), t.put(4, "host", "esk-1")),
    "id without zeros": lambda t: (t.put(3, 1, int(t.sheet.cell(3, 1).value)), t.put(3, "status", "done"),
                                   t.put(3, "initials", "km")),
    "unknown site below": lambda t: (t.put(t.sheet.max_row + 1, 1, "0099"), t.put(t.sheet.max_row, "host", "ESK-01"),
                                     t.put(t.sheet.max_row, "remarks", "opened in March")),
    "own columns of one name": lambda t: (t.new_column("Notiz", ["eins"]), t.new_column("Notiz", ["zwei"])),
    "remark without a site": lambda t: t.put(t.sheet.max_row + 2, "remarks", "all of these on Sunday please"),
}  # fmt: skip
STEPS = {
    "steps done": status("erledigt", "3.3.2027"),
    "own column on steps": lambda t: t.new_column("fitter", ["Ann", "Bo"]),
    "comment on a step": lambda t: t.comment(3, 2, "lift was broken"),
    "note on a run sheet": lambda t: t.put(60, 3, "key is at the desk", "Wave 1"),
}
CORPUS = [*(("plan", name) for name in HABITS), *(("rollout", name) for name in STEPS)]


FEW = ("status erledigt", "status halb fertig", "date 3.3.2027")
CHOSEN = [
    one for one in CORPUS if WHOLE or not one[1].startswith(("status", "date")) or one[1] in FEW
]  # the rest by CASTINGVOTE_SAMPLES=all


def test_the_corpus_has_forty_and_more():
    assert len(CORPUS) >= 40


@pytest.mark.parametrize(("kind", "name"), CHOSEN, ids=itertools.starmap("{}: {}".format, CHOSEN))
def test_each_cell_that_somebody_typed_is_in_the_merged_workbook_or_in_a_finding(books, tmp_path, kind, name):
    folder, fleet, plan = books
    book = openpyxl.load_workbook(folder / f"{kind}.xlsx")
    typist = Typist(book, "Assignments" if kind == "plan" else "Steps")
    (HABITS if kind == "plan" else STEPS)[name](typist)
    book.save(tmp_path / "back.xlsx")
    paths = [folder / "plan.xlsx", tmp_path / "back.xlsx"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    found = track(fleet, plan, whole, TODAY)
    found = write_progress_workbook(paths, copies, whole, found, tmp_path / "merged.xlsx")
    kept = openpyxl.load_workbook(tmp_path / "merged.xlsx")
    cells = [cell for sheet in kept.worksheets for row in sheet.iter_rows() for cell in row]
    told = "\n".join((*found.notes, *map(str, found.clashes)))
    values = {as_text(cell.value) for cell in cells}
    for where, value in typist.typed:
        assert as_text(value) in values or f'"{value}"' in told or str(value) in told, (where, value, told)
    comments = "\n".join(cell.comment.text for cell in cells if cell.comment is not None)
    for text in typist.said:
        assert text in comments or text in told
    # What counts as done is done by the fleet's own ids, whoever wrote the word.
    again = merged(resolved(read_copies([tmp_path / "merged.xlsx"]), fleet, plan))
    same = track(fleet, plan, again, TODAY)
    assert [dataclasses.replace(row, where="", stands_on="") for row in same.done] == [
        dataclasses.replace(row, where="", stands_on="") for row in found.done
    ]


def as_text(value):
    return str(value).removesuffix(" 00:00:00")


def returned(books, tmp_path, habit, sheet="Assignments", base="plan.xlsx"):
    """The notes and rows of progress after a habit."""
    folder, fleet, plan = books
    book = openpyxl.load_workbook(folder / base)
    habit(Typist(book, sheet))
    book.save(tmp_path / "back.xlsx")
    paths = [folder / "plan.xlsx", *([folder / base] if base != "plan.xlsx" else []), tmp_path / "back.xlsx"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    found = track(fleet, plan, whole, TODAY)
    return write_progress_workbook(paths, copies, whole, found, tmp_path / "merged.xlsx")


def test_a_copy_whose_status_column_is_called_otherwise_is_said_to_count_for_nothing(books, tmp_path):
    found = returned(books, tmp_path, lambda t: (t.put(1, "status", "Stand"), t.put(3, 13, "done")))
    assert any('the column "status" is missing' in note for note in found.notes)


def test_a_sheet_that_is_called_nearly_as_a_table_is_taken_over(books, tmp_path):
    def habit(t):
        t.put(3, "status", "done")
        t.new_sheet("assignments ", [["note"], ["from the wrong tab"]])

    found = returned(books, tmp_path, habit)
    assert [row.status for row in found.rows].count("done") == 1
    book = openpyxl.load_workbook(tmp_path / "merged.xlsx")
    texts = {value for sheet in book for row in sheet.iter_rows(values_only=True) for value in row}
    assert "from the wrong tab" in texts or any("from the wrong tab" in note for note in found.notes)


def test_a_status_that_the_plan_put_there_is_no_loss(books, tmp_path):
    def habit(t):
        for row in range(2, t.sheet.max_row + 1):
            t.put(row, "status", "blokkeret")

    found = returned(books, tmp_path, habit, "Steps", "rollout.xlsx")
    assert not any('"open" is not in the merged workbook' in note for note in found.notes)
    assert {row.status for row in found.rows if row.to_do} == {"blocked"}


def test_a_date_as_spreadsheets_show_it_is_read_and_one_without_a_year_names_its_cell(books, tmp_path):
    found = returned(books, tmp_path, lambda t: (status("done", "03-Mar-27")(t), t.put(3, "date", "3/3")))
    assert dt.date(2027, 3, 3) in {row.date for row in found.done}
    (note,) = [note for note in found.notes if '"3/3"' in note]
    assert "back.xlsx" in note
    assert "Assignments" in note
    assert "3" in note


def test_a_table_is_told_by_its_headings_in_any_case_and_under_any_title(books, tmp_path):
    def habit(t):
        t.put(1, "status", "STATUS ")
        t.put(3, "status", "done")
        t.sheet.title = "Region North"

    found = returned(books, tmp_path, habit)
    assert [row.status for row in found.rows].count("done") == 1
    assert any('the sheet "Region North" is taken for the sheet Assignments' in note for note in found.notes)


def test_what_is_not_read_is_said_colours_and_formulas_that_nobody_saved(books, tmp_path):
    def habit(t):
        t.sheet.cell(9, 1).fill = PatternFill("solid", fgColor="FF92D050")
        t.sheet.cell(10, t.columns["status"]).value = '=IF(1=1,"done","open")'
        t.sheet.cell(10, t.columns["date"]).value = "=TODAY()"

    notes = "\n".join(returned(books, tmp_path, habit).notes)
    assert "back.xlsx Assignments!A9: the row has a colour, which is not read" in notes
    assert "a formula without a saved result is read as blank" in notes
    assert "Broken" not in notes


def test_moments_at_midnight_are_no_difference(books, tmp_path):
    def habit(t):
        for name in ("starts", "ends"):
            t.sheet.cell(2, t.columns[name]).value = dt.datetime(2027, 3, 8)

    notes = returned(books, tmp_path, habit, "Steps", "rollout.xlsx").notes
    assert not [note for note in notes if "00:00:00" in note]


def test_a_copy_as_text_of_another_country_counts_and_changes_no_figure(books, tmp_path):
    folder, fleet, plan = books
    rows = list(openpyxl.load_workbook(folder / "plan.xlsx")["Assignments"].iter_rows(values_only=True))
    status, rtt = rows[0].index("status"), rows[0].index("RTT ms")
    rows[3] = (*rows[3][:status], "erledigt", *rows[3][status + 1 :])
    rows = [[str(v).replace(".", ",") if n == rtt and k else v for n, v in enumerate(r)] for k, r in enumerate(rows)]
    with (tmp_path / "back.csv").open("w", encoding="cp1252", newline="") as file:
        csv.writer(file, delimiter=";").writerows([*rows, ["", "Straße, müde"]])
    paths = [folder / "plan.xlsx", tmp_path / "back.csv"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    found = write_progress_workbook(paths, copies, whole, track(fleet, plan, whole, TODAY), tmp_path / "merged.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "merged.xlsx")["Assignments"]
    assert (sheet.cell(4, status + 1).value, sheet.cell(4, rtt + 1).value) == ("done", 9)
    assert any("Straße, müde" in note for note in found.notes)


def test_a_title_that_a_team_puts_above_the_table_of_a_text_file_is_told(books, tmp_path):
    """Of a copy as .csv it was lost, and so was a short comment whose text was within another one's."""
    folder, fleet, plan = books
    rows = list(openpyxl.load_workbook(folder / "plan.xlsx")["Assignments"].iter_rows(values_only=True))
    with (tmp_path / "back.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([["Team North, as of Friday"], [], *rows])
    copies = resolved(read_copies([folder / "plan.xlsx", tmp_path / "back.csv"]), fleet, plan)
    assert any('"Team North, as of Friday" stands above the headings' in note for note in merged(copies).notes)


def test_a_comment_that_is_part_of_another_is_kept(books, tmp_path):
    folder, fleet, plan = books
    paths = []
    for name, text in (("one", "call Kim first"), ("two", "Kim")):
        book = openpyxl.load_workbook(folder / "plan.xlsx")
        Typist(book, "Assignments").comment(3, 3, text)
        book["Assignments"].title = "Region North" if name == "two" else "Assignments"
        paths.append(tmp_path / f"{name}.xlsx")
        book.save(paths[-1])
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    write_progress_workbook(paths, copies, whole, track(fleet, plan, whole, TODAY), tmp_path / "merged.xlsx")
    assert openpyxl.load_workbook(tmp_path / "merged.xlsx")["Assignments"]["C3"].comment.text == "call Kim first\nKim"


def test_merged_cells_of_one_copy_take_what_another_says_of_their_rows(books, tmp_path):
    """They ended as a fault of ours: the covered cells could not be written."""
    folder, fleet, plan = books
    for name in ("one", "two"):
        book = openpyxl.load_workbook(folder / "rollout.xlsx")
        typist = Typist(book, "Steps")
        typist.put(2 if name == "one" else 3, "initials", name)
        letter = typist.sheet.cell(1, typist.columns["initials"]).column_letter
        if name == "one":
            typist.sheet.merge_cells(f"{letter}2:{letter}4")
            book["Overview"].merge_cells("J40:K41")
        else:
            book["Overview"]["K41"] = "called on Monday"
        book.save(tmp_path / f"{name}.xlsx")
    paths = [tmp_path / "one.xlsx", tmp_path / "two.xlsx"]
    copies = resolved(read_copies(paths), fleet, plan)
    whole = merged(copies)
    write_progress_workbook(paths, copies, whole, track(fleet, plan, whole, TODAY), tmp_path / "merged.xlsx")
    book = openpyxl.load_workbook(tmp_path / "merged.xlsx")
    assert [book["Steps"][f"{letter}{row}"].value for row in (2, 3, 4)] == ["one", "one", "one"]
    assert any("another copy says two" in str(cell.value) for cell in book["Steps"][3])
    assert book["Overview"]["K41"].value == "called on Monday"


WORDS = {
    "done": "✅ | ✔️ | 100 % | Erl. | i.O. | réalisé | Effettuato. | cut over | TRUE",
    "planned": "in Bearbeitung | in uitvoering | läuft noch | half done | 50%",
    "open": "not done | nicht erledigt | pas fait | no hecho | niet klaar | 0 %",
    None: "done, but slow | rolled back | cancelled | ?",
}


@pytest.mark.parametrize(("status", "words"), WORDS.items(), ids=map(str, WORDS))
def test_words_for_a_status(status, words):
    assert {word: status_of(word, {}) for word in words.split(" | ")} == dict.fromkeys(words.split(" | "), status)


def test_slipped_waves_bear_the_day_on_which_they_begin():
    rows = [{"wave": Cell(1, ""), "status": Cell("open", ""), "starts": Cell(dt.datetime(2027, 3, day), "")}
            for day in (7, 8)]  # fmt: skip
    assert slipped(rows, (), dt.date(2027, 3, 10)) == ("wave 1 of 2027-03-07: 2 steps of 2 not done, 2 days late",)


def test_a_site_that_the_plan_workbook_has_as_done_slips_in_no_wave():
    """It was "not done" in a rollout workbook that nobody had filled in."""
    first = {"wave": Cell(1, ""), "status": Cell("open", ""), "starts": Cell(dt.datetime(2027, 3, 7), "")}
    steps = [
        {**first, "site": Cell("S1", ""), "kind": Cell("attach", "")},
        {**first, "site": Cell("S1", ""), "kind": Cell("site_release", "")},
        {**first, "site": Cell("S2", ""), "kind": Cell("move", "")},
    ]
    late = dt.date(2027, 3, 9)
    assert slipped(steps, {"S1"}, late) == ("wave 1 of 2027-03-07: 2 steps of 3 not done, 2 days late",)
    assert slipped(steps[::2], {"S1", "S2"}, late) == ()


def test_the_planned_curve_counts_the_sites_that_progress_counts():
    def step(site, kind, day):
        return {"site": Cell(site, ""), "kind": Cell(kind, ""), "starts": Cell(dt.datetime(2027, 3, day, 22), "")}

    steps = [step("1", "attach", 7), step("1", "site_release", 14), step("2", "site_release", 7), step("3", "move", 8)]
    assert planned_on(steps) == {dt.date(2027, 3, 7): 1, dt.date(2027, 3, 8): 1}


def test_a_rollout_of_another_plan_is_not_taken_for_this_one():
    """Its steps were counted: the fleet then named hosts that only the other plan has."""
    mine = Copy("plan.xlsx", (), {"Summary!A4": "Plan", "Summary!B4": "Plan 8 of fleet a b, hash 0123456789ab.",
                                  "Summary!A5": "Hash of the plan", "Summary!B5": "0123456789abcdef"})  # fmt: skip
    same = Copy("rollout.xlsx", (), {"Overview!A19": "Plan 8 of fleet a b, hash 0123456789ab."})
    other = Copy("old.xlsx", (), {"Overview!A19": "Plan 7 of fleet a b, hash ba9876543210."})
    assert of_other_plans([mine, same]) == ()
    (told,) = of_other_plans([mine, same, other])
    assert told.startswith("old.xlsx is a copy of another plan (number 7, hash ba9876543210) than plan.xlsx")
    assert doubts([mine, same, other], merged([mine, same])) == (told,)


def test_a_plan_that_starts_from_copies_says_what_in_them_is_doubtful(books, tmp_path):
    """With --progress an unknown status counted as open without a word, and so did all that two people filled."""
    folder, fleet, plan = books
    for file, word in (("one.xlsx", "halb fertig"), ("two.xlsx", "done")):
        book = openpyxl.load_workbook(folder / "plan.xlsx")
        status(word)(Typist(book, "Assignments"))
        book.save(tmp_path / file)
    copies = resolved(read_copies([folder / "plan.xlsx", tmp_path / "one.xlsx", tmp_path / "two.xlsx"]), fleet, plan)
    told = doubts(copies, merged(copies))
    assert told[0] == "Filled in differently in two copies: 3 cells. castingvote progress lists them."
    assert 'status "halb fertig" is none of' in told[1]
    habit = Typist(book := openpyxl.load_workbook(folder / "plan.xlsx"), "Assignments")
    habit.sheet.cell(3, habit.columns["status"]).value = '=IF(1=1,"done","open")'
    book.save(tmp_path / "one.xlsx")
    copies = resolved(read_copies([tmp_path / "one.xlsx"]), fleet, plan)
    assert doubts(copies, merged(copies)) == ("1 note on how the copies were read. castingvote progress lists them.",)


def test_of_a_sheet_with_a_word_in_its_last_row_only_cells_that_are_there_are_looked_at():
    """A stray cell there took minutes: a cell was made for each address above it."""
    sheet = openpyxl.Workbook().active
    sheet.cell(1_048_576, 16_384).value = "x end"
    sheet.cell(2, 3).value = "first"
    assert [cell.value for cell in cells_of(sheet)] == ["first", "x end"]


def test_a_new_site_goes_below_the_table_whatever_stands_far_below(books, tmp_path):
    returned(books, tmp_path, lambda t: (t.put(900, 2, "x end"), t.put(15, 1, "0099"), t.put(15, "remarks", "new")))
    assert openpyxl.load_workbook(tmp_path / "merged.xlsx")["Assignments"].cell(14, 1).value == "0099"


@pytest.mark.parametrize("named", ["steps", "Steps", "north"])
def test_a_table_that_is_first_in_a_text_file_or_under_another_title_is_merged_under_its_own_name(
    books, tmp_path, named
):
    """A second copy's sheet stood for it with each heading twice, and could not be read again; or none stood there."""
    folder, fleet, plan = books
    book = openpyxl.load_workbook(folder / "rollout.xlsx")
    first = Typist(book, "Steps")
    first.put(2, "status", "erledigt")
    with (tmp_path / f"{named}.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([["" if v is None else v for v in row] for row in first.sheet.values])
    book = openpyxl.load_workbook(folder / "rollout.xlsx")
    second = Typist(book, "Steps")
    second.put(3, "status", "done")
    second.sheet.delete_rows(2)
    book.save(tmp_path / "two.xlsx")
    book = openpyxl.load_workbook(folder / "rollout.xlsx")
    third = Typist(book, "Steps")
    third.put(4, "status", "blocked")
    third.sheet.tables.clear()
    third.sheet.insert_rows(1, 2)
    third.put(1, 1, "Team South")
    third.sheet.title = "Region South"
    book.save(tmp_path / "three.xlsx")
    for order in ((f"{named}.csv", "two.xlsx", "three.xlsx"), ("three.xlsx", f"{named}.csv", "two.xlsx")):
        paths = [folder / "plan.xlsx", *(tmp_path / name for name in order)]
        copies = resolved(read_copies(paths), fleet, plan)
        whole = merged(copies)
        found = track(fleet, plan, whole, TODAY)
        write_progress_workbook(paths, copies, whole, found, tmp_path / "merged.xlsx")
        again = merged(resolved(read_copies([tmp_path / "merged.xlsx"]), fleet, plan))
        said = [{row["step"].value: row["status"].value for row in one.steps} for one in (whole, again)]
        assert said[0] == said[1]
        assert sorted(said[0].values())[:3] == ["blocked", "done", "done"]
