"""The Policy sheet, one setting in each row -> Policy, and the cell of each setting."""

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
import pandas as pd

from planner.columns import POLICY, SETTINGS, Column
from planner.fleet import Policy
from planner.intake.cells import clean
from planner.intake.findings import Findings, Place, guess, show
from planner.intake.matched import report_unit
from planner.intake.matching import match_headers
from planner.intake.names import Named, named, plain, stated_by
from planner.intake.pinned_columns import stated_by_pins
from planner.intake.rawtable import Cells, RawTable, is_blank, tidy
from planner.intake.units import NOTHING_STATED

_SETTINGS: Mapping[str, Column] = {
    plain(name): column for column in SETTINGS for name in (column.name, *column.aliases)
}
# Settings in percent of which less than one is hardly meant: 0.1 may have been 10 %.
_SHARES = frozenset(
    {"reserve_percent", "percentile", "max_share_percent", "max_share_percent_hub", "max_share_percent_zone"}
)
_TRUTHS = frozenset(given.name for given in fields(Policy) if isinstance(given.default, bool))


@dataclass(frozen=True)
class PolicyRead:
    """The policy and where each setting that was given stands."""

    policy: Policy = field(default_factory=Policy)
    places: Mapping[str, Place] = field(default_factory=dict)

    def dated(self) -> "PolicyRead":
        """Return the policy with the day of reading where ages count and no day is given, so that plans tell it."""
        if self.policy.max_age_days is None or self.policy.as_of:
            return self
        return dataclasses.replace(self, policy=self.policy.replace(as_of=dt.date.today().isoformat()))


def read_policy(tables: Sequence[RawTable], findings: Findings) -> PolicyRead:
    """Return the policy that the tables state; what they leave out or leave blank takes its default."""
    places: dict[str, Place] = {}
    values: dict[str, Any] = {}
    for table in tables:
        _read_settings(table, findings, places, values)
    return PolicyRead(Policy(**{name: _as_field(name, v) for name, v in values.items() if not _is_default(v)}), places)


def _read_settings(table: RawTable, findings: Findings, places: dict[str, Place], values: dict[str, Any]) -> None:
    """Add the settings of one table, each with its place, to those of the tables before it."""
    match = match_headers(table, POLICY, findings, [column for column in POLICY.columns if column.required])
    if len(match.known) < len(POLICY.columns):
        return
    name_at, value_at = match.known["setting"], match.known["value"]
    for position, name in enumerate(table.columns[name_at].tolist()):
        place = table.place(position, name_at)
        found = _setting(name, place, places, findings, table)
        if found is not None:
            setting, stated = found.column, found.stated
            places[setting.name] = table.place(position, value_at)
            report_unit(table, name_at, setting, stated, findings)
            cells = Cells(setting, table.only(np.array([position])), value_at, findings, stated=stated)
            values[setting.name] = clean(cells)[0]
            if setting.name in _SHARES and 0 < values[setting.name] < 1:
                findings.add("percent_doubtful", places[setting.name], setting.name, value=show(values[setting.name]))


def _setting(name: Any, place: Place, places: Mapping[str, Place], findings: Findings, table: RawTable) -> Named | None:
    """Return the setting that a cell names; None, with a finding, if it names none or one that was given before."""
    if is_blank(name):
        findings.add("required_blank", place, "setting")
        return None
    found = _pinned_setting(name, table) or named(name, SETTINGS)
    setting = None if found is None else found.column
    if setting is None:
        findings.add(
            "setting_unknown", place, "setting", value=show(tidy(str(name))), guess=guess(plain(name), _SETTINGS)
        )
    elif setting.name in places:
        other = places[setting.name]
        findings.add(
            "setting_repeated",
            place,
            "setting",
            value=setting.name,
            other=other.where if place.label or other.label else other.cell,
        )
    else:
        return found
    return None


def _pinned_setting(label: Any, table: RawTable) -> Named | None:
    """Return the setting that a mapping says a label is, with the unit that the label or the mapping states."""
    pins = table.pins
    wanted = [] if pins is None else [s for s, text in pins.settings.items() if plain(text) == plain(label)]
    if not wanted:
        return None
    column = next(one for one in SETTINGS if one.name == wanted[0])
    stated = stated_by_pins(table, column) or stated_by(label)
    return Named(column, stated if stated.fits(column) else NOTHING_STATED)


def _is_default(value: Any) -> bool:
    # NaN, NaT: blank, or wrong and reported.
    return value == "" if isinstance(value, str) else bool(pd.isna(value))


def _as_field(name: str, value: Any) -> Any:
    """Return a cleaned value with the type of the Policy's field."""
    if name in _TRUTHS:
        return value == "yes"
    if isinstance(value, np.datetime64):
        return str(value.astype("datetime64[D]"))
    if isinstance(value, float):
        return int(value) if _SETTINGS[name].kind == "whole" else float(value)
    return value
