"""The tables of sites and hubs -> their columns, which rows are planned, and what a row stands for."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from planner.columns import SITES, Sheet
from planner.intake.adopt import patterns
from planner.intake.adopt.columns import ASKED, ColumnGuess, coordinates, guess_columns
from planner.intake.adopt.entities import MOSTLY, HubNames, Table, matrix_columns, names_hubs
from planner.intake.adopt.guesses import Answers, Choice, Question
from planner.intake.adopt.kinds import kind_of
from planner.intake.adopt.patterns import STATUS, Wanted
from planner.intake.adopt.profile import Profile, key_of
from planner.intake.layout import RowsAre
from planner.intake.likeness import concepts_in, folded, likeness

NONE = "none of these"
_REFERENCE, _FIRST = 0.3, 0.05
_GONE_WORDS = """closed decommission retired sold cancel gone scrap dismantl removed inactive disused shut vacated
terminated geschlossen stillgelegt ausser_betrieb abgebaut aufgegeben verkauft gekundigt inaktiv
ferme fermee desaffecte hors_service supprim vendu cerrad clausurad baja desmantel chius dismess
cessat venduto gesloten opgeheven buiten_gebruik zamkniet zlikwid zruseno zavren uzavren lukket
stangd nedlagd suljettu kapali encerrad fechad desativ fuori_servizio"""
_GONE = _GONE_WORDS.split()
_FUTURE_WORDS = """planned plan future project proposed construction upcoming pipeline opening geplant bau projekt
vorgesehen prevu projet construction planifi previst proyecto obras previsto progetto gepland
planowan budow planov planlagt planerad suunnit planlan planejad ordered bestellt commande"""
_FUTURE = _FUTURE_WORDS.split()
_LEAST_STATES = 2
_ALL_DIFFERENT = 0.95


@dataclass
class Place:
    """What was made of the table of sites or hubs."""

    sheet: Sheet
    table: Table
    id: Profile
    columns: list[ColumnGuess] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    leave_out: dict[int, tuple[str, ...]] = field(default_factory=dict)  # by column, from 0
    states: tuple[int, ...] = ()  # columns that say which rows are planned
    rows: RowsAre = "sites"

    def column(self, name: str) -> ColumnGuess | None:
        """Return what was taken for a column; None if nothing was."""
        return next((c for c in self.columns if c.name == name), None)


def read_place(
    sheet: Sheet, table: Table, tables: tuple[Table, ...], hubs: frozenset[str], answers: Answers, ids: Profile
) -> Place:
    """Return the columns of a table of sites or hubs whose ids are in ``ids``, as far as ``answers`` do not say."""
    place = Place(sheet, table, ids)
    wanted = [w for w in (patterns.SITES if sheet is SITES else patterns.HUBS) if w.name != _id_name(sheet)]
    of_hubs = {p.column for p, key in matrix_columns(table, HubNames(hubs)) if key_of(p.header) == key}
    free = [p for p in table.profiles if p.column != ids.column and p.column not in of_hubs]
    named = _named_by_others(table, tables, ids)
    if named is not None:
        place.columns.append(ColumnGuess("name", named, 0.9, "other tables call the rows so"))
        free, wanted = [p for p in free if p is not named], [w for w in wanted if w.name != "name"]
    taken, rivals = guess_columns(free, wanted, sheet, hubs)
    place.columns += taken
    if not {"latitude", "longitude"} & {c.name for c in taken}:
        used = {ids.column, *(c.profile.column for c in place.columns if c.name != "name")}
        place.columns += coordinates(table.profiles, used)
    for want in wanted:
        _settle(place, want, rivals.get(want.name, []), answers)
    _status(place, answers)
    if ids.column in {p.column for p in table.repeated} and sheet is SITES:
        _rows(place, answers, hubs)
    return place


def _id_name(sheet: Sheet) -> str:
    return "site" if sheet is SITES else "hub"


def id_columns(sheet: Sheet, table: Table, tables: tuple[Table, ...]) -> list[tuple[float, Profile]]:
    """Return the columns that may hold the ids of a table, each with its likeness, the likeliest first."""
    wanted = patterns.SITES[0] if sheet is SITES else patterns.HUBS[0]
    named = patterns.SITES[1] if sheet is SITES else patterns.HUBS[1]
    found = []
    for profile in (*table.keys, *table.repeated):
        said = likeness(profile.header, wanted.patterns, wanted.against)
        as_name = likeness(profile.header, named.patterns, named.against)
        short = 0.1 * (sum(len(str(v)) for v in profile.sample) <= 8 * len(profile.sample))
        score = said - 0.5 * max(0.0, as_name - said) + _REFERENCE * referred(profile, table, tables) + short
        score += _FIRST * (profile.column == table.block.columns[0])
        concepts = concepts_in(profile.header)
        score += 0.1 * ("ID" in concepts) - 0.3 * ("NAME" in concepts and "ID" not in concepts)
        found.append((round(score, 2), profile))
    return sorted(found, key=lambda pair: -pair[0])


@lru_cache(maxsize=2_000)
def referred(profile: Profile, table: Table, tables: tuple[Table, ...]) -> float:
    """Return the greatest share of another table's column, or header, that is among the values of ``profile``."""
    best = 0.0
    for other in tables:
        if other is not table:
            shares = [p.within(profile.key_set) for p in other.profiles if len(p.values) > 1]
            best = max(best, *shares, 0.0) if shares else best
    return best


