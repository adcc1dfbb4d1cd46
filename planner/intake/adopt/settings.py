"""Labels beside values, wherever they stand on a sheet -> settings of the policy."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from planner.columns import SETTINGS, Column
from planner.intake.adopt.kinds import kind_of
from planner.intake.adopt.patterns import SETTINGS as PATTERNS
from planner.intake.content import fits_share
from planner.intake.findings import show
from planner.intake.likeness import concepts_in, likeness
from planner.intake.names import named, plain
from planner.intake.rawtable import RawSheet, is_blank, tidy

_TAKEN = 0.6
_WITHIN_ROWS = 400  # settings stand near the top, or on a sheet of their own
_LONGEST_LABEL = 90
_MOST_COLUMNS = 1 << 20
_COLUMNS: dict[str, Column] = {column.name: column for column in SETTINGS}


@dataclass(frozen=True)
class Setting:
    """One setting that a label names: where label and value stand (from 0), the label, and the value as it is."""

    name: str
    raw: RawSheet
    row: int
    label_at: int
    value_at: int
    label: str
    value: Any
    likeness: float
    meant: str = ""  # the choice that other words mean, where the setting has choices


def settings_in(
    sheets: Sequence[RawSheet], taken: dict[str, set[int]], beside: Sequence[tuple[RawSheet, int, int]] = ()
) -> list[Setting]:
    """Return the settings that labels on the sheets name, each once: the likeliest label counts.

    ``taken`` has, by the title of a sheet, rows that belong to a table of sites or pairs: no settings stand there.
    ``beside`` are runs of columns of a sheet, the end excluded, that are looked at by themselves.
    """
    best: dict[str, Setting] = {}
    for raw, first, last in [*((raw, 0, _MOST_COLUMNS) for raw in sheets), *beside]:
        taken_rows = taken.get(raw.title, set()) if last == _MOST_COLUMNS else set()
        for setting in _in_sheet(raw, taken_rows, first, last):
            if setting.name not in best or setting.likeness > best[setting.name].likeness:
                best[setting.name] = setting
    return list(best.values())


def _in_sheet(raw: RawSheet, taken: set[int], first: int, last: int) -> Iterator[Setting]:
    for i, row in enumerate(raw.cells[:_WITHIN_ROWS]):
        if i in taken:
            continue
        filled = [(c, cell) for c, cell in enumerate(row[:last]) if c >= first and not is_blank(cell)]
        if 2 <= len(filled) <= 4 and isinstance(filled[0][1], str):
            (label_at, label), (value_at, value) = filled[:2]
            found = _setting(raw, i, label_at, tidy(label), value_at, value)
            if found is not None:
                yield found


def _setting(raw: RawSheet, row: int, label_at: int, label: str, value_at: int, value: Any) -> Setting | None:
    if len(label) > _LONGEST_LABEL:
        return None
    known = named(label, SETTINGS)
    scores = {name: likeness(label, wanted, against) for name, (wanted, against) in PATTERNS.items()}
    if known is not None:
        scores = {known.column.name: 0.99}
    ranked = sorted(scores, key=lambda name: -scores[name])
    for name in ranked[:2]:
        if scores[name] < _TAKEN:
            continue
        meant = _meant(value, _COLUMNS[name])
        if meant or fits_share([value], _COLUMNS[name]) == 1.0:
            said = "" if meant == plain(show(value).strip('"')) else meant
            return Setting(name, raw, row, label_at, value_at, label, value, round(scores[name], 2), said)
    return None


def _meant(value: Any, column: Column) -> str:
    """Return which choice of a setting a text means in other words; blank if none."""
    if column.name != "cover" or kind_of(value) != "text":
        return ""
    if fits_share([value], column) == 1.0:
        return ""
    concepts = concepts_in(tidy(str(value)))
    found = [choice for choice in column.choices if choice.upper() in concepts]
    return found[0] if len(found) == 1 else ""
