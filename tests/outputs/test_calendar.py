"""The rollout as iCalendar, read back by icalendar and by recurring-ical-events. Numbers: RFC 5545."""

import dataclasses
import datetime as dt
import re
from zoneinfo import ZoneInfo

import icalendar
import pytest
import recurring_ical_events
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.outputs import rollout_to_calendar, write_calendar
from planner.outputs.earlier_calendar import read_earlier_calendar
from planner.schedule import Rollout
from tests.outputs.rollouts import NEW_YORK, small_rollout, step, wave

NOW = dt.datetime(2027, 1, 2, 3, 4, tzinfo=dt.UTC)


def written(rollout, now=NOW, earlier=None):
    return rollout_to_calendar(rollout, written_at=now, earlier=earlier)


def read(data):
    return icalendar.Calendar.from_ical(data)


def test_one_event_a_wave_at_its_moments_in_the_right_zone():
    rollout = small_rollout()
    events = read(written(rollout)).walk("VEVENT")
    assert [(e["DTSTART"].dt, e["DTEND"].dt) for e in events] == [(w.starts, w.ends) for w in rollout.waves]
    assert {e["DTSTART"].params["TZID"] for e in events} == {"America/New_York"}
    assert "wave 1 of 2 (pilot)" in events[0]["SUMMARY"]


def test_another_reader_finds_the_waves_on_their_days():
    """recurring-ical-events, which works the moments out from the calendar's own VTIMEZONE."""
    query = recurring_ical_events.of(read(written(small_rollout())))
    (found,) = query.at((2027, 3, 13))
    assert found["DTSTART"].dt.astimezone(dt.UTC) == dt.datetime(2027, 3, 14, 4, tzinfo=dt.UTC)
    assert not query.at((2027, 3, 15))


def test_what_a_calendar_and_an_event_must_have():
    """ICS-4, ICS-5: RFC 5545, sections 3.6 and 3.6.1."""
    calendar = read(written(small_rollout()))
    assert calendar["VERSION"] == "2.0"
    assert calendar["PRODID"]
    for event in calendar.walk("VEVENT"):
        for name in ("UID", "DTSTAMP", "DTSTART", "DTEND"):
            assert not isinstance(event[name], list)
        assert "DURATION" not in event
        assert event["DTSTAMP"].dt == NOW


def test_each_zone_that_is_used_is_described_once():
    """ICS-7: RFC 5545, sections 3.2.19 and 3.6.5."""
    data = written(small_rollout())
    used = set(re.findall(rb"TZID=([^:;]+)", data))
    zones = read(data).walk("VTIMEZONE")
    assert sorted(str(zone["TZID"]).encode() for zone in zones) == sorted(used)
    for zone in zones:
        assert zone.subcomponents
        for part in zone.subcomponents:
            assert all(name in part for name in ("DTSTART", "TZOFFSETFROM", "TZOFFSETTO"))


def test_onsets_of_new_york_are_those_of_the_standard():
    """ICS-8: RFC 5545, section 3.6.5: 2007-03-11 02:00 to -0400 and 2007-11-04 02:00 to -0500."""
    starts = dt.datetime(2007, 6, 2, 22, tzinfo=NEW_YORK)
    (zone,) = read(written(Rollout((wave(1, step(1, starts)),), 1, ""))).walk("VTIMEZONE")
    onsets = {}
    for part in zone.subcomponents:
        more = part.get("RDATE", [])
        dates = [d.dt for value in (more if isinstance(more, list) else [more]) for d in value.dts]
        for onset in (part["DTSTART"].dt, *dates):
            onsets[onset] = part["TZOFFSETTO"].td
    assert onsets[dt.datetime(2007, 3, 11, 2)] == dt.timedelta(hours=-4)
    assert onsets[dt.datetime(2007, 11, 4, 2)] == dt.timedelta(hours=-5)


def test_time_that_comes_twice_is_written_in_utc():
    """ICS-8: of 2007-11-04 01:30 a local time means the first, 05:30Z; the second is 06:30Z."""
    for fold, hour in ((0, 5), (1, 6)):
        starts = dt.datetime(2007, 11, 4, 1, 30, fold=fold, tzinfo=NEW_YORK)
        data = written(Rollout((wave(1, step(1, starts)),), 1, ""))
        (event,) = read(data).walk("VEVENT")
        assert event["DTSTART"].dt.astimezone(dt.UTC) == dt.datetime(2007, 11, 4, hour, 30, tzinfo=dt.UTC)
        assert (b"DTSTART:20071104T063000Z" in data) == bool(fold)


