"""What a title or a header names: any letter case, any separator, aliases, units and directions beside the name."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from planner.columns import SHEETS, Column, Sheet
from planner.intake.rawtable import tidy
from planner.intake.units import NOTHING_STATED, Stated, Unit, Way, unit_named, unit_of, way_named

_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_STATEMENT_AT_END = re.compile(r"(.*\S)\s*[(\[{]([^()\[\]{}]*)[)\]}]")
_IDLE = frozenset({"", "required", "optional", "mandatory", "text", "id", "number", "no", "nr", "code"})
_MOST_UNIT_WORDS = 2
_LONGEST_HEADER = 200
_MOST_REMEMBERED = 20_000


def plain(text: object) -> str:
    """Return a name in the form in which names are compared.

    >>> plain("RTT (ms)"), plain("Site-ID *")
    ('rtt_ms', 'site_id')
    """
    return re.sub(r"[\W_]+", "_", tidy(str(text)).casefold()).strip("_")


_SHEETS = {plain(name): sheet for sheet in SHEETS for name in (sheet.name, *sheet.aliases)}


@dataclass(frozen=True, slots=True)
class Named:
    """A column that a header names, and what the header says of its values."""

    column: Column
    stated: Stated = NOTHING_STATED


class _Index:
    """The columns of one sheet by every name they go by, and by the names without unit of those that have one."""

    def __init__(self, columns: tuple[Column, ...]) -> None:
        self.columns = columns
        self.by_name = {plain(name): column for column in columns for name in (column.name, *column.aliases)}
        self.bare: dict[str, list[Column]] = {}  # latency_budget for latency_budget_ms
        for name, column in self.by_name.items():
            if unit_of(column) is not None:
                words, _ = _without_statements(name.split("_"), Stated())
                of_name = self.bare.setdefault("_".join(words), [])
                if column not in of_name:
                    of_name.append(column)
        self.named: dict[str, Named | None] = {}


_INDEXES: dict[int, _Index] = {}


def _index(columns: tuple[Column, ...]) -> _Index:
    """Return the index of ``columns``, made once: hashing them would take longer than looking up."""
    index = _INDEXES.get(id(columns))
    if index is None or index.columns is not columns:
        index = _INDEXES[id(columns)] = _Index(columns)
    return index


def sheet_of(title: str) -> Sheet | None:
    """Return the sheet that a title stands for, or None."""
    return _SHEETS.get(plain(title))


def resembles(title: str, sheet: Sheet) -> bool:
    """Return whether a word of ``title`` is a name of ``sheet``, as in ``Site list 2026``."""
    words = set(plain(title).split("_"))
    return any(set(plain(name).split("_")) <= words for name in (sheet.name, *sheet.aliases))


def column_of(header: object, sheet: Sheet) -> Column | None:
    """Return the column of ``sheet`` that a header stands for by its name alone, or None."""
    return _index(sheet.columns).by_name.get(plain(header)) if isinstance(header, str) else None


def named(header: object, columns: tuple[Column, ...]) -> Named | None:
    """Return the column that a header names, also with a unit or direction of its own; None if it names none.

    >>> from planner.columns import LATENCY
    >>> found = named("Latency one way [s]", LATENCY.columns)
    >>> found.column.name, str(found.stated), found.stated.factor(found.column)
    ('rtt_ms', 's one way', 2000.0)
    """
    if not isinstance(header, str) or len(header) > _LONGEST_HEADER:
        return None
    index = _index(columns)
    if header not in index.named:
        if len(index.named) > _MOST_REMEMBERED:
            index.named.clear()
        index.named[header] = _find(header, index)
    return index.named[header]


def _find(header: str, index: _Index) -> Named | None:
    column = index.by_name.get(plain(header))
    if column is not None:
        return Named(column)
    words, stated = _parsed(header)
    if stated == NOTHING_STATED:
        column = index.by_name.get("_".join(words))
        return None if column is None else Named(column)
    for name, said in ((words, stated), _round_trip(words, stated)):
        full = index.by_name.get("_".join(name))
        fitting = [c for c in index.bare.get("_".join(name), () if full is None else (full,)) if said.fits(c)]
        if len(fitting) == 1:
            return Named(fitting[0], said)
    return None


def stated_by(text: object) -> Stated:
    """Return the unit and direction that a text such as ``RTT [s]`` states, whatever else it says."""
    return _parsed(text)[1] if isinstance(text, str) and len(text) <= _LONGEST_HEADER else NOTHING_STATED


def is_statement(text: object) -> bool:
    """Return whether a text states a unit or direction and nothing else, as a row of units below a header does."""
    if not isinstance(text, str) or len(text) > _LONGEST_HEADER:
        return False
    words, stated = _parsed(text)
    return not words and stated != NOTHING_STATED


def without_statement(text: str) -> str:
    """Return a text without a unit or direction in brackets at its end.

    >>> without_statement("ESK (ms)"), without_statement("ESK (old)")
    ('ESK', 'ESK (old)')
    """
    match = _STATEMENT_AT_END.fullmatch(text) if len(text) <= _LONGEST_HEADER else None
    return match[1] if match is not None and is_statement(match[2]) else text


@lru_cache(maxsize=_MOST_REMEMBERED)
def _parsed(header: str) -> tuple[Sequence[str], Stated]:
    """Return the words of a header's name, and what it states in brackets or behind the name."""
    unit: Unit | None = None
    way: Way = ""
    kept = tidy(header)
    for inside in _BRACKETS.findall(kept):
        parts = [part.strip() for part in re.split(r"[,;]", inside)]
        units, ways = [unit_named(part) for part in parts], [way_named(part) for part in parts]
        whole, whole_way = _without_statements(inside.split(), Stated())
        if all(u or w or plain(p) in _IDLE for u, w, p in zip(units, ways, parts, strict=True)):
            unit, way = next(filter(None, units), unit), next(filter(None, ways), way)
        elif not whole:
            unit, way = whole_way.unit or unit, whole_way.way or way
        else:
            continue
        kept = kept.replace(next(b for b in _BRACKETS.findall(kept) if b == inside), " ", 1)
    # The separator of a rate is part of the unit; any other separates words.
    words = [word for word in re.split(r"(?<!b)(?<!bit)(?<!B)(?<!Byte)/|[^\w%/µμ]+|_", kept) if word]
    return _without_statements(words, Stated(unit, way))


