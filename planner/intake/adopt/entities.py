"""Which table lists the sites and which the hubs, told by what other tables say of pairs of them.

A latency list names a site and a hub in each row, a matrix has hubs in its header: whatever the words of the headers,
the columns that these values come from are the ids, or the names, of the two tables.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from planner.intake.adopt import patterns
from planner.intake.adopt.block import Block
from planner.intake.adopt.blocks import blocks_of
from planner.intake.adopt.profile import Profile, key_of, profiles_of
from planner.intake.likeness import concepts_in, likeness
from planner.intake.names import without_statement
from planner.intake.rawtable import RawSheet

MOSTLY = 0.7  # share of values that have to be among the ids of a table
_UNIQUE, _FILLED, _KEY_FILLED = 0.95, 0.6, 0.8
_LEAST_REPEATED = 0.1  # a table with a row for each cluster repeats the ids of its sites
_MOST_TABLES = 40
_ID_LIKE = 0.6
_LEAST_WIDTH, _SAME_ROWS = 3, 0.1


@dataclass(frozen=True, eq=False)
class Table:
    """A block with its columns, and the columns of it that can tell its rows apart."""

    block: Block

    @cached_property
    def profiles(self) -> list[Profile]:
        """The columns that have a header or values."""
        return profiles_of(self.block)

    @cached_property
    def keys(self) -> list[Profile]:
        """Columns that are different in each row: ids and names."""
        return [p for p in self.profiles if p.filled >= _KEY_FILLED and p.distinct >= _UNIQUE and _may_be_key(p)]

    @cached_property
    def repeated(self) -> list[Profile]:
        """Columns of ids that some rows share, as where each row is a cluster."""
        wanted = patterns.SITES[0]
        return [
            p
            for p in self.profiles
            if p not in self.keys
            and p.filled >= _KEY_FILLED
            and p.distinct >= _LEAST_REPEATED
            and _may_be_key(p)
            and likeness(p.header, wanted.patterns, wanted.against) >= _ID_LIKE
        ]

    @cached_property
    def key_set(self) -> frozenset[str]:
        """Every id and name of its rows, as keys."""
        return frozenset().union(*(p.key_set for p in self.keys), *(p.key_set for p in self.repeated))

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.block.body) + sum(len(block.body) for block in self.block.more)

    @property
    def title(self) -> str:
        """The title of the sheet and what stands above the table."""
        return " ".join((self.block.raw.title, *self.block.above[-2:]))

    @property
    def where(self) -> str:
        """The sheet and the first cell of the header."""
        return self.block.raw.place(self.block.row + 1, self.block.columns[0] + 1).where

    def profile(self, column: int) -> Profile:
        """Return the column at a position of the sheet."""
        return Profile(self.block, column)


def _may_be_key(profile: Profile) -> bool:
    if len(profile.values) < 2 or profile.share("date") > 0.5:
        return False
    if profile.share("number") > 0.5:
        whole = all(float(figure).is_integer() for figure in profile.figures)
        first = profile.column == profile.block.columns[0]
        return whole and (first or "ID" in concepts_in(profile.header) or "SITE" in concepts_in(profile.header))
    return profile.version_share < 0.5


def tables_of(sheets: Sequence[RawSheet]) -> list[Table]:
    """Return the tables on all sheets, those of one column left out."""
    blocks = [block for raw in sheets for block in blocks_of(raw) if block.width > 1 and block.body]
    tables: list[Table] = []
    for block in blocks[:_MOST_TABLES]:
        at = next((k for k, table in enumerate(tables) if _goes_on(table, block)), None)
        if at is None:
            tables.append(Table(block))
        else:
            first = tables[at].block
            tables[at] = Table(replace(first, more=(*first.more, block)))
    return tables


def _goes_on(table: Table, block: Block) -> bool:
    """Return whether a block has the header of a table and other rows, as where each region has its own sheet."""
    first = table.block
    if first.header_rows != block.header_rows or block.width < _LEAST_WIDTH:
        return False
    if len(set(first.names)) < block.width or set(first.names) != set(block.names):
        return False  # in any order, but one name for one column
    keys = {p.header: p for p in Table(block).keys}
    own = next((p for p in table.keys if p.header in keys), None)
    return own is not None and keys[own.header].within(own.key_set) < _SAME_ROWS


@dataclass(frozen=True)
class HubNames:
    """The ids and names of the hubs of a table, and how a header may name one."""

    keys: frozenset[str]

    def named_by(self, header: str) -> str:
        """Return the key of the hub that a header names, also beside other words; blank if none or several."""
        for text in (header, without_statement(header)):
            if (key := key_of(text)) in self.keys:
                return key
        within = keys_within(header, self.keys)
        return within[0] if len(within) == 1 else ""


@lru_cache(maxsize=2_000)
def names_hubs(profile: Profile, keys: frozenset[str], parts: bool = False) -> float:
    """Return the share of the values that name one of ``keys``, alone or as a word, or a part of one, beside others."""
    exact = profile.within(keys)
    if exact >= MOSTLY or profile.share("text") < 0.5:
        return exact
    found = sum(key in keys or len(keys_within(str(v), keys, parts)) == 1 for v, key in _with_keys(profile))
    return max(exact, found / len(profile.sample))


def _with_keys(profile: Profile) -> list[tuple[object, str]]:
    return [(value, key_of(value)) for value in profile.sample]


def keys_within(text: str, keys: frozenset[str], parts: bool = True) -> list[str]:
    """Return the keys that stand in a text as words of their own, those within a longer one left out.

    Where none does, and ``parts`` is true, the parts of words that hyphens join are looked at: ESK-TB1.

    >>> keys_within("RTT Leeds (ms)", frozenset({"leeds", "york"}))
    ['leeds']
    """
    words = key_of(text).replace("_", " ")
    found: list[str] = []
    for kept in ("-", "") if parts else ("-",):
        found = found or _of_words("".join(c if c.isalnum() or c in kept else " " for c in words).split(), keys)
    return found


def _of_words(plain: list[str], keys: frozenset[str]) -> list[str]:
    found: list[str] = []
    for start in range(len(plain)):
        for stop in range(len(plain), start, -1):
            for joint in (" ", "-", ""):
                key = joint.join(plain[start:stop])
                if key in keys and not key.isdigit() and key not in found:
                    found.append(key)
    return [key for key in found if not any(key != other and key in other for other in found)]


@dataclass(frozen=True)
class Pair:
    """A table taken for the sites and one taken for the hubs, with what speaks for it."""

    sites: Table
    hubs: Table
    score: float
    linking: tuple[Table, ...]


def pairs(tables: Sequence[Table]) -> list[Pair]:
    """Return every table with every other as sites and hubs, the likeliest first."""
    found = [_pair(s, h, tables) for s in tables for h in tables if s is not h and s.key_set and h.keys]
    return sorted(found, key=lambda pair: -pair.score)


def _pair(sites: Table, hubs: Table, tables: Sequence[Table]) -> Pair:
    names = HubNames(hubs.key_set)
    linking = tuple(t for t in tables if t is not hubs and links(t, sites, names))
    score = 3.0 * min(len(linking), 2)
    if any(p.within(hubs.key_set) >= MOSTLY for p in sites.profiles if p not in sites.keys):
        score += 1.0
    score += 0.5 if sites.rows > hubs.rows else -1.5
    score += 0.002 * min(sites.rows, 500)
    score += _says(sites, "SITE") - _says(sites, "HUB") + 2 * (_says(hubs, "HUB") - _says(hubs, "SITE") / 2)
    score += 0.3 * _columns_like(sites, ("CLUSTER", "RELEASE", "REGION", "STATUS", "LAT"))
    score += 0.3 * _columns_like(hubs, ("HOST", "MAX", "CAP", "LAT"))
    of_pairs = {p.column for p, _ in matrix_columns(sites, names)}
    of_pairs |= {p.column for p in sites.profiles if p.within(hubs.key_set) >= MOSTLY}
    own = len(sites.profiles) - len(of_pairs) - 1  # what the table says of sites alone
    score += min(1.0, 0.25 * own) - 1.5 * (own <= 0)
    score -= 1.5 * (sites in linking) * bool(not sites.keys)
    return Pair(sites, hubs, score, linking)


def _says(table: Table, concept: str) -> float:
    in_title = concept in concepts_in(table.title)
    in_keys = any(concept in concepts_in(p.header) for p in (*table.keys, *table.repeated))
    return 0.6 * in_title + 0.5 * in_keys


def _columns_like(table: Table, concepts: Sequence[str]) -> int:
    found = [concepts_in(p.header) for p in table.profiles]
    return sum(any(concept in one for one in found) for concept in concepts)


def links(table: Table, sites: Table, hubs: HubNames) -> bool:
    """Return whether a table says something of pairs of sites and hubs: as a list, or as a matrix either way."""
    site_column = table is sites or any(_names_sites(p, sites) for p in table.profiles)
    hub_columns = [p for p in table.profiles if p.values and names_hubs(p, hubs.keys) >= MOSTLY]
    if table is sites:
        return len(list(matrix_columns(table, hubs))) > 1
    if site_column and hub_columns:
        return any(not _names_sites(p, sites) or len(hub_columns) > 1 for p in hub_columns)
    if site_column:
        return len(list(matrix_columns(table, hubs))) > 0
    return bool(hub_columns) and is_turned_matrix(table, sites, hubs)


def _names_sites(profile: Profile, sites: Table) -> bool:
    return bool(profile.values) and profile.within(sites.key_set) >= MOSTLY


def matrix_columns(table: Table, hubs: HubNames) -> Iterator[tuple[Profile, str]]:
    """Yield the columns of figures that hubs head, each with its hub's key."""
    for profile in table.profiles:
        if profile.header and profile.share("number") > 0.5 and (key := hubs.named_by(profile.header)):
            yield profile, key


def is_turned_matrix(table: Table, sites: Table, hubs: HubNames) -> bool:
    """Return whether hubs stand in the rows and sites in the header."""
    headers = [key_of(name) for name in table.block.names if name]
    of_sites = sum(key in sites.key_set for key in headers)
    return of_sites >= 2 and of_sites >= 0.5 * len(headers) and any(p.within(hubs.keys) >= MOSTLY for p in table.keys)
