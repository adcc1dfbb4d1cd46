"""Maintenance windows and how they are written."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.windows import DAY_MINUTES, DAYS, Window, parse_windows


@pytest.mark.parametrize(
    ("text", "windows"),
    [
        ("Sun 22:00-04:00", [Window(6, 22 * 60, 6 * 60)]),
        ("sunday 22:00–4:00", [Window(6, 22 * 60, 6 * 60)]),
        ("Tues. 01:00 to 05:30 ;", [Window(1, 60, 270)]),
        ("Mon 00:00-24:00", [Window(0, 0, DAY_MINUTES)]),
        ("Wed 20:00-24:00; Thurs 00:00-02:00", [Window(2, 1200, 240), Window(3, 0, 120)]),
    ],
)
def test_windows_that_are_understood(text, windows):
    assert list(parse_windows(text)) == windows


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (" ; ", "no window"),
        ("22:00-04:00", "not a day"),
        ("Su 22:00-04:00", "no English day"),
        ("Sun 22:00", "not a day"),
        ("Sun 25:00-26:00", "no time of day"),
        ("Sun 22:60-23:00", "no time of day"),
        ("Sun 24:00-04:00", "cannot be a start"),
        ("Sun 04:00-04:00", "same time"),
        ("Sun, Mon 04:00-05:00", "not a day"),
    ],
)
def test_windows_that_are_refused_say_why(text, reason):
    with pytest.raises(ValueError, match=reason):
        parse_windows(text)


@given(st.sampled_from(range(len(DAYS))), st.integers(0, DAY_MINUTES - 1), st.integers(1, DAY_MINUTES - 1))
@settings(max_examples=100, deadline=None)
def test_a_window_reads_as_it_is_written(day, start, minutes):
    window = Window(day, start, minutes)
    assert parse_windows(str(window)) == (window,)