def test_texts_are_escaped_lines_are_folded_and_nothing_is_lost():
    """ICS-1, ICS-3: RFC 5545, sections 3.1 and 3.3.11."""
    name = "Ä" * 60 + ", a;b\\c\nnew"
    starts = dt.datetime(2027, 6, 1, 22, tzinfo=NEW_YORK)
    data = written(Rollout((wave(1, step(1, starts, site=name, hub="E,S;K\\1")),), 1, ""))
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", data)
    for line in data.split(b"\r\n"):
        line.decode()  # no character is split by a fold
    (event,) = read(data).walk("VEVENT")
    assert f"move site {name} from ESK-01" in event["DESCRIPTION"]
    assert event["LOCATION"] == "E,S;K\\1"
    flat = data.replace(b"\r\n ", b"")
    assert rb"\, a\;b\\c\nnew" in flat


@given(st.text(min_size=1, max_size=40))
@settings(max_examples=40, deadline=None)
def test_any_site_id_leaves_a_calendar_that_reads(site):
    starts = dt.datetime(2027, 6, 1, 22, tzinfo=NEW_YORK)
    (event,) = read(written(Rollout((wave(1, step(1, starts, site=site)),), 1, ""))).walk("VEVENT")
    assert event["DTSTART"].dt == starts


def test_a_later_export_replaces_an_earlier_one():
    first = read(written(small_rollout())).walk("VEVENT")
    later = read(written(small_rollout(), now=NOW + dt.timedelta(days=1))).walk("VEVENT")
    assert [e["UID"] for e in first] == [e["UID"] for e in later]
    assert all(a["SEQUENCE"] < b["SEQUENCE"] for a, b in zip(first, later, strict=True))


def test_another_fleet_and_another_plan_have_events_of_their_own():
    rollouts = (small_rollout(), of(number=2), of(fleet="clinics"))
    assert len({str(e["UID"]) for rollout in rollouts for e in read(written(rollout)).walk("VEVENT")}) == 6


def of(number=1, fleet="", waves=None):
    kept = small_rollout().waves[:waves]
    return dataclasses.replace(small_rollout(), waves=kept, plan_number=number, fleet_id=fleet)


def earlier(data, tmp_path):
    (tmp_path / "old.ics").write_bytes(data)
    return read_earlier_calendar(tmp_path / "old.ics")


def events(data):
    return {str(event["UID"]): event for event in read(data).walk("VEVENT")}


@pytest.mark.parametrize(("number", "waves", "cancelled"), [(1, 1, 1), (2, 2, 2), (2, 0, 2), (1, 2, 0)])
def test_waves_to_come_that_are_dropped_are_cancelled(tmp_path, number, waves, cancelled):
    old = written(of())
    new = written(of(number, waves=waves), NOW, earlier(old, tmp_path))
    before, after = events(old), events(new)
    dropped = {uid for uid, event in after.items() if event["STATUS"] == "CANCELLED"}
    assert len(dropped) == cancelled
    assert dropped == set(before) - set(events(written(of(number, waves=waves))))
    for uid in set(before) & set(after):
        assert after[uid]["SEQUENCE"] > before[uid]["SEQUENCE"]
        assert after[uid]["DTSTART"].dt == before[uid]["DTSTART"].dt


def test_what_is_past_is_not_cancelled_and_what_is_cancelled_stays_so(tmp_path):
    old = earlier(written(of()), tmp_path)
    first = small_rollout().waves[0].starts
    after = list(events(written(of(2, waves=0), first, old)).values())
    assert [event["STATUS"] for event in after] == ["CONFIRMED", "CANCELLED"]
    assert after[0].to_ical() == old.events[0].to_ical()  # it has begun, and stays as it is
    twice = earlier(written(of(2, waves=0), NOW, old), tmp_path)
    again = events(written(of(3, waves=0), NOW + dt.timedelta(hours=1), twice))
    assert [event["STATUS"] for event in again.values()] == ["CANCELLED"] * 2
    assert [event["SEQUENCE"] for event in again.values()] == [event["SEQUENCE"] for event in twice.events]


