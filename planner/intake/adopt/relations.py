"""Tables of pairs: round-trip times as a list, as a matrix either way, or beside the sites, and who serves whom."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from planner.columns import LATENCY
from planner.intake.adopt import patterns
from planner.intake.adopt.columns import ColumnGuess, guess_columns
from planner.intake.adopt.entities import MOSTLY, HubNames, Table, is_turned_matrix, matrix_columns, names_hubs
from planner.intake.adopt.patterns import Wanted
from planner.intake.adopt.profile import Profile
from planner.intake.likeness import concepts_in, folded, likeness

_PROBES = 3.0  # rows of one pair from which a dated list is one of single probes
_LIMIT_FREE = 0.45
_NEARLY_ALL = 0.9
_NEAR = 2  # columns between a hub and its time


@dataclass(frozen=True)
class PairTable:
    """A table of pairs: the columns of sites and hubs, the column of times or those of a matrix, and other columns."""

    table: Table
    site: Profile | None
    hub: Profile | None = None
    rtt: Profile | None = None
    matrix: tuple[Profile, ...] = ()
    turned: bool = False
    beside: bool = False  # the matrix stands in the table of sites, among other columns
    others: tuple[ColumnGuess, ...] = ()
    rivals: tuple[Profile, ...] = ()  # further columns of times
    unit: Profile | None = None  # the column that says the unit of each row

    @property
    def is_probes(self) -> bool:
        """Whether each row is one probe: a date, and many rows of one pair."""
        if self.site is None or self.hub is None or not any(c.name == "measured_at" for c in self.others):
            return False
        pairs = Counter(zip(self.site.cells, self.hub.cells, strict=True))
        return len(self.site.cells) >= _PROBES * len(pairs)


@dataclass(frozen=True)
class Ends:
    """The tables of sites and hubs, and the columns that identify their rows."""

    sites: Table
    hubs: Table
    site: Profile
    in_pairs: bool = False  # the table of sites has a row for each pair

    @property
    def names(self) -> HubNames:
        """The ids and names of the hubs."""
        return HubNames(self.hubs.key_set)

    @property
    def site_keys(self) -> frozenset[str]:
        """The ids and names of the sites."""
        return self.sites.key_set


def pair_tables(tables: Sequence[Table], ends: Ends) -> list[PairTable]:
    """Return every table that says something of pairs, in the order of the file."""
    found: list[PairTable] = []
    for table in tables:
        if table is ends.hubs:
            continue
        beside = table is ends.sites and not ends.in_pairs
        found += _beside_sites(table, ends) if beside else _of_pairs(table, ends)
    return found


def _of_pairs(table: Table, ends: Ends) -> Iterator[PairTable]:
    if is_turned_matrix(table, ends.sites, ends.names):
        hub = max(table.keys, key=lambda p: p.within(ends.names.keys))
        yield PairTable(table, hub, turned=True)
        return
    sites = [p for p in table.profiles if p.values and p.within(ends.site_keys) >= MOSTLY]
    hubs = [p for p in table.profiles if p.values and names_hubs(p, ends.names.keys) >= MOSTLY]
    site = max(sites, key=lambda p: (p.within(ends.site.key_set), -p.column), default=None)
    if site is None:
        return
    hubs = [p for p in hubs if p.column != site.column]
    if not hubs:  # names of hosts that hold the id of their hub
        free = [p for p in table.profiles if p.values and p.column != site.column]
        hubs = [p for p in free if names_hubs(p, ends.names.keys, True) > _NEARLY_ALL]
    matrix = [profile for profile, _ in matrix_columns(table, ends.names) if profile.column != site.column]
    if hubs:
        hub = max(hubs, key=lambda p: (names_hubs(p, ends.names.keys), p.share("text"), -p.column))
        yield _list(table, site, hub)
    elif matrix:
        yield PairTable(table, site, matrix=tuple(matrix))


def _list(table: Table, site: Profile, hub: Profile) -> PairTable:
    rest = [p for p in table.profiles if p.column not in (site.column, hub.column)]
    times = sorted((p for p in rest if _time_likeness(p, table)), key=lambda p: -_time_rank(p, table))
    others = [p for p in rest if p not in times]
    wanted = [w for w in patterns.PAIRS if w.name != "rtt_ms"]
    columns, _ = guess_columns(others, wanted, LATENCY, frozenset())
    rtt = times[0] if times else None
    unit = next((p for p in others if p.values and all(_is_unit(str(v)) for v in p.sample)), None)
    return PairTable(table, site, hub, rtt, others=tuple(columns), rivals=tuple(times[1:]), unit=unit)


def _time_likeness(profile: Profile, table: Table) -> float:
    """Return how likely a column holds round-trip times; 0 where its cells, or its header, forbid it."""
    if profile.share("number") < 0.5 or not profile.figures or min(profile.figures) < 0:
        return 0.0
    concepts = concepts_in(profile.header)
    if concepts.keys() & {"LOSS", "COST", "SPREAD", "LAT", "LON", "CLUSTER", "COUNT", "UPLINK", "KM", "HOST", "ID"}:
        return 0.0
    said = max(
        likeness(profile.header, _TIME.patterns), 0.6 * any(c in concepts for c in ("AVG", "WORST", "BEST", "PCTL"))
    )
    if said:
        return said
    in_title = "RTT" in concepts_in(table.title)
    fractions = sum(f != round(f) for f in profile.figures) / len(profile.figures)
    return 0.6 if in_title else 0.5 if fractions > 0.3 else 0.0


_TIME: Wanted = patterns.PAIRS[0]


def _time_rank(profile: Profile, table: Table) -> float:
    """Return which of several columns of times is taken first: the plain one, then mean, percentile, worst, best."""
    concepts = concepts_in(profile.header)
    order = {"AVG": -0.05, "PCTL": -0.1, "WORST": -0.2, "BEST": -0.3}
    least = min((order[c] for c in order if c in concepts), default=0.0)
    return _time_likeness(profile, table) + 2 * least + profile.filled


def _beside_sites(table: Table, ends: Ends) -> Iterator[PairTable]:
    """Yield what the table of sites itself says of times: columns that hubs head, and times behind a column of hubs."""
    matrix = [profile for profile, _ in matrix_columns(table, ends.names) if _is_time_of_hub(profile)]
    if len(matrix) > 1 or (matrix and len(ends.hubs.block.body) == 1):
        yield PairTable(table, ends.site, matrix=tuple(matrix), beside=True)
    hubs = [p for p in table.profiles if p.values and names_hubs(p, ends.names.keys) >= MOSTLY]
    hubs = [p for p in hubs if p.share("text") > 0.5]
    used: set[int] = {p.column for p in matrix}
    for rtt in table.profiles:
        other = concepts_in(rtt.header).keys() & {"LIMIT", "RELEASE"}
        if rtt.column in used or other or _says_time(rtt) < _LIMIT_FREE:
            continue
        near = [h for h in hubs if 0 < abs(rtt.column - h.column) <= _NEAR]
        hub = min(near, key=lambda h: (abs(rtt.column - h.column), h.column > rtt.column), default=None)
        if hub is not None:
            yield PairTable(table, ends.site, hub, rtt, beside=True)


def _is_time_of_hub(profile: Profile) -> bool:
    return (
        not concepts_in(profile.header).keys() & {"COST", "KM", "HOST", "COUNT", "LOSS"} and min(profile.figures) >= 0
    )


def _says_time(profile: Profile) -> float:
    return likeness(profile.header, _TIME.patterns, _TIME.against) if profile.share("number") > 0.5 else 0.0


def unit_of_times(pair: PairTable) -> tuple[str, str, bool]:
    """Return the unit and direction of the times as a mapping says them, why, and whether that is sure."""
    block = pair.table.block
    if pair.unit is not None:
        return "", f"each row says its unit in {pair.unit.label}", True
    column = pair.rtt or (pair.matrix[0] if pair.matrix else None)
    heads = [] if column is None else [column.header, block.groups[column.column - block.columns[0]]]
    corner = [] if pair.site is None or pair.rtt is not None else [pair.site.header]
    texts = [*heads, *corner, *reversed(block.above), block.raw.title]
    unit, way = next(filter(None, map(_unit_said, texts)), ""), next(filter(None, map(_way_said, texts)), "")
    figures = sorted(column.figures) if column is not None else []
    if unit or not figures:
        return " ".join(filter(None, (unit, way))), "the header says so" if unit else "", bool(unit)
    middle = figures[len(figures) // 2]
    if figures[-1] < 1.5:
        return f"s {way}".strip(), f"the figures are as small as {middle:g}", False
    if middle > 1500:
        return f"µs {way}".strip(), f"the figures are as large as {middle:g}", False
    return f"ms {way}".strip() if way else "", "times from a place to another are mostly some ms", True


_UNITS = {
    "ms": "ms msec msecs millisecond milliseconds millisekunden millisecondes milisegundos millisecondi milliseconden",
    "µs": "us usec µs μs microsecond microseconds mikrosekunden microsecondes",
    "s": "s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos secondi secondo sekund",
}
_ONE_WAY = (
    "one way", "one direction", "oneway", "single trip", "einfach", "einweg", "hinweg", "eine richtung", "aller simple",
    "sens unique", "solo ida", "una via", "solo andata", "sola andata", "enkele reis", "enkele richting",
    "w jedna strone", "jednosmern", "enkel vag", "aller seul", "un sens", "un sentido", "ow",
)  # fmt: skip


def _is_unit(text: str) -> bool:
    """Say whether a cell names a unit and holds no figure: "11.6 ms" is a time."""
    return bool(_unit_said(text)) and not any(letter.isdigit() for letter in text)


def _unit_said(text: str) -> str:
    words = folded(text).replace("μ", "µ").split()
    found = [unit for unit, names in _UNITS.items() if set(names.split()) & set(words)]
    return found[0] if len(found) == 1 else ""


def _way_said(text: str) -> str:
    padded = f" {folded(text)} "
    return (
        "one way" if any(f" {term}" in padded if len(term) > 2 else f" {term} " in padded for term in _ONE_WAY) else ""
    )
