"""Headers -> columns: by a mapping, by name, by a name with a unit, by similarity, and by what the cells hold.

What is certain is taken; what rests on a likeness is taken with a warning; what may be two things is a question.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field

from openpyxl.utils import get_column_letter

from planner.columns import POLICY, SHEETS, Column, Sheet
from planner.intake.content import fits, identifies
from planner.intake.findings import Findings, show
from planner.intake.headers import header_text, is_usable
from planner.intake.layout import How, Matched
from planner.intake.matched import record_layout, report_unit
from planner.intake.names import named, names_of, plain, stated_by
from planner.intake.pinned_columns import pinned_position, stated_as
from planner.intake.rawtable import RawTable, tidy
from planner.intake.units import NOTHING_STATED, Stated

Known = Mapping[str, Collection[str]]  # the ids that a column may hold, by its canonical name

_ALIKE, _CLEARLY = 82.0, 5.0
_SHORTEST = 4
_LONGEST_HEADER = 255
_MOST_COMPARED = 500  # headers beyond are hardly those of a fleet, and comparing takes time

# Headers that are common and may mean more than one thing; what they may mean, for the question.
_DOUBTFUL: Mapping[str, Mapping[str, str]] = {
    "Sites": {
        **dict.fromkeys(
            ("hub", "hub_id", "data_centre", "datacentre", "data_center", "datacenter"),
            "pinned_hub (must go there) or the hub of today, which belongs on the sheet Current",
        ),
        **dict.fromkeys(
            ("latency", "latency_ms", "rtt", "rtt_ms"),
            "latency_budget_ms (what the site tolerates) or a measured time, which belongs on the sheet Latency",
        ),
        "priority": "weight or an order of your own",
    },
    "Hubs": {
        "hosts": "max_hosts (most that fit) or existing_hosts (already running)",
        "host_count": "max_hosts (most that fit) or existing_hosts (already running)",
        "capacity": "cluster_cap (clusters on one host) or max_hosts",
    },
}


@dataclass(frozen=True, slots=True)
class Match:
    """Which column of a raw table holds what: positions of canonical columns, and of the user's own.

    ``stated`` is the unit and direction that a column's header, or the mapping, states.
    """

    known: dict[str, int]
    own: dict[str, int]
    stated: dict[str, Stated] = field(default_factory=dict)


class _Matching:
    """The columns of one table while they are being matched."""

    def __init__(self, table: RawTable, sheet: Sheet, findings: Findings) -> None:
        self.table, self.sheet, self.findings = table, sheet, findings
        self.at: dict[str, list[int]] = {}
        self.stated: dict[str, Stated] = {}
        self.how: dict[str, How] = {}
        self.left: list[int] = []
        self.refused: set[str] = set()  # columns that a mapping names wrongly, and columns in question

    def take(self, column: Column, position: int, how: How, stated: Stated = NOTHING_STATED) -> None:
        self.at.setdefault(column.name, []).append(position)
        self.how[column.name] = how
        if stated != NOTHING_STATED:
            self.stated[column.name] = stated

    def header(self, position: int) -> str:
        return header_text(self.table.headers[position])

    def free(self) -> list[Column]:
        return [c for c in self.sheet.columns if c.name not in self.at and c.name not in self.refused]

    def quoted(self, positions: Iterable[int]) -> str:
        return " or ".join(f"{show(self.header(p))} ({get_column_letter(p + 1)})" for p in positions)


def match_headers(
    table: RawTable, sheet: Sheet, findings: Findings, required: Iterable[Column], known: Known | None = None
) -> Match:
    """Return where the columns of ``sheet`` stand in ``table``; missing, repeated and unknown ones become findings.

    ``known`` are the ids that some columns refer to, by which a column without a known name can be told.
    """
    matching = _Matching(table, sheet, findings)
    usable = [p for p in range(len(table.headers)) if is_usable(table, p, findings)]
    usable = _pinned(matching, usable)
    for position in usable:
        if table.pins is not None and table.pins.only:
            matching.left.append(position)
            continue
        found = named(table.headers[position], sheet.columns)
        if found is None or found.column.name in matching.refused or matching.how.get(found.column.name) == "mapping":
            matching.left.append(position)
        else:
            matching.take(found.column, position, "name" if found.stated == NOTHING_STATED else "unit", found.stated)
    _report_repeated(matching)
    if sheet in SHEETS and sheet is not POLICY and not (table.pins is not None and table.pins.only):
        _by_similarity(matching)
        _by_content(matching, required, known or {})
    own = _own(matching)
    for column in required:
        if column.name not in matching.at and column.name not in matching.refused:
            findings.add("column_missing", table.place(), column=column.name, meaning=column.meaning)
    _report_units(matching)
    _record(matching, own)
    return Match({name: p[0] for name, p in matching.at.items()}, own, matching.stated)


def _pinned(matching: _Matching, usable: list[int]) -> list[int]:
    """Take the columns that a mapping names; return the positions that are left to be matched."""
    pins, table = matching.table.pins, matching.table
    if pins is None:
        return usable
    texts = {p: plain(matching.header(p)) for p in usable}
    left = [p for p in usable if matching.header(p) not in pins.ignore]
    for name, header in pins.columns.items():
        column = matching.sheet.column(name)
        letter = header[1:].upper() if header.startswith("=") else ""
        at = [p for p in usable if (get_column_letter(p + 1) == letter if letter else texts[p] == plain(header))]
        if not at and letter and (p := pinned_position(table, header)) is not None:
            at = [p]  # a letter serves also where there is no header
        if len(at) != 1:
            code = "mapping_header" if not at else "mapping_header_twice"
            matching.findings.add(code, table.place(), column=name, header=show(header), mapping=pins.file)
            matching.refused.add(name)
            continue
        stated = stated_as(pins.units.get(name, ""), column) or stated_by(table.headers[at[0]])
        matching.take(column, at[0], "mapping", stated if stated.fits(column) else NOTHING_STATED)
        left = [p for p in left if p != at[0]]
    return left


def _report_repeated(matching: _Matching) -> None:
    table = matching.table
    own: dict[str, list[int]] = {}
    for position in matching.left:
        own.setdefault(matching.header(position), []).append(position)
    for positions in (*matching.at.values(), *own.values()):
        if len(positions) > 1:
            headers = " and ".join(show(matching.header(p)) for p in positions)
            places = [table.header_place(p) for p in positions]
            letters = ", ".join(p.cell for p in places)
            matching.findings.add("column_repeated", places[1], headers=headers, letters=letters)


def _by_similarity(matching: _Matching) -> None:
    """Take columns whose names are much like one that is free, if one only, and if their values fit it."""
    wishes: dict[str, list[int]] = {}
    for position in matching.left[:_MOST_COMPARED]:
        columns = _alike(plain(matching.header(position)), matching.free())
        columns = [c for c in columns if fits(matching.table.columns[position], c)] if len(columns) > 1 else columns
        if len(columns) == 1:
            wishes.setdefault(columns[0].name, []).append(position)
        elif columns:
            names = " or ".join(column.name for column in columns)
            _ask(matching, position, names, columns[0].name)
            matching.left.remove(position)
    for name, positions in wishes.items():
        column = matching.sheet.column(name)
        fitting = [p for p in positions if fits(matching.table.columns[p], column)]
        if len(fitting) > 1:
            place = matching.table.header_place(fitting[0])
            code = "column_question" if column.required else "column_doubtful_twice"
            matching.findings.add(code, place, name, headers=matching.quoted(fitting), **_pin(matching))
            matching.refused.add(name)
        for position in fitting if len(fitting) == 1 else ():
            place, header = matching.table.header_place(position), show(matching.header(position))
            matching.findings.add("column_similar", place, name, header=header, known=name, **_pin(matching, name))
            matching.take(column, position, "similar", _stated_if_fit(matching, position, column))
            matching.left.remove(position)


def _stated_if_fit(matching: _Matching, position: int, column: Column) -> Stated:
    stated = stated_by(matching.table.headers[position])
    return stated if stated.fits(column) else NOTHING_STATED


def _alike(name: str, free: list[Column]) -> list[Column]:
    """Return the free columns whose names are most like ``name``: one if it is clearly the most alike, else several."""
    if len(name) < _SHORTEST:
        return []
    from rapidfuzz import fuzz

    scores: dict[str, float] = {}
    for other, column in names_of(free):
        if [c for c in name if c.isdigit()] == [c for c in other if c.isdigit()] and len(other) >= _SHORTEST:
            score = max(fuzz.ratio(name, other), fuzz.ratio(*("_".join(sorted(n.split("_"))) for n in (name, other))))
            scores[column.name] = max(scores.get(column.name, 0.0), score)
    best = max(scores.values(), default=0.0)
    return [c for c in free if scores.get(c.name, 0.0) > best - _CLEARLY] if best >= _ALIKE else []


def _by_content(matching: _Matching, required: Iterable[Column], known: Known) -> None:
    """Tell required columns that no name gave away by what their cells hold."""
    for column in required:
        if column.name in matching.at or column.name in matching.refused:
            continue
        ids = known.get(column.name)
        rivals = {c.name: known[c.name] for c in required if c.name in known and c is not column}
        by_ids = [p for p in matching.left if ids and identifies(matching.table.columns[p], ids, rivals.values())]
        if len(by_ids) == 1:
            place, header = matching.table.header_place(by_ids[0]), show(matching.header(by_ids[0]))
            words = {"header": header, "known": column.name, **_pin(matching, column.name)}
            matching.findings.add("column_by_content", place, column.name, **words)
            matching.take(column, by_ids[0], "content")
            matching.left.remove(by_ids[0])
            continue
        candidates = by_ids or [p for p in matching.left if _may_be(matching, p, column)]
        if candidates:
            headers = matching.quoted(candidates)
            place = matching.table.place()
            matching.findings.add("column_question", place, column.name, headers=headers, **_pin(matching))
            matching.refused.add(column.name)


def _may_be(matching: _Matching, position: int, column: Column) -> bool:
    cells = matching.table.columns[position]
    if column.kind != "id":
        return fits(cells, column)
    values = [tidy(v) if isinstance(v, str) else v for v in cells.tolist() if v != "" and v == v]
    unique = matching.sheet.name == "Sites"
    return bool(values) and len(values) == len(cells) and (len(set(values)) == len(values) or not unique)


def _pin(matching: _Matching, column: str = "") -> dict[str, str]:
    name = column or "COLUMN"
    return {"pin": f'pin it in a mapping file: [{matching.sheet.name}.columns] {name} = "header"'}


def _ask(matching: _Matching, position: int, meanings: str, column: str) -> None:
    words = {"header": show(matching.header(position)), "meanings": meanings, **_pin(matching, column)}
    matching.findings.add("column_doubtful", matching.table.header_place(position), **words)


def _own(matching: _Matching) -> dict[str, int]:
    """Return the user's own columns by their headers, and report them."""
    own: dict[str, int] = {}
    doubtful = _DOUBTFUL.get(matching.sheet.name, {})
    report: Callable[..., None] = matching.findings.add
    for position in matching.left:
        header = matching.header(position)[:_LONGEST_HEADER]
        if header in matching.sheet.names:  # a mapping says that another column is the one of this name
            header = f"{header} (not used)"
        if header in own:
            continue
        own[header] = position
        place = matching.table.header_place(position)
        if matching.sheet is POLICY or matching.table.pins is not None:
            continue  # beside settings stand notes for people, and who writes a mapping knows the columns
        if plain(header) in doubtful:
            _ask(matching, position, doubtful[plain(header)], "COLUMN")
        elif len(own) <= _MOST_COMPARED and (
            alike := _alike(plain(header), [c for c in matching.sheet.columns if c.name not in matching.at])
        ):
            report("column_misspelt", place, column=header, header=show(header), guess=alike[0].name)
        else:
            report("column_unknown", place, column=header, header=show(header))
    return own


def _report_units(matching: _Matching) -> None:
    for name, stated in matching.stated.items():
        report_unit(matching.table, matching.at[name][0], matching.sheet.column(name), stated, matching.findings)


def _record(matching: _Matching, own: Mapping[str, int]) -> None:
    """Keep what was matched with what, and say so where a header is not the column's own name."""
    table, findings = matching.table, matching.findings
    columns = tuple(
        Matched(n, matching.header(p[0]), get_column_letter(p[0] + 1), matching.how[n], str(matching.stated.get(n, "")))
        for n, p in matching.at.items()
    )
    record_layout(table, matching.sheet, columns, tuple(own), findings)
