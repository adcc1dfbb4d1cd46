"""Changes of a fleet as cells to change, and the fleet that results."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from planner import columns
from planner.explain.explanation import Change
from planner.fleet import Fleet

_NUMERIC = {"whole", "number"}
_WHOLE_SETTINGS = {setting.name for setting in columns.SETTINGS if setting.kind == "whole"}


def changed(fleet: Fleet, changes: Iterable[Change]) -> Fleet:
    """Return ``fleet`` with the cells and settings changed; KeyError for an id or column that is not there."""
    tables = {"Sites": (fleet.sites, columns.SITES, "site"), "Hubs": (fleet.pools, columns.HUBS, "pool")}
    new: dict[str, pd.DataFrame] = {}
    settings: dict[str, float | str | int] = {}
    for change in changes:
        if change.sheet == "Policy":
            whole = change.column in _WHOLE_SETTINGS
            settings[change.column] = int(change.after) if whole else change.after
            continue
        table, sheet, key = tables[change.sheet]
        table = new.setdefault(change.sheet, table.copy())
        column = sheet.column(change.column)
        (at,) = table.index[table[key] == change.id] if (table[key] == change.id).any() else _unknown(change)
        if column.kind in _NUMERIC:
            table.at[at, column.name] = float(change.after)
        elif column.kind == "ids":
            names = tuple(name for name in str(change.after).split(";") if name)
            table[column.name] = pd.Series(
                [names if row == at else old for row, old in table[column.name].items()], index=table.index
            )
        else:
            table.at[at, column.name] = change.after
    return fleet.replace(
        sites=new.get("Sites", fleet.sites),
        pools=new.get("Hubs", fleet.pools),
        policy=fleet.policy.replace(**settings),
    )


def _unknown(change: Change) -> list[int]:
    raise KeyError(f"{change.sheet} has no row {change.id}")


def relative_size(changes: Iterable[Change]) -> float:
    """Return the sum of relative changes of numbers; a change of text counts as 1."""
    total = 0.0
    for change in changes:
        if isinstance(change.before, str) or isinstance(change.after, str):
            total += 1.0
        else:
            total += abs(change.after - change.before) / max(1.0, abs(change.before))
    return total
