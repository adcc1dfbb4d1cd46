"""What a plan workbook shows against the plan that its record holds: what people changed counts, all else is exact."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import re
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from typing import Any, TypeVar

from planner.counted_words import counted
from planner.fleet import Finding
from planner.outputs import cellsafe, headings
from planner.plan import Assignment, Plan, Reason

_REASON = re.compile(r"([a-z][a-z0-9_]*):(?: (.*))?")
_ROUNDED = 1e-12  # relative; cells hold 15 digits

Row = TypeVar("Row")

# The lists of a plan that have sheets, and what tells their rows apart.
_LISTS: dict[str, Callable[[Any], Hashable]] = {
    "host_list": lambda row: row.host,
    "assignments": lambda row: (row.site, row.host),
    "unserved": lambda row: row.site,
    "uncovered": lambda row: row.site,
    "no_host_needed": lambda row: row.site,
}


def with_record(shown: Plan, record: Plan, *, standbys: bool) -> Plan:
    """Return ``record`` with all that ``shown``, read from the sheets, has otherwise.

    Where rows differ, nothing is known of the later aims any more: they are left out, and a finding says so.
    ``standbys``: the workbook has a sheet of standbys; else what that would show is taken from the record.
    """
    if not standbys:
        rows = _with_times(shown.assignments, record.assignments)
        shown = shown.replace(assignments=rows, uncovered=record.uncovered)
    lists: dict[str, tuple[Any, ...]] = {}
    differing: set[str] = set()
    for name, key in _LISTS.items():
        known = getattr(record, name)
        lists[name], differ = _merged(getattr(shown, name), known, key)
        differing |= differ
    claims = {name: _one(getattr(shown, name), getattr(record, name)) for name in ("status", "objective")}
    figures = {name: _one(getattr(shown, name), getattr(record, name)) for name in ("objective_value", "lower_bound")}
    plan = record.replace(**lists, **claims, **figures)
    return _edited(plan, len(differing)) if differing else plan


def _with_times(shown: Sequence[Assignment], known: Sequence[Assignment]) -> tuple[Assignment, ...]:
    """Return the rows that are shown with the round-trip times to their standbys, which another sheet shows."""
    rtt_ms = {(row.site, row.standby): row.standby_rtt_ms for row in known}
    return tuple(dataclasses.replace(row, standby_rtt_ms=rtt_ms.get((row.site, row.standby))) for row in shown)


def _edited(plan: Plan, rows: int) -> Plan:
    verb = "differs" if rows == 1 else "differ"
    words = f"{counted(rows, 'row')} of the workbook {verb} from the plan as it was made."
    words += " The figures for further aims, such as moves, are left out: they may be wrong now."
    hint = "Run castingvote verify: it checks the plan as it stands now."
    return plan.replace(then=(), findings=(*plan.findings, Finding("warning", "plan_edited", "", words, hint)))


def _merged(
    shown: Sequence[Any], known: Sequence[Any], key: Callable[[Any], Hashable]
) -> tuple[tuple[Any, ...], set[str]]:
    """Return the rows that are shown, exact where they are those of the record, and names of those that are not."""
    of_record: dict[Hashable, list[Any]] = {}
    for row in known:
        of_record.setdefault(key(row), []).append(row)
    wanted = Counter((key(row), _standby(row)) for row in shown)
    rows, differing = [], set()
    for row in shown:
        twin = _twin(row, of_record.get(key(row), []), wanted, key)
        rows.append(row if twin is None else _of_row(row, twin))
        if twin is None or rows[-1] != twin:
            differing.add(_name(row))
    return tuple(rows), differing | {_name(row) for left in of_record.values() for row in left}


def _twin(
    row: Any, left: list[Any], wanted: Counter[tuple[Hashable, str]], key: Callable[[Any], Hashable]
) -> Any | None:
    """Take from ``left`` the row of the record that ``row`` is, None for none.

    Parts of a site on one host are told apart by their standbys; one whose standby was changed is one that is left over
    by those ``wanted``.
    """
    same = [one for one in left if _standby(one) == _standby(row)]
    spare = [one for one in left if not wanted[key(one), _standby(one)]]
    for twin in (*same, *spare):
        wanted[key(row), _standby(row)] -= 1
        left.remove(twin)
        return twin
    return None


def _standby(row: Any) -> str:
    return _plain(getattr(row, "standby", None) or "")


def _name(row: Any) -> str:
    """Return what the row is about: its site or host."""
    return f"host {row.host}" if not hasattr(row, "site") else f"site {row.site}"


def _of_row(shown: Row, known: Row) -> Row:
    """Return ``shown`` with every field that only looks otherwise in ``known`` taken from there."""
    names = [field.name for field in dataclasses.fields(shown)]  # type: ignore[arg-type]
    fields = {name: _one(getattr(shown, name), getattr(known, name)) for name in names}
    return dataclasses.replace(shown, **fields)  # type: ignore[type-var]


def _one(shown: Any, known: Any) -> Any:
    return known if _alike(shown, known) else shown


def _alike(shown: Any, known: Any) -> bool:
    """Say whether a cell that shows ``known`` reads as ``shown``."""
    if isinstance(shown, float) and isinstance(known, (int, float)):
        return math.isclose(shown, known, rel_tol=_ROUNDED) or (math.isnan(shown) and math.isnan(known))
    if isinstance(shown, str) and isinstance(known, str):
        return _plain(shown) == _plain(known) or _same_moment(shown, known)
    if isinstance(shown, tuple) and isinstance(known, tuple):
        return shown == tuple(reasons_in(reasons_text(known)))
    blank = (None, "")
    return bool(shown == known) or (shown in blank and known in blank)


def _plain(text: str) -> str:
    return cellsafe.one_line(text)


def _same_moment(shown: str, known: str) -> bool:
    try:
        one, other = (dt.datetime.fromisoformat(text).replace(tzinfo=None) for text in (shown, known))
    except ValueError:
        return False
    return abs(one - other) < dt.timedelta(seconds=1)


def reasons_text(reasons: Iterable[Reason]) -> str:
    """Return reasons as a cell holds them, one a line: the code of the rule, a colon, the detail."""
    return "\n".join(f"{reason.code}: {cellsafe.one_line(reason.detail)}" for reason in reasons)


def reasons_in(text: str) -> Iterator[Reason]:
    """Yield the reasons of a cell as `reasons_text` writes it; a line without a code is one called ``other``."""
    for line in text.splitlines():
        stated = _REASON.fullmatch(line)
        yield Reason(stated[1], stated[2] or "") if stated else Reason("other", line)


def record_unreadable(file: str, why: str) -> Finding:
    """Return the error for a workbook whose record is damaged."""
    hint = f"Take an undamaged copy, or delete the sheet {headings.RECORD}: then the plan is read without its proof."
    message = f"the record of the plan is damaged: {why}."
    return Finding("error", "record_unreadable", headings.RECORD, message, hint, file)
