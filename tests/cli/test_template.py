"""`castingvote template`: an empty workbook that never takes the place of a full one by mistake."""

import openpyxl
import pytest

FILLED = {
    "Sites": {"site": "0042", "release": "8.10"},
    "Hubs": {"hub": "ESK", "host_release": "8.10"},
    "Latency": {"site": "0042", "hub": "ESK", "rtt_ms": 18.4},
}


def fill_in(path):
    book = openpyxl.load_workbook(path)
    for title, values in FILLED.items():
        headings = [cell.value for cell in book[title][1]]
        for heading, value in values.items():
            book[title].cell(2, headings.index(heading) + 1).value = value
    policy = book["Policy"]
    (row,) = (row for row in policy.iter_rows() if row[0].value == "latency_budget_ms")
    row[1].value = 40
    book.save(path)


def test_the_filled_in_template_plans(call, tmp_path):
    done = call("template", "mine.xlsx")
    assert done.code == 0
    assert "castingvote plan mine.xlsx" in done.out
    fill_in(tmp_path / "mine.xlsx")
    assert "1 site, 1 hub" in call("check", "mine.xlsx").out
    done = call("plan", "mine.xlsx", "-o", "plan.xlsx")
    assert done.code == 0
    assert "1 tie-breaker host at 1 hub serves 1 of 1 site" in done.out


def test_the_empty_template_is_not_planned(call):
    assert call("template", "-q").out == ""
    done = call("plan", "fleet.xlsx")
    assert done.code == 2
    assert "The sheet has no rows" in done.err


def test_a_file_that_exists_is_replaced_only_by_force(call, tmp_path):
    path = tmp_path / "fleet.xlsx"
    path.write_text("my fleet")
    done = call("template")
    assert done.code == 2
    assert "add --force" in done.err
    assert path.read_text() == "my fleet"
    assert call("template", "--force").code == 0
    assert "Sites" in openpyxl.load_workbook(path).sheetnames


def test_force_keeps_a_copy_of_a_fleet_that_was_filled_in(call, tmp_path):
    path, kept = tmp_path / "fleet.xlsx", tmp_path / "fleet.kept-1.xlsx"
    assert call("template", "-q").code == 0
    fill_in(path)
    before = path.read_bytes()
    done = call("template", "--force")
    assert "Copy of the old fleet.xlsx: fleet.kept-1.xlsx" in done.err
    assert kept.read_bytes() == before
    assert openpyxl.load_workbook(path)["Sites"]["A2"].value is None


@pytest.mark.parametrize("name", ["fleet.csv", "nowhere/fleet.xlsx"])
def test_where_no_workbook_can_be(call, tmp_path, name):
    done = call("template", name)
    assert done.code == 2
    assert done.out == ""
    assert not list(tmp_path.iterdir())