def _named_by_others(table: Table, tables: tuple[Table, ...], ids: Profile) -> Profile | None:
    """Return the column, other than the ids, by which other tables call the rows."""
    keys = [p for p in table.keys if p.column != ids.column and p.share("text") > 0.5]
    ranked = [(max(referred(p, table, tables), _heads(p, table, tables)), p) for p in keys]
    best = max(ranked, key=lambda pair: pair[0], default=(0.0, None))
    return best[1] if best[0] >= 0.7 else None


@lru_cache(maxsize=2_000)
def _heads(profile: Profile, table: Table, tables: tuple[Table, ...]) -> float:
    """Return the share of the values that stand in the header of one other table, as hubs do above a matrix."""
    best = 0.0
    for other in tables:
        header = " | ".join(folded(name) for name in other.block.names)
        if other is not table and profile.values:
            within = sum(folded(str(value)) in header for value in profile.values if len(str(value)) > 1)
            best = max(best, within / len(profile.values))
    return best


def _settle(place: Place, want: Wanted, rivals: list[ColumnGuess], answers: Answers) -> None:
    """Take what was answered for a column, or ask where it can change the plan and no guess is sure."""
    key = f"{place.sheet.name}.{want.name}"
    taken = place.column(want.name)
    if key in answers:
        place.columns = [c for c in place.columns if c.name != want.name]
        chosen = next((p for p in place.table.profiles if column_key(p) == answers[key]), None)
        if chosen is not None:
            place.columns = [c for c in place.columns if c.profile.column != chosen.column]
            place.columns.append(ColumnGuess(want.name, chosen, 1.0, "you said so"))
        elif answers[key] != NONE and taken is not None:
            place.columns.append(taken)
    if not want.matters or (taken is not None and taken.sure):
        return
    used = {c.profile.column for c in place.columns if c.name != want.name and c.sure and c.likeness >= 0.8}
    possible = [c for c in rivals if c.likeness >= ASKED and c.profile.column not in used]
    if taken is None or not possible:
        return
    choices = [column_choice(c.profile, c.likeness) for c in possible]
    choices.sort(key=lambda c: c.key != column_key(taken.profile))
    choices.append(Choice(NONE, f"no column: {want.name} is left blank", "", 0.3))
    words = f"Which column of {place.table.block.raw.title} is {want.name} ({_meaning(place.sheet, want.name)})?"
    place.questions.append(Question(key, words, tuple(choices), rank=4))


def _meaning(sheet: Sheet, name: str) -> str:
    extra = {"today.hub": "the hub that serves the site today"}
    return extra.get(name) or sheet.column(name).meaning


def column_key(profile: Profile) -> str:
    """Return what answers call a column: its header, or its letter where it has none."""
    return profile.header or f"={profile.column + 1}"


