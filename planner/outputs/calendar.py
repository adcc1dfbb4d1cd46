"""A rollout as an iCalendar file (RFC 5545): one event a wave, in the time zone of most of its steps."""

from __future__ import annotations

import datetime as dt
import os
import uuid
from typing import Any
from zoneinfo import ZoneInfo

import icalendar

from planner.outputs.atomic import write_bytes
from planner.outputs.cellsafe import safe_text
from planner.outputs.earlier_calendar import EarlierCalendar, sequence_at
from planner.outputs.plan_sentences import CAUTIONS
from planner.outputs.run_words import what, who_and_where
from planner.schedule import Rollout, Wave
from planner.version import VERSION

_ALARM = dt.timedelta(days=-1)
_DAY = dt.timedelta(days=1)
_MINUTE = dt.timedelta(minutes=1)


def rollout_to_calendar(
    rollout: Rollout, *, written_at: dt.datetime | None = None, earlier: EarlierCalendar | None = None
) -> bytes:
    """Return the waves as an iCalendar stream (RFC 5545) with a VTIMEZONE for each zone that it uses.

    An event's UID rests on the id of the fleet, the number of the plan and that of the wave, and its SEQUENCE on
    ``written_at`` (now by default): imported again, a wave takes the place of its earlier version. Waves to come that
    only the ``earlier`` calendar of this fleet has are in the new one with STATUS CANCELLED, so that they vanish from
    everybody's calendar when it is imported. A wave whose start
    or end is the second coming of a local time, when clocks go back, is written in UTC, because a local time in
    iCalendar means the first (RFC 5545, section 3.3.5).
    """
    stamp = (written_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(microsecond=0)
    calendar = icalendar.Calendar()
    calendar.add("prodid", f"-//castingvote//castingvote {VERSION}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", "Tie-breaker rollout")
    calendar.add("uid", _uid(rollout, "calendar"))
    before = earlier if earlier is not None and earlier.id == calendar["uid"] else EarlierCalendar()
    for wave in rollout.waves:
        calendar.add_component(_event(rollout, wave, stamp, before))
    kept = {str(event["uid"]) for event in calendar.walk("VEVENT")}
    for event in before.cancelled(kept, stamp):
        calendar.add_component(event)
    events: list[Any] = list(calendar.walk("VEVENT"))
    if days := [event[name].dt.date() for event in events for name in ("DTSTART", "DTEND")]:
        first, last = min(days) - 366 * _DAY, max(days) + 366 * _DAY
        calendar.add_missing_timezones(first_date=first, last_date=last)
        for timezone in calendar.timezones:
            _set_onsets(timezone)
    return bytes(calendar.to_ical())


def write_calendar(
    rollout: Rollout,
    path: str | os.PathLike[str],
    *,
    written_at: dt.datetime | None = None,
    earlier: EarlierCalendar | None = None,
) -> None:
    """Write `rollout_to_calendar` to a file, whole or not at all; raises InputError when it cannot be written."""
    content = rollout_to_calendar(rollout, written_at=written_at, earlier=earlier)
    write_bytes(path, content)


def _event(rollout: Rollout, wave: Wave, stamp: dt.datetime, before: EarlierCalendar) -> icalendar.Event:
    zone = ZoneInfo(wave.timezone)
    starts, ends = wave.starts.astimezone(zone), wave.ends.astimezone(zone)
    if _second(starts) or _second(ends):
        starts, ends = starts.astimezone(dt.UTC), ends.astimezone(dt.UTC)
    event = icalendar.Event()
    uid = _uid(rollout, f"plan {rollout.plan_number} wave {wave.wave}")
    event.add("uid", uid)
    event.add("dtstamp", stamp)
    event.add("status", "CONFIRMED")
    event.add("sequence", max(before.sequence(uid) + 1, sequence_at(stamp)))
    event.add("dtstart", starts)
    event.add("dtend", ends)
    pilot = " (pilot)" if wave.pilot else ""
    event.add("summary", _text(f"Tie-breaker rollout: wave {wave.wave} of {len(rollout.waves)}{pilot}"))
    event.add("location", _text(", ".join(dict.fromkeys(step.hub for step in wave.steps if step.hub))))
    event.add("description", _text(_description(wave)))
    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"Wave {wave.wave} begins in a day")
    alarm.add("trigger", _ALARM)
    event.add_component(alarm)
    return event


def _set_onsets(timezone: icalendar.Timezone) -> None:
    """Put the onsets where RFC 5545 (section 3.6.5) has them: on the clock as it goes until then.

    The library writes the first moment after a gap, 03:00 for clocks that jump from 02:00 to 03:00.
    """
    zone = ZoneInfo(str(timezone["TZID"]))
    parts: list[Any] = list(timezone.subcomponents)
    for part in parts:
        before, after = part["TZOFFSETFROM"].td, part["TZOFFSETTO"].td
        local: dt.datetime = part["DTSTART"].dt
        onset = (local - before).replace(tzinfo=dt.UTC)
        if after <= before or (onset - _MINUTE).astimezone(zone).utcoffset() != after:
            continue
        moments = [part["DTSTART"], *(d for dates in _listed(part.get("RDATE")) for d in dates.dts)]
        for moment in moments:
            moment.dt -= after - before


def _listed(value: Any) -> list[Any]:
    return [] if value is None else value if isinstance(value, list) else [value]


def _uid(rollout: Rollout, what: str) -> str:
    """Return a globally unique id that stays when the rollout is planned again."""
    return f"{uuid.uuid5(uuid.NAMESPACE_OID, f'castingvote rollout {rollout.fleet_id} {what}')}"


def _second(moment: dt.datetime) -> bool:
    """Say whether ``moment`` is the later one of a local time that comes twice."""
    return moment.fold == 1 and moment.utcoffset() != moment.replace(fold=0).utcoffset()


def _description(wave: Wave) -> str:
    steps = [f"{step.starts:%H:%M} {step.starts.tzname()} {what(step)}" for step in wave.steps]
    return "\n".join((who_and_where(wave), *steps, *CAUTIONS))


def _text(text: str) -> str:
    """Return ``text`` without control characters, which iCalendar cannot hold (RFC 5545, section 3.3.11)."""
    return safe_text(text).replace("\x7f", "\ufffd")
