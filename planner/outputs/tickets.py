"""The waves of a rollout as rows for a ticket system: one .csv row (RFC 4180) for each wave and site or host."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping

from planner.fleet import Fleet
from planner.outputs.atomic import write_text
from planner.outputs.cellsafe import Value
from planner.outputs.csv_tables import csv_text
from planner.schedule import Rollout, Step, Wave

_HEADINGS = "wave place name owner starts ends time_zone what risk way_back approver ticket"
_WHAT = {
    "attach": "gets its first shared tie-breaker, on {to}",
    "move": "goes from {of} to {to}",
    "detour": "goes from {of} to {to} for a while",
    "host_install": "is installed",
    "host_release": "changes to release {release}",
    "host_retire": "is switched off",
    "site_release": "is raised to release {release}",
}
_WAY_BACK = {
    "attach": "Take the tie-breaker off {to} again.",
    "move": "Give the tie-breaker back to {of}, which stays in place until the new one has proved itself.",
    "detour": "Give the tie-breaker back to {of}.",
    "host_install": "Switch the new host off; nobody uses it yet.",
    "host_release": "Go back to the old release.",
    "host_retire": "Switch the host on again.",
    "site_release": "Go back to the old release.",
}
_RISK = {
    "attach": "The site has no third vote until this is done.",
    "move": "Both tie-breakers are in place during the change.",
    "detour": "Both tie-breakers are in place during the change.",
}


def write_tickets(
    fleet: Fleet,
    rollout: Rollout,
    path: str | os.PathLike[str],
    tickets: Mapping[str, str] | None = None,
    approver: str = "",
) -> None:
    """Write a row for each wave and place: window, what changes, the risk, the way back, and who approves.

    UTF-8 with a byte order mark; times are local to the place. The column ``ticket`` is blank, to be filled in, where
    ``tickets`` has no number for a step of the row, by its id, and so is ``approver`` where nobody has approved yet.
    Raises InputError when the file cannot be written.
    """
    about = {
        site: (name, owner)
        for site, name, owner in zip(fleet.site_ids, fleet.sites["name"], fleet.sites["owner"], strict=True)
    }
    rows = (
        {
            **_row(wave, place, steps, about.get(place, ("", ""))),
            "approver": approver,
            "ticket": _numbers(steps, tickets or {}),
        }
        for wave in rollout.waves
        for place, steps in _places(wave)
    )
    write_text(path, csv_text(_HEADINGS.split(), rows))


def _places(wave: Wave) -> Iterator[tuple[str, list[Step]]]:
    """Yield each site or host of a wave with its steps, in order of the first."""
    found: dict[str, list[Step]] = {}
    for step in wave.steps:
        found.setdefault(step.site or step.host or "", []).append(step)
    yield from found.items()


def _row(wave: Wave, place: str, steps: list[Step], about: tuple[str, str]) -> dict[str, Value]:
    first, last = steps[0].starts, max(step.ends for step in steps)
    cautions = " ".join(dict.fromkeys(caution for step in steps for caution in step.cautions))
    return {
        "wave": wave.wave,
        "place": place,
        "name": about[0],
        "owner": about[1],
        "starts": f"{first:%Y-%m-%d %H:%M}",
        "ends": f"{last:%Y-%m-%d %H:%M}",
        "time_zone": str(first.tzinfo),
        "what": "; ".join(f"{place} {_said(_WHAT, step)}" for step in steps),
        "risk": " ".join(filter(None, (_RISK.get(steps[-1].kind, ""), cautions))),
        "way_back": " ".join(dict.fromkeys(_said(_WAY_BACK, step) for step in reversed(steps))),
    }


def _numbers(steps: list[Step], tickets: Mapping[str, str]) -> str:
    """Return the ticket numbers of steps, each once."""
    return "; ".join(dict.fromkeys(tickets[step.id] for step in steps if step.id in tickets))


def _said(words: dict[str, str], step: Step) -> str:
    target = step.to_host or "its own third vote"
    return words[step.kind].format(of=step.from_host or "", to=target, release=step.release or "(unknown)")
