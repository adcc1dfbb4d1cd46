"""The calendar of an earlier rollout: which of its events the next one has to change or cancel."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import icalendar

from planner.errors import InputError
from planner.fleet import Finding

MAKER = "-//castingvote//"


@dataclass(frozen=True)
class EarlierCalendar:
    """Events by their UID, of the calendar with this id (RFC 7986, section 5.3); none where it is not one of ours."""

    id: str = ""
    events: tuple[Any, ...] = ()

    def sequence(self, uid: str) -> int:
        """Return the SEQUENCE of an event, -1 where it is not in the calendar."""
        return next((_sequence(event) for event in self.events if str(event.get("uid")) == uid), -1)

    def begun(self, stamp: dt.datetime) -> dict[str, Any]:
        """Return the events that have begun by ``stamp``, by UID, without those that were cancelled.

        They stay as they are in everybody's calendar: what was done was done.
        """
        known = {str(event.get("uid")): event for event in self.events if _moment(event, "DTSTART") <= stamp}
        return {uid: event for uid, event in known.items() if event.get("status") != "CANCELLED"}

    def at(self) -> dict[tuple[dt.datetime, dt.datetime], list[str]]:
        """Return the UIDs of the events by their start and end, in UTC."""
        found: dict[tuple[dt.datetime, dt.datetime], list[str]] = {}
        for event in self.events:
            found.setdefault((_moment(event, "DTSTART"), _moment(event, "DTEND")), []).append(str(event.get("uid")))
        return found

    def cancelled(self, kept: Collection[str], stamp: dt.datetime) -> list[Any]:
        """Return the events to come that are not among the UIDs ``kept``, with STATUS CANCELLED and a SEQUENCE more."""
        to_come = [event for event in self.events if _moment(event, "DTSTART") > stamp]
        return [_cancelled(event, stamp) for event in to_come if str(event.get("uid")) not in kept]


def read_earlier_calendar(path: Path) -> EarlierCalendar:
    """Return what is in a calendar file; raises InputError where it is no calendar of castingvote."""
    try:
        calendar: Any = icalendar.Calendar.from_ical(path.read_bytes())
        events = tuple(calendar.walk("VEVENT"))
        ours = str(calendar.get("prodid", "")).startswith(MAKER)
        ours = ours and all(_moment(one, name) for one in events for name in ("DTSTART", "DTEND"))
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror or error}") from error
    except (ValueError, AttributeError, KeyError, TypeError, IndexError) as error:
        raise _refused(path, "is no iCalendar file") from error
    if not ours:
        raise _refused(path, "was not written by castingvote")
    return EarlierCalendar(str(calendar.get("uid", "")), events)


def _refused(path: Path, why: str) -> InputError:
    hint = "Name the calendar that the last rollout wrote."
    return InputError((Finding("error", "calendar_unreadable", "", f"{why}.", hint, str(path)),))


def _moment(event: Any, name: str) -> dt.datetime:
    """Return a moment of an event in UTC; AttributeError for a day without a time, which we never write."""
    moment: dt.datetime = event[name].dt
    return moment.astimezone(dt.UTC)


def _sequence(event: Any) -> int:
    return int(event.get("sequence", 0))


def _cancelled(event: Any, stamp: dt.datetime) -> Any:
    found: Any = icalendar.Event()
    for name in ("uid", "dtstart", "dtend", "summary", "location"):
        if name in event:
            found[name] = event[name]
    if event.get("status") == "CANCELLED":
        found["sequence"] = event["sequence"]
    else:
        found.add("sequence", max(_sequence(event) + 1, sequence_at(stamp)))
    found.add("dtstamp", stamp)
    found.add("status", "CANCELLED")
    return found


def sequence_at(stamp: dt.datetime) -> int:
    """Return the SEQUENCE of an event that is written at ``stamp``: minutes since 1970, which fits 32 bits."""
    return int(stamp.timestamp()) // 60
