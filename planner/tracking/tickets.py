"""The rollout and its ticket numbers, read back from the sheet Steps as the team filled it in."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import get_args
from zoneinfo import ZoneInfo

from planner.counted_words import counted, first_few
from planner.outputs import headings
from planner.progress import Cell
from planner.schedule import Rollout, Step, StepKind, Wave
from planner.tracking.rows import text_in

_ABOUT = (headings.SITE, headings.FROM_HOST, headings.TO_HOST, headings.HOST, headings.RELEASE)
Row = Mapping[str, Cell]


def tickets_in(steps: Sequence[Row]) -> dict[str, str]:
    """Return the ticket number of each step that has one, by the id of the step; several of one step with ``;``."""
    return _by_step((text_in(step, headings.STEP), text_in(step, headings.TICKET)) for step in steps)


def tickets_for(steps: Sequence[Row], rollout: Rollout) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return the ticket numbers typed at ``steps`` for the same changes in a new ``rollout``, by the id of its step.

    A change is the same where its kind, site, hosts and release are. Numbers of steps that are done are history; each
    other one that finds no step any more is a note.
    """
    new = {_change(step): step.id for step in rollout.steps}
    found: list[tuple[str, str]] = []
    lost: dict[str, list[str]] = {}
    for row in steps:
        ticket = text_in(row, headings.TICKET)
        if not ticket or text_in(row, headings.PROGRESS) == "done":
            continue
        to = text_in(row, headings.TO_HOST), text_in(row, headings.HOST)
        step = new.get((text_in(row, headings.KIND), text_in(row, headings.SITE), *to, text_in(row, headings.RELEASE)))
        if step is not None:
            found.append((step, ticket))
        else:
            wave, where = text_in(row, headings.WAVE), row[headings.TICKET].source or row[headings.TICKET].where
            lost.setdefault(ticket, []).append(f"{where}, wave {wave}" if wave else where)
    notes = (
        f"Ticket {ticket} ({first_few(places)}) is of {counted(len(places), 'step')} that the new rollout has not."
        for ticket, places in lost.items()
    )
    return _by_step(found), tuple(notes)


def _by_step(typed: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return the tickets of each step, each once whatever its letter case."""
    found: dict[str, dict[str, str]] = {}
    for step, ticket in typed:
        if ticket:
            found.setdefault(step, {}).setdefault(ticket.casefold(), ticket)
    return {step: "; ".join(tickets.values()) for step, tickets in found.items()}


def _change(step: Step) -> tuple[str, ...]:
    return (step.kind, step.site or "", step.to_host or "", step.host or "", step.release or "")


def rollout_of(steps: Sequence[Row]) -> tuple[Rollout, tuple[str, ...]]:
    """Return the waves of the sheet Steps, and notes on rows that are no steps any more and are left out.

    Its bound is not known: it counts as 0.
    """
    waves: dict[int, list[Step]] = {}
    notes = []
    for row in steps:
        wave, step = text_in(row, headings.WAVE), _step(row)
        if step is None or not wave.isdecimal():
            source = row[headings.STEP].source or row[headings.STEP].where
            notes.append(f"{source}: wave, kind, starts or ends cannot be read, so that this step has no ticket row.")
            continue
        waves.setdefault(int(wave), []).append(step)
    return Rollout(tuple(_wave(number, found) for number, found in sorted(waves.items())), 0, ""), tuple(notes)


def _wave(number: int, steps: list[Step]) -> Wave:
    last = max((step.ends for step in steps), key=dt.datetime.timestamp)
    return Wave(number, steps[0].starts, last, tuple(steps), timezone=str(steps[0].starts.tzinfo))


def _step(row: Row) -> Step | None:
    kind = next((kind for kind in get_args(StepKind) if kind == text_in(row, headings.KIND)), None)
    zone = text_in(row, headings.TIME_ZONE)
    starts, ends = (_moment(row.get(name), zone) for name in (headings.STARTS, headings.ENDS))
    if kind is None or starts is None or ends is None:
        return None
    site, of, to, host, release = (text_in(row, name) or None for name in _ABOUT)
    caution = text_in(row, headings.CAUTIONS)
    step = Step(text_in(row, headings.STEP), kind, starts, ends, site, of, to, host, release)
    return dataclasses.replace(step, cautions=(caution,)) if caution else step


def _moment(cell: Cell | None, zone: str) -> dt.datetime | None:
    """Return a moment in its time zone; None where either cannot be read."""
    value = None if cell is None else cell.value
    try:
        moment = value if isinstance(value, dt.datetime) else dt.datetime.fromisoformat(str(value))
        return moment.replace(tzinfo=ZoneInfo(zone or "UTC"))
    except (ValueError, KeyError, OSError):  # a zone that nobody knows is a KeyError, or the name of a folder
        return None