def test_the_rest_of_a_rollout_leaves_the_waves_that_were_done_where_they_were(tmp_path):
    """Waves count from 1 again in the rest of a rollout: none takes the event of a wave that is over."""
    nights = [dt.datetime(2027, 6, day, 22, tzinfo=NEW_YORK) for day in (1, 8, 15, 22, 29)]

    def rollout(*days):
        waves = tuple(wave(n, step(n, nights[day])) for n, day in enumerate(days, start=1))
        return dataclasses.replace(small_rollout(), waves=waves, plan_hash="ab")

    old = written(rollout(0, 1, 2, 3))
    first = earlier(old, tmp_path)
    before, now = list(events(old).items()), nights[1] + dt.timedelta(days=1)
    later = events(written(rollout(2, 4), now, first))
    assert [later[uid].to_ical() for uid, _ in before[:2]] == [event.to_ical() for _, event in before[:2]]
    kept, moved = (later[uid] for uid, _ in before[2:])
    assert (kept["DTSTART"].dt, moved["DTSTART"].dt) == (nights[2], nights[4])
    assert {kept["STATUS"], moved["STATUS"]} == {"CONFIRMED"}
    assert all(later[uid]["SEQUENCE"] > event["SEQUENCE"] for uid, event in before[2:])
    assert len(later) == 4
    # the third calendar knows the first from the second, and one wave less is cancelled
    second = earlier(written(rollout(2, 4), now, first), tmp_path)
    third = events(written(rollout(4), now + dt.timedelta(hours=1), second))
    assert [third[uid]["STATUS"] for uid, _ in before] == ["CONFIRMED", "CONFIRMED", "CANCELLED", "CONFIRMED"]
    # the same rollout again, when its first waves are over, is the same events
    assert set(events(written(rollout(0, 1, 2, 3), now, first))) == set(dict(before))
    # another plan has events of its own, and cancels what was to come of this one
    other = dataclasses.replace(rollout(2), plan_hash="cd", plan_number=2)
    found = events(written(other, now, first))
    assert [found[uid]["STATUS"] for uid, _ in before] == ["CONFIRMED"] * 2 + ["CANCELLED"] * 2
    assert len(found) == 5


def test_an_event_of_whole_days_is_none_of_ours(tmp_path):
    data = re.sub(rb"DTSTART;TZID=[^:]+:(\d{8})T\d{6}", rb"DTSTART;VALUE=DATE:\1", written(of()))
    with pytest.raises(InputError, match=r"old\.ics"):
        earlier(data, tmp_path)


def test_what_is_cancelled_is_a_whole_event_of_no_message(tmp_path):
    """RFC 5545, sections 3.6.1, 3.8.1.11, 3.8.7.2: UID, DTSTAMP, DTSTART; without METHOD no iTIP message (RFC 5546)."""
    later = NOW + dt.timedelta(days=1)
    data = written(of(2, waves=0), later, earlier(written(of()), tmp_path))
    calendar = read(data)
    assert "METHOD" not in calendar
    for event in calendar.walk("VEVENT"):
        assert event["DTSTAMP"].dt == later
        assert event["DTSTART"].dt < event["DTEND"].dt
        assert not event.walk("VALARM")
        assert event.errors == []
        assert 0 <= event["SEQUENCE"] < 2**31
    assert {str(zone["TZID"]) for zone in calendar.walk("VTIMEZONE")} == {"America/New_York"}


def test_the_calendar_of_another_fleet_cancels_nothing(tmp_path):
    old = earlier(written(of(fleet="clinics")), tmp_path)
    assert {event["STATUS"] for event in events(written(of(2), NOW, old)).values()} == {"CONFIRMED"}


@pytest.mark.parametrize("content", [b"", b"no calendar", b"BEGIN:VCALENDAR\r\nPRODID:-//other//\r\nEND:VCALENDAR\r\n"])
def test_a_file_that_is_no_calendar_of_ours_is_refused(tmp_path, content):
    with pytest.raises(InputError, match=r"old\.ics"):
        earlier(content, tmp_path)


@pytest.mark.parametrize("zone", ["UTC", "Asia/Kathmandu", "Australia/Lord_Howe", "Africa/Casablanca", "Europe/Dublin"])
def test_zones_with_uncommon_clocks_read_back(zone):
    starts = dt.datetime(2027, 4, 3, 22, tzinfo=ZoneInfo(zone))
    data = written(Rollout((wave(1, step(1, starts), timezone=zone),), 1, ""))
    (found,) = recurring_ical_events.of(read(data)).between((2027, 4, 2), (2027, 4, 6))
    assert found["DTSTART"].dt.astimezone(dt.UTC) == starts.astimezone(dt.UTC)


def test_rollout_without_waves_is_an_empty_calendar():
    assert read(written(Rollout((), 0, ""))).walk("VEVENT") == []


def test_file_is_written_whole_or_not_at_all(tmp_path):
    write_calendar(small_rollout(), tmp_path / "rollout.ics", written_at=NOW)
    assert (tmp_path / "rollout.ics").read_bytes() == written(small_rollout())
    with pytest.raises(InputError):
        write_calendar(small_rollout(), tmp_path / "nowhere" / "rollout.ics")