def _without_statements(words: list[str], stated: Stated) -> tuple[list[str], Stated]:
    """Return ``words`` in lower case without units and directions at their end, and these added to ``stated``."""
    unit, way = stated.unit, stated.way
    words = list(words)
    changed = True
    while words and changed:
        changed = False
        for number in range(min(_MOST_UNIT_WORDS, len(words)), 0, -1):
            last = words[-number:]
            found_way = way_named("_".join(last)) if not way and [w.casefold() for w in last] != ["rtt"] else ""
            found = unit_named("_".join(last)) or unit_named("/".join(last)) if unit is None and not found_way else None
            if found or found_way:
                unit, way = found or unit, found_way or way
                del words[-number:]
                if words and words[-1].casefold() in ("in", "as", "en"):
                    del words[-1]
                changed = True
                break
    return [plain(word) for word in words if plain(word)], Stated(unit, way)


def _round_trip(words: Sequence[str], stated: Stated) -> tuple[Sequence[str], Stated]:
    """Return the name of a time that is called RTT where such a name is not known."""
    if "rtt" not in words or stated.way:
        return words, stated
    return [word for word in words if word != "rtt"] or ["latency"], Stated(stated.unit, "round trip")


def names_of(columns: Iterable[Column]) -> list[tuple[str, Column]]:
    """Return every name, in the form in which names are compared, of each of the ``columns``."""
    return [(plain(name), column) for column in columns for name in (column.name, *column.aliases)]