def column_choice(profile: Profile, score: float) -> Choice:
    """Return a column as one answer to a question."""
    place = profile.block.raw.place(profile.block.row + profile.block.header_rows, profile.column + 1)
    return Choice(column_key(profile), f"{profile.label} ({place.where})", profile.examples, score)


def _status(place: Place, answers: Answers) -> None:
    """Ask which rows are planned where a column says that some are closed, planned or the like."""
    status = place.column(STATUS)
    if status is None:
        return
    place.columns = [c for c in place.columns if c.name != STATUS]
    states = [(state, number) for state, number in status.profile.most_used if kind_of(state) == "text"]
    gone = [state for state, _ in states if _is_one_of(state, _GONE)]
    future = [state for state, _ in states if state not in gone and _is_one_of(state, _FUTURE)]
    if (not gone and not future) or len(states) < _LEAST_STATES:
        return
    place.states = (status.profile.column,)
    key = f"{place.sheet.name}.status"
    options = {tuple(o): None for o in ([*gone, *future], gone, future, [])}
    choices = [_leave_out(option, dict(states), 0.8 - 0.2 * k) for k, option in enumerate(options)]
    what = "sites" if place.sheet is SITES else "hubs"
    words = f"Which {what} are to be planned? The column {status.profile.label} says: " + ", ".join(
        f"{state} ({number})" for state, number in states
    )
    place.questions.append(Question(key, words, tuple(choices), rank=1, free=True))
    said = answers.get(key, choices[0].key)
    known = {folded(state): state for state, _ in states}
    left = [known[folded(word)] for word in said.split(",") if folded(word) in known]
    if left:
        place.leave_out[status.profile.column] = tuple(left)


def _leave_out(states: Sequence[str], numbers: dict[str, int], score: float) -> Choice:
    if not states:
        return Choice("", "all rows", "", round(score, 2))
    rows = sum(numbers[state] for state in states)
    return Choice(",".join(states), f"all but {', '.join(states)}", f"{rows} rows left out", round(score, 2))


def _is_one_of(state: str, stems: Sequence[str]) -> bool:
    words = f" {folded(state)} "
    return any(f" {stem.replace('_', ' ')}" in words for stem in stems)


def _rows(place: Place, answers: Answers, hubs: frozenset[str]) -> None:
    """Ask what a row stands for where ids of sites repeat."""
    repeats = Counter(Counter(place.id.keys).values())
    usual = repeats.most_common(1)[0][0]
    even = sum(sites for rows, sites in repeats.items() if rows % 2 == 0)
    two_each = usual % 2 == 0 and even > 0.9 * repeats.total()
    likely: RowsAre = "nodes" if two_each and place.column("clusters") is None else "clusters"
    texts = {"clusters": "a cluster: clusters are counted by rows", "nodes": "a data node: two rows are a cluster"}
    if _are_pairs(place, hubs):
        likely = "pairs"
        texts["pairs"] = "a pair of a site and a hub: a site has a row for each hub"
    words = (
        f'Ids in "{place.id.header}" repeat ({len(place.id.key_set)} ids in {len(place.id.keys)} rows). What is a row?'
    )
    order = sorted(texts, key=lambda kind: kind != likely)
    choices = tuple(Choice(kind, texts[kind], "", 0.7 - 0.2 * k) for k, kind in enumerate(order))
    place.questions.append(Question("Sites.rows", words, choices, rank=2))
    answer = answers.get("Sites.rows", likely)
    known: tuple[RowsAre, ...] = ("nodes", "pairs")
    place.rows = next((kind for kind in known if answer == kind), "clusters")


def _are_pairs(place: Place, hubs: frozenset[str]) -> bool:
    """Return whether each row is another pair of a site and a hub, with a time."""
    of_hubs = [p for p in place.table.profiles if p.values and names_hubs(p, hubs) >= MOSTLY]
    timed = any("RTT" in concepts_in(p.header) and p.share("number") > 0.5 for p in place.table.profiles)
    pairs = [len(set(zip(place.id.cells, p.cells, strict=True))) for p in of_hubs]
    return timed and max(pairs, default=0) >= _ALL_DIFFERENT * len(place.id.cells)
