"""Five workbooks of invented trades, under names that the planner does not know, lead to the fleet that they tell."""

import random

import pytest

from planner import columns, plan
from planner.intake.names import named, sheet_of
from tests.adopt.trades import BOOKS, write
from tests.adopt.truth import accepted, as_json, differences, questions


@pytest.fixture(scope="module")
def books():
    return {make.__name__: make(number=80) for make in BOOKS}


@pytest.mark.parametrize("name", [make.__name__ for make in BOOKS])
def test_the_best_guesses_lead_to_the_true_fleet(books, name, tmp_path):
    book = books[name]
    inspection, result = accepted(write(book, tmp_path), tmp_path)
    assert result.exit_code == 0, result.output
    assert differences(inspection.fleet, book.world, random.Random(50)) == []
    assert "Next: castingvote plan" in result.output


@pytest.mark.parametrize("name", [make.__name__ for make in BOOKS])
def test_no_sheet_and_no_setting_has_a_known_name(books, name):
    for title, rows in books[name].sheets.items():
        assert sheet_of(title) is None
        for row in rows:
            assert not any(isinstance(cell, str) and named(cell, columns.SETTINGS) for cell in row[:1])


@pytest.mark.parametrize("name", [make.__name__ for make in BOOKS])
def test_a_person_answers_six_questions_at_most(books, name, tmp_path):
    asked = questions(write(books[name], tmp_path))
    assert len(asked) <= 6
    assert all(question.choices or question.free for question in asked)


def test_six_hundred_branches_are_adopted_truly(tmp_path):
    book = BOOKS[0]()
    inspection, result = accepted(write(book, tmp_path), tmp_path)
    assert result.exit_code == 0
    assert differences(inspection.fleet, book.world, random.Random(600)) == []


def test_an_adopted_fleet_is_planned(books, tmp_path):
    inspection, _ = accepted(write(books["masts"], tmp_path), tmp_path)
    made = plan(inspection.fleet, time_limit=5)
    assert made.host_list
    assert inspection.fleet.policy.cluster_cap == 64
    assert inspection.fleet.policy.latency_budget_ms == 38
    assert inspection.fleet.policy.reserve_percent == 15


def test_programs_get_guesses_reasons_and_questions(books, tmp_path):
    found = as_json(write(books["pharmacies"], tmp_path))
    assert found["sites"] == len(books["pharmacies"].world.planned)
    ids = next(c for g in found["guesses"] if g["sheet"] == "Sites" for c in g["columns"] if c["column"] == "site")
    assert ids["header"].endswith("Branch No.")
    assert 0.5 < ids["likeness"] <= 1
    assert "RTT matrix" in ids["why"]
    assert [q["key"] for q in found["questions"]] == ["Sites.status", "Latency.order"]
    assert all(q["answer"] is None for q in found["questions"])
