"""Hubs that no table lists: those that round-trip times name, in their headers or in a column beside them."""

import re
from collections.abc import Callable, Iterator, Sequence

from planner.intake.adopt.block import Block
from planner.intake.adopt.entities import HubNames, Table
from planner.intake.adopt.profile import Profile, key_of
from planner.intake.findings import show
from planner.intake.likeness import concepts_in, folded
from planner.intake.names import without_statement
from planner.intake.rawtable import RawSheet, tidy

_FEWEST, _MOST = 2, 500
_NEAR = 2  # columns between a hub and its time
_REPEATED = 0.5  # share of different values up to which a column says where sites go
_FILLED = 0.6
_FRACTIONS, _LONGEST_MS = 0.3, 1500.0  # what figures look like that are times, though nothing says so
_OF_SITES = 0.5  # share of headers that are ids of sites, above a matrix with hubs down
# What a column of figures is that is no time of one hub, whatever stands in the title of its table.
_OTHER_WORDS = "LOSS COST SPREAD LAT LON CLUSTER COUNT UPLINK KM ID LIMIT RELEASE AVG WORST BEST PCTL DATE WEIGHT"
_OTHER = frozenset(_OTHER_WORDS.split())
_OF_PLACES = frozenset({"HUB", "NAME", "REGION", "TO"})
_JOINING_WORDS = "to from nach zu zum zur von vers naar do till til ms sec s µs us"
_JOINING = frozenset(_JOINING_WORDS.split())


def named_hubs(tables: Sequence[Table]) -> tuple[str, ...]:
    """Return the names of the hubs that one of ``tables`` tells, in its order; none where no table names two."""
    across = [_across(table, is_time) for is_time in (_is_time, _may_be_time) for table in tables]
    for found in (*map(_beside_times, tables), *(_down(t, tables) for t in tables), *across):
        names = list({key_of(name): name for name in reversed(list(found))}.values())[::-1]
        if _FEWEST <= len(names) <= _MOST:
            return tuple(names)
    return ()


def hub_of_times(profile: Profile) -> str:
    """Return the place that the header of a column of times names; blank where it is no such column."""
    return _place_in(profile.header) if _is_figure(profile) and says_times(profile.header) else ""


def says_times(header: str) -> bool:
    """Return whether a header says that its figures are round-trip times to one place."""
    concepts = concepts_in(header).keys()
    return "RTT" in concepts and not concepts & _OTHER and bool(_place_in(header))


def table_of_hubs(names: Sequence[str]) -> Table:
    """Return ``names`` as if a sheet listed them."""
    cells = [["hub"], *([name] for name in names)]
    return Table(Block(RawSheet("", "Hubs", cells), 0, 1, (0, 1), len(cells), ("hub",), ("",)))


def _beside_times(table: Table) -> Iterator[str]:
    """Yield the values of columns of hubs that stand by a time: rows of pairs, or nearest hubs beside the site."""
    times = [p.column for p in table.profiles if _is_figure(p) and "RTT" in concepts_in(p.header)]
    hubs = [p for p in table.profiles if _says_hub(p)]
    near = [p for p in hubs if any(abs(p.column - at) <= _NEAR for at in times)]
    for profile in near or hubs[: bool(times)]:
        yield from map(_text, profile.values)


def _across(table: Table, is_time: Callable[[Profile, Table], bool]) -> Iterator[str]:
    """Yield the places that the headers of two or more columns of times name."""
    columns = [p for p in table.profiles if _is_figure(p) and p not in table.keys and is_time(p, table)]
    names = _without_first([_place_in(p.header) for p in columns])
    known = HubNames(frozenset(map(key_of, names)))
    if all(names) and len(known.keys) == len(names):
        told = all(known.named_by(p.header) == key_of(name) for p, name in zip(columns, names, strict=True))
        yield from names if told else ()


def _down(table: Table, tables: Sequence[Table]) -> Iterator[str]:
    """Yield the rows of a matrix whose header has the ids of sites."""
    headers = {key_of(name) for name in table.block.names[1:] if name}
    for other in tables:
        within = len(headers & other.key_set)
        if other is not table and within >= _FEWEST and within >= _OF_SITES * len(headers) and table.keys:
            yield from map(_text, table.keys[0].values)
            return


def _is_figure(profile: Profile) -> bool:
    return profile.share("number") > 0.5 and bool(profile.figures) and min(profile.figures) >= 0


def _is_time(profile: Profile, table: Table) -> bool:
    concepts = concepts_in(profile.header).keys()
    said = "RTT" in concepts or "RTT" in concepts_in(table.title)
    return bool(profile.header) and said and not concepts & _OTHER


def _may_be_time(profile: Profile, _: Table) -> bool:
    """Return whether figures may be times though nothing says so: below a hub, or with fractions below a mere name."""
    concepts = concepts_in(profile.header).keys()
    parts = sum(figure != round(figure) for figure in profile.figures)
    likely = "HUB" in concepts or parts >= _FRACTIONS * len(profile.figures)
    usual = sorted(profile.figures)[len(profile.figures) // 2]
    return bool(profile.header) and not concepts - _OF_PLACES and likely and usual <= _LONGEST_MS


def _says_hub(profile: Profile) -> bool:
    concepts = concepts_in(profile.header).keys()
    says = bool(concepts & {"HUB", "TO"}) and not concepts & {"NAME", "RELEASE", "COUNT"}
    return says and profile.share("text") > 0.5 and profile.filled >= _FILLED and profile.distinct <= _REPEATED


def _place_in(header: str) -> str:
    """Return the place that the header of a column of times names; blank if none.

    >>> _place_in("RTT North DC (ms)"), _place_in("Ping nach München [ms]"), _place_in("rtt_KC1_ms"), _place_in("RTT")
    ('North DC', 'München', 'KC1', '')
    """
    text = re.sub(r"[\[({][^\])}]*[\])}]\s*$", "", without_statement(header)).strip()
    words = text.split()
    joint = next((j for j in ("_", "-") if len(words) == 1 and j in text), " ")
    words = text.split(joint) if joint != " " else words
    spans = [(start, stop) for start in range(len(words)) for stop in range(start + 1, len(words) + 1)]
    said = {k for start, stop in spans if _is_said(words[start:stop]) for k in range(start, stop)}
    left = [k for k in range(len(words)) if k not in said]
    kept = [k for k in left if folded(words[k]) not in _JOINING] or left[-1:]
    return joint.join(words[kept[0] : kept[-1] + 1]).strip(" :,;/|>→-") if kept else ""


def _without_first(names: list[str]) -> list[str]:
    """Return ``names`` without the words that all of them begin with, unless those say what a hub is.

    >>> _without_first(["Zeit KC1", "Zeit KC2"]), _without_first(["DC West", "DC East"])
    (['KC1', 'KC2'], ['DC West', 'DC East'])
    """
    split = [name.split() for name in names]
    while len(split) > 1 and all(len(words) > 1 for words in split) and len({words[0] for words in split}) == 1:
        if "HUB" in concepts_in(split[0][0]):
            break
        split = [words[1:] for words in split]
    return [" ".join(words) for words in split]


def _is_said(words: Sequence[str]) -> bool:
    """Return whether all of ``words`` say together that a figure is a round-trip time."""
    text = " ".join(words)
    return concepts_in(text).get("RTT", frozenset()) == frozenset(range(len(folded(text).split())))


def _text(value: object) -> str:
    return tidy(value) if isinstance(value, str) else show(value)
