"""What was seen after a change: the round trip measured from the site, and three votes; checked, and handed on."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from planner import columns
from planner.counted_words import counted, first_few
from planner.fleet import Fleet
from planner.intake.known_words import truth_of
from planner.outputs import headings
from planner.plan import Plan
from planner.progress import Cell, Merged, StateChange
from planner.tracking.rows import day_of, site_row, text_in
from planner.typed_tables import typed_table

_CHANGED = ("attach", "move", "detour", "")  # rows of a rollout workbook name no action


@dataclass(frozen=True, slots=True)
class SeenAfter:
    """What a row that is done says: ``rtt_ms`` is NaN for a blank or a text that is no time.

    ``votes`` is yes or no, else as written; ``source`` and ``votes_source`` are the cells of the two.
    """

    site: str
    host: str
    rtt_ms: float
    rtt_text: str
    votes: str
    on: dt.date | None
    source: str
    votes_source: str


def seen_after(merged: Merged) -> tuple[SeenAfter, ...]:
    """Return what the rows of sites that are done and on a host say of afterwards."""
    return tuple(_seen(merged))


def _seen(merged: Merged) -> Iterator[SeenAfter]:
    for cells in merged.rows:
        row = site_row(cells)
        if row.status != "done" or not row.host:
            continue
        text, votes = text_in(cells, headings.RTT_AFTER), _votes(text_in(cells, headings.VOTES_SEEN))
        # A rollout may move, for room, a site that the plan leaves where it is: what people typed counts there too.
        if row.action not in _CHANGED and not text and not votes:
            continue
        yield SeenAfter(
            row.site,
            row.host,
            _milliseconds(text),
            text,
            votes,
            day_of(cells),
            _where(cells, headings.RTT_AFTER),
            _where(cells, headings.VOTES_SEEN),
        )


def _votes(text: str) -> str:
    """Return yes or no for a word that means it in any of the languages; any other as it is.

    >>> _votes("Ja"), _votes("não"), _votes("two")
    ('yes', 'no', 'two')
    """
    truth = truth_of(text.strip(" .!"))
    return text if truth is None else headings.YES if truth else headings.NO


def _where(cells: Mapping[str, Cell], column: str) -> str:
    cell = cells.get(column, cells[headings.SITE])
    return cell.source or cell.where or cells[headings.SITE].where


def _milliseconds(text: str) -> float:
    """Return a time in ms; NaN for what is none.

    >>> _milliseconds("12,5 ms"), _milliseconds("fast"), _milliseconds("-1")
    (12.5, nan, nan)
    """
    try:
        value = float(text.casefold().removesuffix("ms").strip().replace(",", "."))
    except ValueError:
        return math.nan
    return value if 0 < value < math.inf else math.nan


def failed_after(plan: Plan, merged: Merged) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what fails after a change, and notes on what was not looked at or cannot be read.

    A round trip is held against the budget of the site in ``plan``, the limit itself being allowed; the third vote must
    have been seen.
    """
    budgets = {row.site: row.budget_ms for row in plan.assignments}
    failed, notes, unseen = [], [], []
    for one in seen_after(merged):
        budget = budgets.get(one.site, math.inf)
        if one.rtt_ms > budget:
            failed.append(
                f"Site {one.site} measured {one.rtt_ms:g} ms to {one.host} after its change, above its budget of "
                f"{budget:g} ms ({one.source}). Undo the change, or find a nearer host."
            )
        if one.votes == headings.NO:
            failed.append(
                f"Site {one.site} does not see three votes with {one.host} ({one.votes_source}). Undo the change."
            )
        if one.rtt_text and math.isnan(one.rtt_ms):
            notes.append(f'{one.source}: "{one.rtt_text}" is not a round-trip time in ms.')
        if one.votes and one.votes not in headings.VOTES_WORDS:
            notes.append(f'{one.votes_source}: three votes seen is "{one.votes}"; write yes or no.')
        if math.isnan(one.rtt_ms) or one.votes not in headings.VOTES_WORDS:
            unseen.append(one.site)
    notes += _too_early(merged)
    if unseen:
        sites = counted(len(unseen), "site")
        notes.insert(0, f"{sites} marked as done, but without RTT after or three votes seen: {first_few(unseen)}.")
    return tuple(failed), tuple(notes)


def _too_early(merged: Merged) -> Iterator[str]:
    """Yield a note on each row that says what was seen after a change which is not done."""
    for cells in merged.rows:
        row = site_row(cells)
        column = headings.RTT_AFTER if text_in(cells, headings.RTT_AFTER) else headings.VOTES_SEEN
        if row.status != "done" and text_in(cells, column):
            yield (
                f'{_where(cells, column)}: "{text_in(cells, column)}" does not count, since site {row.site} is '
                f'"{row.status}". Set its status to done once the change is made.'
            )


def with_measurements(fleet: Fleet, plan: Plan, merged: Merged) -> tuple[Fleet, tuple[StateChange, ...]]:
    """Return ``fleet`` with the round trips measured after changes, and each change; they are dated as their rows.

    A measurement takes the place of every row of its pair in the sheet Latency. Doing so twice changes nothing.
    """
    hubs = {host.host: host.hub for host in plan.host_list}
    known = {
        (site, hub): (rtt, day)
        for site, hub, rtt, day in zip(
            *(fleet.latency[name] for name in ("site", "hub", "rtt_ms", "measured_at")), strict=True
        )
    }
    new: dict[tuple[str, str], SeenAfter] = {}
    changes = []
    for one in seen_after(merged):
        pair = one.site, hubs.get(one.host, "")
        if math.isnan(one.rtt_ms) or not pair[1] or one.site not in fleet.site_ids:
            continue
        before, day = known.get(pair, (math.nan, pd.NaT))
        if before == one.rtt_ms and (one.on is None or (day is not pd.NaT and day.date() == one.on)):
            continue
        new[pair] = one
        was = "" if math.isnan(before) else f"{before:g}"
        what = f"site {one.site}"
        changes.append(StateChange(what, f"rtt_ms to {pair[1]}", was, f"{one.rtt_ms:g}", one.source, one.on))
    return (_measured(fleet, new), tuple(changes)) if new else (fleet, ())


def _measured(fleet: Fleet, new: Mapping[tuple[str, str], SeenAfter]) -> Fleet:
    table = fleet.latency
    keys = list(zip(table["site"], table["hub"], strict=True))
    prices = {key: cost for key, cost in zip(keys, table["pair_cost"], strict=True) if key in new}
    values = {
        "site": [site for site, _ in new],
        "hub": [hub for _, hub in new],
        "rtt_ms": [one.rtt_ms for one in new.values()],
        "measured_at": [one.on for one in new.values()],
        "pair_cost": [prices.get(key, np.nan) for key in new],
    }
    kept = table[[key not in new for key in keys]]
    plain = kept.assign(site=kept["site"].astype(object), hub=kept["hub"].astype(object))
    rows = typed_table(columns.LATENCY, values, len(new))
    parts = [part for part in (plain, rows) if len(part)]
    return fleet.replace(latency=pd.concat(parts, ignore_index=True))
