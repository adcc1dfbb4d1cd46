"""Raw sheets -> what each of their tables is taken for, and the questions that are left."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from openpyxl.utils import get_column_letter

from planner.columns import CURRENT, HUBS, SITES
from planner.intake.adopt import patterns
from planner.intake.adopt.columns import ColumnGuess, guess_columns
from planner.intake.adopt.days import with_dates
from planner.intake.adopt.entities import Pair, Table, keys_within, pairs, tables_of
from planner.intake.adopt.guesses import Adoption, Answers, Choice, Question, SheetGuess
from planner.intake.adopt.left_out import LeftOut, columns_left_out
from planner.intake.adopt.named_hubs import named_hubs, table_of_hubs
from planner.intake.adopt.patterns import TODAY_HOST, TODAY_HUB
from planner.intake.adopt.pinning import base_pins, pinned_name
from planner.intake.adopt.places import NONE, Place, column_choice, column_key, id_columns, read_place
from planner.intake.adopt.profile import Profile, key_of
from planner.intake.adopt.relations import Ends, PairTable, pair_tables
from planner.intake.adopt.settings import Setting, settings_in
from planner.intake.adopt.times import latency
from planner.intake.layout import SheetPins
from planner.intake.likeness import concepts_in
from planner.intake.rawtable import RawSheet

_CLOSE_PAIRS, _CLOSE_IDS = 0.7, 0.15
_MOST_CHOICES = 4
_LABELS_WIDE = 4


class Guesser:
    """Guesses once for a set of sheets, again with every answer; tables are found only once."""

    def __init__(self, sheets: Sequence[RawSheet]) -> None:
        self._sheets = list(sheets)
        self._tables = tuple(tables_of(sheets))
        self._named: tuple[str, ...] = ()
        self._all = self._tables  # with one of hubs, where none lists them
        self._pairs = pairs(self._tables)
        if not (self._pairs and self._pairs[0].linking):
            self._name_hubs()

    def _name_hubs(self) -> None:
        """Take the hubs that columns of times name, where there are some, for a table of hubs."""
        self._named = named_hubs(self._tables)
        if self._named:
            hubs = table_of_hubs(self._named)
            self._all = (*self._tables, hubs)
            self._pairs = [pair for pair in pairs(self._all) if pair.hubs is hubs]

    @property
    def tables(self) -> tuple[Table, ...]:
        """Every table that was found."""
        return self._tables

    def guess(self, answers: Answers) -> Adoption:
        """Return what everything is taken for, given ``answers``; the best guess counts where there is none."""
        if not self._pairs:
            return Adoption((), (), answers, self._tables)
        pair, questions = _chosen_pair(self._pairs, answers)
        ids = {}
        for sheet, table in ((SITES, pair.sites), (HUBS, pair.hubs)):
            ids[sheet.name], asked = _chosen_id(sheet.name, id_columns(sheet, table, self._all), answers)
            questions += asked
        hubs = read_place(HUBS, pair.hubs, self._all, frozenset(), answers, ids[HUBS.name])
        sites = read_place(SITES, pair.sites, self._all, pair.hubs.key_set, answers, ids[SITES.name])
        questions += [*sites.questions, *hubs.questions]
        ends = Ends(pair.sites, pair.hubs, sites.id, sites.rows == "pairs")
        of_pairs = pair_tables(self._tables, ends)
        of_hubs = _named_guess(self._named) if self._named else _place_guess(hubs, pair)
        guesses = [_place_guess(sites, pair), of_hubs]
        times, asked = latency(of_pairs, answers)
        today, more = _current(of_pairs, sites, ends, answers)
        rules, asked_too = self._policy(sites, [*guesses, *times], answers)
        guesses += [*times, *today, *rules]
        questions += [*asked, *more, *asked_too]
        guesses, asked_of_days = with_dates(guesses, answers)
        questions += asked_of_days
        used = {id(g.table) for g in guesses}
        unused = tuple(t for t in self._tables if id(t) not in used)
        left_out = _left_out(guesses, of_pairs, (sites, hubs), answers)
        return Adoption(tuple(guesses), tuple(questions), answers, unused, left_out)

    def _policy(
        self, sites: Place, guesses: Sequence[SheetGuess], answers: Answers
    ) -> tuple[list[SheetGuess], list[Question]]:
        taken: dict[str, set[int]] = {}
        for guess in guesses:
            for block in () if guess.table is None else (guess.table.block, *guess.table.block.more):
                full = [i for i in block.body if sum(c != "" and c is not None for c in block.raw.cells[i]) > 3]
                taken.setdefault(block.raw.title, set()).update(
                    [*full, *range(block.row, block.row + block.header_rows)]
                )
        used = {id(guess.table) for guess in guesses}
        spare = [t.block for t in self._tables if id(t) not in used and t.block.width <= _LABELS_WIDE]
        settings = settings_in(self._sheets, taken, [(b.raw, *b.columns) for b in spare])
        given, questions = {}, []
        has_budget = any(s.name == "latency_budget_ms" for s in settings) or sites.column("latency_budget_ms")
        if not has_budget:
            words = "No column and no setting says which round-trip time sites tolerate. How many ms at most?"
            key = "Policy.latency_budget_ms"
            questions.append(Question(key, words, (), rank=0, free=True))
            if key in answers:
                given["latency_budget_ms"] = answers[key]
        if _only_places(guesses) and not any(s.name == "unknown_latency" for s in settings):
            questions.append(_ESTIMATE)
            if answers.get(_ESTIMATE.key) == "estimate":
                given["unknown_latency"] = "estimate"
        if not settings and not given:
            return [], questions
        return [_policy_guess(settings, given, self._tables)], questions


_ESTIMATE = Question(
    "Policy.unknown_latency",
    "No table has round-trip times, but sites and hubs have coordinates. Shall the times be estimated?",
    (
        Choice("estimate", "yes, from the distance, until somebody measures them", "", 0.7),
        Choice("ineligible", "no: a site whose round-trip time is not known is not served", "", 0.3),
    ),
    rank=0,
)


def _only_places(guesses: Sequence[SheetGuess]) -> bool:
    """Return whether nothing but coordinates says how far sites are from hubs."""
    timed = any(guess.sheet in ("Latency", "Samples") for guess in guesses)
    placed = [g for g in guesses if {"latitude", "longitude"} <= {c.name for c in g.columns}]
    return not timed and {SITES.name, HUBS.name} <= {g.sheet for g in placed}


def _left_out(
    guesses: Sequence[SheetGuess], of_pairs: Sequence[PairTable], places: Sequence[Place], answers: Answers
) -> tuple[LeftOut, ...]:
    """Return the columns of the tables of sites, hubs and pairs that nothing takes."""
    read = [(g.sheet, g.table, g.columns) for g in guesses if g.table is not None and g.sheet != "Policy"]
    used = [profile for p in of_pairs for profile in (*p.matrix, *filter(None, (p.unit,)))]
    used += [profile for p in of_pairs if p.turned for profile in p.table.profiles]
    used += [place.table.profile(column) for place in places for column in place.states]
    refused = [key for key, choice in answers.items() if choice == NONE]
    return columns_left_out(read, used, places[1].table.key_set, refused)


def _policy_guess(settings: Sequence[Setting], given: Mapping[str, str], tables: Sequence[Table]) -> SheetGuess:
    """Return the settings of the sheet that has most of them."""
    titles = [s.raw.title for s in settings]
    title = max(titles, key=titles.count, default="")
    there = [s for s in settings if s.raw.title == title]
    columns = [(s.label_at, s.value_at) for s in there]
    label_at, value_at = max(columns, key=columns.count, default=(0, 1))
    there = [s for s in there if (s.label_at, s.value_at) == (label_at, value_at)]
    meant = {s.name: s.meant for s in there if s.meant}
    pins = SheetPins(
        title=title,
        settings={s.name: s.label for s in there if not s.meant},
        labels=get_column_letter(label_at + 1),
        values=get_column_letter(value_at + 1),
        given={**meant, **given},
    )
    table = next((t for t in tables if t.block.raw.title == title and len(there) > 1), None)
    notes = tuple(f'{s.name} = "{s.label}" ({s.value}), likeness {s.likeness:.2f}' for s in there)
    score = sum(s.likeness for s in there) / len(there) if there else 1.0
    why = "the labels beside the values are names of settings" if there else "you gave them"
    return SheetGuess("Policy", table, round(score, 2), why, pins, (), notes)


def _chosen_pair(found: list[Pair], answers: Answers) -> tuple[Pair, list[Question]]:
    keys = {_pair_key(pair): pair for pair in reversed(found)}
    best = found[0]
    rivals = [p for p in found[1:_MOST_CHOICES] if p.score > best.score - _CLOSE_PAIRS]
    questions = []
    if rivals:
        choices = [
            Choice(
                _pair_key(p),
                f"sites: {p.sites.where}, hubs: {p.hubs.where}",
                _headers(p.sites),
                round(0.9 - 0.1 * k, 2),
            )
            for k, p in enumerate([best, *rivals])
        ]
        questions.append(Question("Tables", "Which table lists the sites, and which the hubs?", tuple(choices), rank=0))
    return keys.get(answers.get("Tables", ""), best), questions


def _pair_key(pair: Pair) -> str:
    return f"{pair.sites.block.raw.title} + {pair.hubs.block.raw.title}"


def _headers(table: Table) -> str:
    return ", ".join(p.header for p in table.profiles[:_MOST_CHOICES])


def _chosen_id(sheet: str, ranked: list[tuple[float, Profile]], answers: Answers) -> tuple[Profile, list[Question]]:
    (score, best), *others = ranked
    name = "site" if sheet == SITES.name else "hub"
    key = f"{sheet}.{name}"
    close = [pair for pair in others if pair[0] > score - _CLOSE_IDS]
    questions = []
    if close or score < 0.5:
        choices = tuple(column_choice(p, min(s, 0.99)) for s, p in ranked[:_MOST_CHOICES])
        words = f"Which column holds the ids of the {name}s ({ranked[0][1].block.raw.title})?"
        questions.append(Question(key, words, choices, rank=0))
    chosen = next((p for _, p in ranked if column_key(p) == answers.get(key)), best)
    return chosen, questions


def _place_guess(place: Place, pair: Pair) -> SheetGuess:
    columns = [
        ColumnGuess("site" if place.sheet is SITES else "hub", place.id, 0.9, _why_ids(place, pair)),
        *place.columns,
    ]
    columns = [c for c in columns if not c.name.startswith("today.")]
    pins = base_pins(place.table, columns)
    states = {pinned_name(place.table.profile(c)): values for c, values in place.leave_out.items()}
    pins = replace(pins, leave_out=states, rows=place.rows)
    linking = ", ".join(dict.fromkeys(t.block.raw.title for t in pair.linking))
    why = f"its ids occur in {linking}" if linking else "its columns are those of such a table"
    score = min(0.99, 0.5 + 0.2 * len(pair.linking) + 0.05 * len(columns))
    return SheetGuess(place.sheet.name, place.table, round(score, 2), why, pins, tuple(columns))


def _named_guess(names: Sequence[str]) -> SheetGuess:
    """Return the hubs that no table lists."""
    why = f"no table lists the hubs; the times name {', '.join(names)}"
    note = "To say more of them, such as max_hosts or zone, add a sheet Hubs with a column hub."
    return SheetGuess(HUBS.name, None, 0.7, why, SheetPins(listed=tuple(names)), (), (note,))


def _why_ids(place: Place, pair: Pair) -> str:
    linking = ", ".join(dict.fromkeys(t.block.raw.title for t in pair.linking))
    unique = "different in each row" if place.id in place.table.keys else "repeated for each cluster"
    return f"{unique}, and found in {linking}" if linking else unique


def _current(
    found: Sequence[PairTable], sites: Place, ends: Ends, answers: Answers
) -> tuple[list[SheetGuess], list[Question]]:
    """Return where the hub, and the host, of today stand: on a sheet of their own, or beside the site."""
    hub, host = sites.column(TODAY_HUB), sites.column(TODAY_HOST)
    lists = [p for p in found if p.hub is not None and not p.rtt and not p.matrix]
    if lists:
        best = max(lists, key=lambda p: ("CURRENT" in concepts_in(p.table.title), p.table.rows))
        return [_current_list(best)], []
    if ends.in_pairs and hub is not None and any(p.hub is hub.profile for p in found):
        hub = None
    if hub is None and host is not None and _tells_hub(host.profile, ends):
        hub = replace(host, name=TODAY_HUB, why="its values hold the id of a hub")
    if hub is None:
        return [], []
    columns = [ColumnGuess("site", sites.id, 0.95, "the ids of the sites"), replace(hub, name="hub")]
    if host is not None:
        columns.append(replace(host, name="host"))
    pins = replace(base_pins(sites.table, columns))
    return [SheetGuess("Current", sites.table, hub.likeness, "hubs stand beside the sites", pins, tuple(columns))], []


def _tells_hub(profile: Profile, ends: Ends) -> bool:
    names = ends.names.keys
    values = list(dict.fromkeys(map(str, profile.values)))[:200]
    return sum(len(keys_within(v, names)) == 1 or key_of(v) in names for v in values) >= 0.8 * len(values)


def _current_list(pair: PairTable) -> SheetGuess:
    assert pair.site is not None
    assert pair.hub is not None
    used = {pair.site.column, pair.hub.column}
    free = [p for p in pair.table.profiles if p.column not in used and p.share("text") > 0.5]
    columns, _ = guess_columns(free, patterns.CURRENT, CURRENT, frozenset())
    named = [
        ColumnGuess("site", pair.site, 0.95, "its values are sites of the other table"),
        ColumnGuess("hub", pair.hub, 0.9, "its values are hubs of the other table"),
        *columns,
    ]
    why = "each row has a site and a hub, and no time"
    return SheetGuess("Current", pair.table, 0.85, why, base_pins(pair.table, named), tuple(named))
