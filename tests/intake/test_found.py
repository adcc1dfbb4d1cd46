"""Findings are read by people: one line for each cause, with a count and up to three cells."""

from planner.fleet import Finding
from planner.intake import inspect_fleet
from planner.intake.found import grouped, repairs_in_words


def zeros_lost(tmp_path, sites):
    folder = tmp_path / "fleet"
    folder.mkdir()
    (folder / "Sites.csv").write_text("site\n" + "".join(f"{k:04}\n" for k in range(1, sites + 1)))
    (folder / "Hubs.csv").write_text("hub\nESK\n")
    (folder / "Latency.csv").write_text("site,hub,rtt_ms\n" + "".join(f"{k},ESK,5\n" for k in range(1, sites + 1)))
    (folder / "Policy.csv").write_text("setting,value\nlatency_budget_ms,40\n")
    return folder


def test_twenty_five_ids_are_one_line_with_a_count_and_three_cells(tmp_path):
    found = inspect_fleet(zeros_lost(tmp_path, 25)).findings
    (line,) = [group.words for group in grouped(found) if group.first.code == "id_repaired"]
    assert "25 ids lost their leading zeros" in line
    assert "(A2, A3, A4 and 22 more)" in line


def test_every_finding_is_listed_for_those_who_ask(tmp_path):
    folder = zeros_lost(tmp_path, 25)
    assert sum(f.code == "id_repaired" for f in inspect_fleet(folder).findings) == 21  # the last says how many follow
    every = [f for f in inspect_fleet(folder, every=True).findings if f.code == "id_repaired"]
    assert len(every) == 25


def test_what_may_change_the_plan_comes_before_repairs():
    findings = [
        Finding("info", "column_unknown", "Sites!H1", "x"),
        Finding("warning", "id_repaired", "Latency!A2", "x"),
        Finding("warning", "site_unknown", "Latency!A3", "x"),
        Finding("error", "site_repeated", "Sites!A3", "x"),
    ]
    order = [g.first.code for g in grouped(findings)]
    assert order == [
        "site_repeated",
        "site_unknown",
        "id_repaired",
        "column_unknown",
    ]


def test_repairs_are_one_line_for_a_plan(tmp_path):
    words = repairs_in_words(inspect_fleet(zeros_lost(tmp_path, 3)).findings)
    assert words.startswith("Repairs of 1 kind")
    assert repairs_in_words([]) == ""


def test_notes_of_other_making_are_never_joined():
    notes = [Finding("info", "scenario_note", "a", "one"), Finding("info", "scenario_note", "a", "two")]
    assert [g.words for g in grouped(notes)] == [str(note) for note in notes]


def test_findings_without_places_are_never_counted_with_empty_places():
    notes = [Finding("error", "sheet_missing", "", f"The sheet {name} is missing.") for name in ("Hosts", "Summary")]
    assert [g.words for g in grouped(notes)] == [str(note) for note in notes]


def test_formulas_of_several_columns_are_not_told_as_those_of_the_first():
    """Cells of site and host were said to be two of site."""
    cells = (("Assignments!A5", "site"), ("Assignments!F3", "host"))
    found = [
        Finding("error", "formula_unsaved", where, f"{column} holds a formula.", "Open the workbook.", "back.xlsx")
        for where, column in cells
    ]
    (line,) = [group.words for group in grouped(found)]
    assert line.startswith("back.xlsx Assignments: 2 cells hold formulas whose results were never saved (A5, F3).")
    assert line.endswith("Open the workbook.")
