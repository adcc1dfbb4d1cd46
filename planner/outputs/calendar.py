"""A rollout as an iCalendar file (RFC 5545): one event a wave, in the time zone of most of its steps."""

from __future__ import annotations

import datetime as dt
import os
import uuid
from collections.abc import Collection
from typing import Any
from zoneinfo import ZoneInfo

import icalendar

from planner.identity import in_words
from planner.outputs.atomic import write_bytes
from planner.outputs.cellsafe import safe_text
from planner.outputs.earlier_calendar import EarlierCalendar, sequence_at
from planner.outputs.plan_sentences import CAUTIONS
from planner.outputs.run_words import what, who_and_where
from planner.plan_parts import Identity
from planner.schedule import Rollout, Wave
from planner.version import VERSION

_ALARM = dt.timedelta(days=-1)
_DAY = dt.timedelta(days=1)
_MINUTE = dt.timedelta(minutes=1)


def rollout_to_calendar(
    rollout: Rollout, *, written_at: dt.datetime | None = None, earlier: EarlierCalendar | None = None
) -> bytes:
    """Return the waves as an iCalendar stream (RFC 5545) with a VTIMEZONE for each zone that it uses.

    An event's UID rests on the id of the fleet, number and hash of the plan, and a count, and its SEQUENCE on
    ``written_at`` (now by default): imported again, a wave takes the place of its earlier version. With the ``earlier``
    calendar of this fleet, a wave of the same plan on the same night keeps its UID, what has begun is in the new one
    unchanged, and waves to come that only the earlier one has are in the new one with STATUS CANCELLED. A wave whose
    start or end is the second coming of a local time, when clocks go back, is written in UTC, because a local time in
    iCalendar means the first (RFC 5545, section 3.3.5). There is no METHOD: a message to attendees (RFC 5546) would
    need an organizer, and could not both publish waves and cancel others.
    """
    stamp = (written_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(microsecond=0)
    calendar = icalendar.Calendar()
    calendar.add("prodid", f"-//castingvote//castingvote {VERSION}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", "Tie-breaker rollout")
    calendar.add("uid", _uid(rollout, "calendar"))
    before = earlier if earlier is not None and is_of(rollout, earlier) else EarlierCalendar()
    begun = before.begun(stamp)
    uids = _uids(rollout, before, begun)
    for wave, uid in zip(rollout.waves, uids, strict=True):
        calendar.add_component(_event(rollout, wave, uid, stamp, before))
    for event in (*(event for uid, event in begun.items() if uid not in uids), *before.cancelled(uids, stamp)):
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


def is_of(rollout: Rollout, earlier: EarlierCalendar) -> bool:
    """Say whether ``earlier`` is a calendar of the fleet of ``rollout``."""
    return earlier.id == _uid(rollout, "calendar")


def _uids(rollout: Rollout, before: EarlierCalendar, begun: Collection[str]) -> list[str]:
    """Return the UID of each wave: that of the earlier event of this plan at the same time, else the next free one.

    The UID of an event that has ``begun`` is not free: it would take that event away to another night.
    """
    count = len(rollout.waves) + len(before.events)
    known = [_uid(rollout, f"plan {rollout.plan_number} {rollout.plan_hash} wave {n}") for n in range(1, count + 1)]
    there, at = set(known), before.at()
    same: dict[int, str] = {}
    for place, wave in enumerate(rollout.waves):
        earlier = at.get((wave.starts.astimezone(dt.UTC), wave.ends.astimezone(dt.UTC)), ())
        uid = next((uid for uid in earlier if uid in there and uid not in same.values()), None)
        if uid is not None:
            same[place] = uid
    free = (uid for uid in known if uid not in same.values() and uid not in begun)
    return [same[place] if place in same else next(free) for place in range(len(rollout.waves))]


def _event(rollout: Rollout, wave: Wave, uid: str, stamp: dt.datetime, before: EarlierCalendar) -> icalendar.Event:
    zone = ZoneInfo(wave.timezone)
    starts, ends = wave.starts.astimezone(zone), wave.ends.astimezone(zone)
    if _second(starts) or _second(ends):
        starts, ends = starts.astimezone(dt.UTC), ends.astimezone(dt.UTC)
    event = icalendar.Event()
    event.add("uid", uid)
    event.add("dtstamp", stamp)
    event.add("status", "CONFIRMED")
    event.add("sequence", max(before.sequence(uid) + 1, sequence_at(stamp)))
    event.add("dtstart", starts)
    event.add("dtend", ends)
    pilot = " (pilot)" if wave.pilot else ""
    event.add("summary", _text(f"Tie-breaker rollout: wave {wave.wave} of {len(rollout.waves)}{pilot}"))
    event.add("location", _text(", ".join(dict.fromkeys(step.hub for step in wave.steps if step.hub))))
    event.add("description", _text(_description(rollout, wave)))
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


def _description(rollout: Rollout, wave: Wave) -> str:
    steps = [f"{step.starts:%H:%M} {step.starts.tzname()} {what(step)}" for step in wave.steps]
    plan = in_words(Identity(rollout.plan_number, rollout.plan_hash, rollout.fleet_id))
    return "\n".join((who_and_where(wave), *steps, *CAUTIONS, plan))


def _text(text: str) -> str:
    """Return ``text`` without control characters, which iCalendar cannot hold (RFC 5545, section 3.3.11)."""
    return safe_text(text).replace("\x7f", "\ufffd")
