"""What the command line varies -> scenarios: every combination of the values of all axes."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Literal

import numpy as np

from planner import columns
from planner.columns import Column, Sheet
from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.intake.findings import Findings, guess
from planner.scenarios.edits import SETTINGS
from planner.scenarios.sweep_results import Edit, Scenario
from planner.scenarios.values import expand, is_relative, read_value

AS_IT_IS = "as it is"
_MOST = 100_000
_SHEETS: dict[str, tuple[Literal["Sites", "Hubs"], Sheet]] = {
    "sites": ("Sites", columns.SITES),
    "hubs": ("Hubs", columns.HUBS),
}
# Settings that a column overrides: varying the setting leaves the rows that have a figure of their own as they are.
_OVERRIDDEN = {
    "latency_budget_ms": ("sites", "latency_budget_ms"),
    "own_tie_breaker_cost": ("sites", "own_tie_breaker_cost"),
    "tie_breaker_kbps": ("sites", "tie_breaker_kbps"),
    "cluster_cap": ("hubs", "cluster_cap"),
    "max_hosts_per_hub": ("hubs", "max_hosts"),
    "host_cost": ("hubs", "host_cost"),
    "host_release": ("hubs", "host_release"),
}


def axis_of(option: str) -> tuple[str, list[Edit]]:
    """Return the name and the edits of one ``NAME=VALUES``.

    NAME is a setting, or a column of all sites or hubs as in ``sites.latency_budget_ms`` or ``hubs.cluster_cap``.
    Raises InputError that says what is wrong.
    """
    name, equals, values = option.partition("=")
    name = name.strip()
    sheet, column = _target(name)
    if not equals or not values.strip():
        raise _wrong(option, "has no values.", f"Write it as {name}=A,B,C or {name}=first:last:step.")
    findings = Findings()
    edits = []
    try:
        texts = expand(values)
    except ValueError as error:
        raise _wrong(option, f"cannot be read: {error}.") from None
    for text in texts:
        if not is_relative(column, text):
            read_value(column, text, f"--vary {option}", findings)
        edits.append(Edit(sheet, column.name, text))
    if findings.any_error:
        raise InputError(findings.result())
    return name, edits


def vary(*options: str) -> list[Scenario]:
    """Return the fleet as it is and every combination of the values of ``options``, as scenarios for `planner.sweep`.

    Each option is a text ``NAME=VALUES`` as the command line takes it, such as ``"latency_budget_ms=20:80:5"`` (first,
    last, step), ``"cluster_cap=64,128"`` or ``"sites.latency_budget_ms=x0.8,x1"`` (times what it is). A setting does
    not change sites or hubs that state it for themselves. Raises InputError that says what is wrong.

    >>> [scenario.name for scenario in vary("cluster_cap=48,64")]
    ['as it is', 'cluster_cap=48', 'cluster_cap=64']
    """
    return combined([axis_of(option) for option in options], [])


def _target(name: str) -> tuple[Literal["Policy", "Sites", "Hubs"], Column]:
    place, dot, rest = name.partition(".")
    if dot and place.lower() in _SHEETS:
        title, sheet = _SHEETS[place.lower()]
        keys = {"site", "hub", "pool"}
        if rest in sheet.names and rest not in keys:
            return title, sheet.column(rest)
        raise _wrong(name, f"names no column of {title} that can be varied.", guess(rest, set(sheet.names) - keys))
    if name in SETTINGS:
        return "Policy", SETTINGS[name]
    known = {*SETTINGS, *(f"{place}.{column}" for place, (_, sheet) in _SHEETS.items() for column in sheet.names)}
    hint = guess(name, known) or "Name a setting of the Policy sheet, or sites.COLUMN or hubs.COLUMN."
    raise _wrong(name, "is no setting.", hint)


def _wrong(option: str, message: str, hint: str = "") -> InputError:
    return InputError((Finding("error", "vary_wrong", f"--vary {option}", message, hint),))


def combined(axes: Sequence[tuple[str, list[Edit]]], named: Sequence[Scenario]) -> list[Scenario]:
    """Return every named scenario with every combination of the axes; first of all the fleet as it is.

    Raises InputError where an axis is there twice or the combinations are too many.
    """
    names = [name for name, _ in axes]
    repeated = next((name for name in names if names.count(name) > 1), None)
    if repeated is not None:
        raise _wrong(repeated, "is varied twice.", "List all its values in one --vary.")
    count = max(1, len(named)) * int(np.prod([len(edits) for _, edits in axes], initial=1))
    if count > _MOST:
        raise _wrong(" ".join(names), f"makes {count:,} scenarios; {_MOST:,} is the most.", "Take fewer values.")
    scenarios = [Scenario(AS_IT_IS)]
    for base in named or (Scenario(""),):
        for edits in itertools.product(*(edits for _, edits in axes)):
            varied = tuple(zip(names, (edit.value for edit in edits), strict=True))
            name = " ".join(part for part in (base.name, *(f"{n}={v}" for n, v in varied)) if part)
            if name:
                scenarios.append(
                    Scenario(
                        name,
                        (*base.edits, *edits),
                        base.growth,
                        base.closed_sites,
                        base.closed_hubs,
                        base.new_hubs,
                        (*base.axes, *varied),
                    )
                )
    return scenarios


def notes_on(fleet: Fleet, axes: Sequence[tuple[str, list[Edit]]]) -> list[Finding]:
    """Return a warning for each varied setting that rows with a figure of their own do not follow."""
    notes = []
    for name, _ in axes:
        if name not in _OVERRIDDEN:
            continue
        place, column = _OVERRIDDEN[name]
        table = fleet.sites if place == "sites" else fleet.pools
        own = int((table[column].notna() & (table[column] != "")).sum())
        if own:
            message = f"{own:,} of {len(table):,} {place} state their own {column}; the setting does not change it."
            hint = f"Vary {place}.{column} to change it for all of them, such as --vary {place}.{column}=x0.8:1.2:0.1."
            hint = hint if column != "host_release" else f"Vary {place}.{column} to change it for all of them."
            notes.append(Finding("warning", "vary_overridden", f"--vary {name}", message, hint))
    return notes
