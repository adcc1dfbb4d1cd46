"""What the page asks: changes to the fleet as it was read, as plain data; and the fleet with these changes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from planner import columns
from planner.columns import Sheet
from planner.counted_words import counted
from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.scenarios.edits import changed_fleet
from planner.scenarios.sweep_results import Edit, Growth, Scenario
from planner.sizing import drained

ALL = "*"
_RELATIVE = re.compile(r"[x+-][\d.]")  # a scenario reads such a text as a change to what is there
_MOST_EDITS = 2_000
_TABLES: Mapping[str, Sheet] = {"Sites": columns.SITES, "Hubs": columns.HUBS}
_SETTINGS = {setting.name for setting in columns.SETTINGS}


@dataclass(frozen=True, slots=True)
class Question:
    """Changes to a fleet; none of them is the fleet as it was read.

    ``settings`` leads from settings of the policy to their values as text. ``budgets`` leads from a region, or ``*``
    for all sites, to the percentage that latency budgets become; the region's counts on top. Hubs in ``shut`` run no
    host, those in ``drained`` are emptied. ``sites`` and ``clusters`` are added by growth, drawn with ``seed``.
    ``edits`` are cells, as suggestions name them.
    """

    settings: tuple[tuple[str, str], ...] = ()
    budgets: tuple[tuple[str, float], ...] = ()
    shut: tuple[str, ...] = ()
    drained: tuple[str, ...] = ()
    sites: int = 0
    clusters: int = 0
    seed: int = 0
    edits: tuple[Edit, ...] = ()

    @classmethod
    def of(cls, plain: Any) -> Question:
        """Return the question that ``plain`` data of the page ask; InputError where they ask none."""
        if not isinstance(plain, dict):
            raise _refused("The page sent something that the desk cannot read: no changes are in it. Reload the page.")
        grow = _dict(plain.get("grow"))
        return cls(
            settings=tuple(sorted(_setting(name, value) for name, value in _dict(plain.get("settings")).items())),
            budgets=tuple(sorted((str(k), _percent(v)) for k, v in _dict(plain.get("budgets")).items())),
            shut=_names(plain.get("shut")),
            drained=_names(plain.get("drained")),
            sites=_whole(grow.get("sites"), "sites"),
            clusters=_whole(grow.get("clusters"), "clusters"),
            seed=_whole(grow.get("seed"), "seed"),
            edits=tuple(_edit(one) for one in _list(plain.get("edits"))[:_MOST_EDITS]),
        )

    def fleet(self, read: Fleet) -> Fleet:
        """Return ``read`` with the changes made; InputError where they name what is not there or make no fleet."""
        asked = changed_fleet(read, self._scenario()) if self != Question() else read
        if self.budgets:  # without binary dust: a time that is just the budget stays within it, and files hold the same
            asked = asked.replace(sites=asked.sites.assign(latency_budget_ms=asked.sites["latency_budget_ms"].round(9)))
        return drained(asked, self.drained) if self.drained else asked

    def _scenario(self) -> Scenario:
        edits = [Edit("Policy", name, value) for name, value in self.settings]
        for region, percent in self.budgets:
            rows = ALL if region == ALL else f"region={region}"
            if percent != 100.0:
                edits.append(Edit("Sites", "latency_budget_ms", f"x{percent / 100:.6f}", rows))
        growth = Growth(self.sites, self.clusters, self.seed) if self.sites or self.clusters else None
        return Scenario("this question", (*edits, *self.edits), growth, closed_hubs=self.shut)

    def words(self) -> tuple[str, ...]:
        """Return each change in a few words; nothing for the fleet as it was read."""
        said = [f"{name} {value or 'blank'}" for name, value in self.settings]
        for region, percent in self.budgets:
            whose = "latency budgets" if region == ALL else f"latency budgets in {region}"
            said += [f"{whose} at {percent:g} %"] if percent != 100.0 else []
        said += [f"{hub} shut" for hub in self.shut] + [f"{hub} drained" for hub in self.drained]
        said += [f"{counted(self.sites, 'site')} more"] if self.sites else []
        said += [f"{counted(self.clusters, 'cluster')} more"] if self.clusters else []
        said += [
            f"{edit.column} of {'all' if edit.rows == ALL else edit.rows} {edit.value}"
            for edit in self.edits
            if edit.rows != ALL
            or (edit.column, edit.value) not in self.settings  # pools that follow the policy's value
        ]
        return tuple(said)


def _refused(message: str, hint: str = "") -> InputError:
    return InputError((Finding("error", "question_wrong", "", message, hint),))


def _dict(value: Any) -> dict[str, Any]:
    if value is None:
        return {}
    if not isinstance(value, dict):
        raise _refused("The page sent something that the desk cannot read: a part has no names. Reload the page.")
    return value


def _list(value: Any) -> list[Any]:
    if value is None:
        return []
    if not isinstance(value, list):
        raise _refused("The page sent something that the desk cannot read: a list is missing. Reload the page.")
    return value


def _names(value: Any) -> tuple[str, ...]:
    return tuple(sorted({str(name) for name in _list(value)}))


def _setting(name: str, value: Any) -> tuple[str, str]:
    if name not in _SETTINGS:
        raise _refused(f"{name} is no setting.", "Use a setting of the sheet Policy.")
    text = str(value).strip()
    if _RELATIVE.match(text):
        raise _refused(f"{name} cannot be {text}.", "Give the value itself, such as 48.")
    return name, text


def _percent(value: Any) -> float:
    try:
        percent = float(value)
    except (TypeError, ValueError):
        percent = float("nan")
    if not 1.0 <= percent <= 1000.0:
        raise _refused("Latency budgets can become 1 % to 1000 % of what they are.", "Give another percentage.")
    return percent


def _whole(value: Any, what: str) -> int:
    try:
        number = int(value or 0)
    except (TypeError, ValueError, OverflowError):
        number = -1
    if not 0 <= number <= 1_000_000:
        raise _refused(f"Growth by {what} is a whole number from 0 to 1,000,000.", "Give another number.")
    return number


def _edit(plain: Any) -> Edit:
    parts: Sequence[str] = [str(_dict(plain).get(name, "")) for name in ("sheet", "column", "value", "rows")]
    sheet, column, value, rows = parts
    known = sheet == "Policy" and column in _SETTINGS
    if not known and not (sheet in _TABLES and column in _TABLES[sheet].names):
        raise _refused(f"{sheet} has no column {column}.", "Use a column of the sheets Sites or Hubs.")
    return Edit(sheet, column, value, rows or ALL)  # type: ignore[arg-type]
