"""Faults of our own: exit code 3, one line that says how to get the traceback, and nothing half written."""

import pytest

from planner.errors import SolverError


@pytest.fixture
def broken(monkeypatch):
    """Make the solving part of `castingvote plan` fail."""

    def break_it(error):
        def fail(*_arguments, **_options):
            raise error

        monkeypatch.setattr("planner.sizing.best_plan.build_problem", fail)

    return break_it


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ZeroDivisionError("division by zero"), "ZeroDivisionError: division by zero"),
        (SolverError("the solver ended with: Unbounded"), "the solver ended with: Unbounded"),
        (ValueError("two\nlines \x1b[31m"), "ValueError: two lines \\x1b[31m"),
        (MemoryError(), "MemoryError"),
    ],
)
def test_a_fault_is_one_line_that_tells_how_to_get_the_traceback(call, tmp_path, twelve_sites, broken, error, words):
    (tmp_path / "plan.xlsx").write_text("old")
    broken(error)
    done = call("plan", twelve_sites, "--force", "-o", "plan.xlsx", "--json", "-")
    assert done.code == 3
    assert done.out == ""
    assert done.err.count("\n") == 1
    assert words in done.err
    assert "Run again with -v" in done.err
    assert "Traceback (most recent call last)" not in done.err
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("plan.xlsx", "old")]


def test_the_traceback_is_printed_on_request(call, twelve_sites, broken, monkeypatch):
    monkeypatch.setenv("CASTINGVOTE_TRACEBACK", "1")
    broken(ZeroDivisionError("division by zero"))
    done = call("plan", twelve_sites)
    assert done.code == 3
    assert "Traceback (most recent call last)" in done.err
    assert "in fail" in done.err
