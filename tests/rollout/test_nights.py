"""Windows in local time: weekdays, midnight, daylight saving and freezes."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from planner.rollout.nights import Clock, Nights, moment


def openings(window, day, timezone="Europe/London", frozen=()):
    """Return the openings of the night that begins at noon of ``day``, as UTC texts."""
    nights = Nights(Clock(timezone, window, frozen), dt.date(2027, 1, 1))
    found = nights.of(dt.date.fromisoformat(day).toordinal())
    return [f"{moment(o.start, 'UTC'):%m-%dT%H:%M} {moment(o.end, 'UTC'):%m-%dT%H:%M}" for o in found]


@pytest.mark.parametrize(
    ("window", "day", "expected"),
    [
        ("Sun 22:00-04:00", "2027-01-10", ["01-10T22:00 01-11T04:00"]),
        ("Sun 22:00-04:00", "2027-01-11", []),
        ("Mon 01:00-05:00", "2027-01-10", ["01-11T01:00 01-11T05:00"]),  # the small hours belong to the night before
        ("Sun 22:00-23:00; Mon 01:00-02:00", "2027-01-10", ["01-10T22:00 01-10T23:00", "01-11T01:00 01-11T02:00"]),
        ("", "2027-01-10", ["01-10T12:00 01-11T12:00"]),
        ("Sun 22:00-04:00", "2026-12-27", []),  # before the first day
    ],
)
def test_windows(window, day, expected):
    assert openings(window, day) == expected


@pytest.mark.parametrize(
    ("window", "day", "expected"),
    [
        # 2027-03-28 01:00 GMT: clocks go to 02:00 BST (rules of the EU and the UK since 1996; IANA tz database)
        ("Sat 22:00-04:00", "2027-03-27", ["03-27T22:00 03-28T03:00"]),  # five hours long
        ("Sun 01:30-04:00", "2027-03-27", ["03-28T01:00 03-28T03:00"]),  # its start does not exist
        ("Sat 23:00-01:30", "2027-03-27", ["03-27T23:00 03-28T01:00"]),  # its end does not exist
        ("Sun 01:10-01:50", "2027-03-27", []),  # all of it does not exist
        # 2027-10-31 02:00 BST: clocks go back to 01:00 GMT
        ("Sat 22:00-04:00", "2027-10-30", ["10-30T21:00 10-31T04:00"]),  # seven hours
        ("Sun 01:30-04:00", "2027-10-30", ["10-31T01:30 10-31T04:00"]),  # starts at the second 01:30
        ("Sat 23:00-01:30", "2027-10-30", ["10-30T22:00 10-31T00:30"]),  # ends at the first 01:30
        ("Sun 01:10-01:50", "2027-10-30", []),  # no stretch that both readings allow
    ],
)
def test_daylight_saving(window, day, expected):
    assert openings(window, day) == expected


@pytest.mark.parametrize("timezone", ["Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu"])
def test_no_minute_of_a_year_is_open_that_the_clock_on_the_wall_calls_closed(timezone):
    nights = Nights(Clock(timezone, "Sat 23:30-03:15; Sun 01:45-02:30"), dt.date(2027, 1, 1))
    minutes = 0
    for day in range(dt.date(2027, 1, 1).toordinal(), dt.date(2028, 1, 1).toordinal()):
        for opening in nights.of(day):
            for at in range(opening.start, opening.end):
                local = dt.datetime.fromtimestamp(at * 60, ZoneInfo(timezone))
                clock = local.weekday(), local.hour * 60 + local.minute
                assert clock >= (5, 23 * 60 + 30) or clock < (6, 3 * 60 + 15) if clock[0] >= 5 else False
                minutes += 1
    assert minutes > 52 * 3 * 60


def test_freezes_cut_the_night_at_local_midnight():
    frozen = ((dt.date(2027, 1, 11), dt.date(2027, 1, 12)),)
    assert openings("Sun 22:00-04:00", "2027-01-10", "Europe/Berlin", frozen) == ["01-10T21:00 01-10T23:00"]
    assert openings("", "2027-01-11", "UTC", frozen) == []
    assert openings("", "2027-01-12", "UTC", frozen) == ["01-13T00:00 01-13T12:00"]
