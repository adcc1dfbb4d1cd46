"""The tables of round-trip times in the order in which they count, with the questions that they leave."""

import re
from collections.abc import Sequence
from dataclasses import replace

from planner.intake.adopt.columns import ColumnGuess
from planner.intake.adopt.guesses import Answers, Choice, Question, SheetGuess
from planner.intake.adopt.pinning import base_pins, pinned_name
from planner.intake.adopt.places import column_choice, column_key
from planner.intake.adopt.relations import PairTable, unit_of_times
from planner.intake.likeness import concepts_in

_MOST_CHOICES = 4
_DAY = re.compile(r"(20\d\d)[-_./ ]?(0[1-9]|1[0-2])?[-_./ ]?([0-3]\d)?")


def latency(found: Sequence[PairTable], answers: Answers) -> tuple[list[SheetGuess], list[Question]]:
    """Return the tables of times in the order in which they count."""
    times = [p for p in found if (p.rtt or p.matrix or p.turned) and not p.is_probes]
    probes = [p for p in found if p.rtt and p.is_probes]
    ranked = sorted(times, key=_newness, reverse=True)
    questions: list[Question] = []
    whole = [p for p in ranked if p.rtt is None or not p.beside]
    if len(whole) > 1 and _overlap(whole):
        questions.append(_order_question(whole))
        if (first := answers.get("Latency.order")) is not None:
            ranked.sort(key=lambda p: p.table.where != first)
    guesses, asked = [], list[Question]()
    for number, pair in enumerate(ranked, 1):
        guess, more = _times_guess(pair, "Latency", number, answers)
        guesses.append(guess)
        asked += more
    for number, pair in enumerate(probes[:1], 1):
        guess, more = _times_guess(pair, "Samples", number, answers)
        guesses.append(guess)
        asked += more
    return _as_one(guesses), [*questions, *asked]


def _as_one(guesses: list[SheetGuess]) -> list[SheetGuess]:
    """Return the guesses, the pins of the first table of times leading to those of the others."""
    times = [g for g in guesses if g.sheet == "Latency"]
    if len(times) < 2:
        return guesses
    first = replace(times[0], pins=replace(times[0].pins, others=tuple(g.pins for g in times[1:])))
    return [first if g is times[0] else g for g in guesses]


def _newness(pair: PairTable) -> tuple[float, str, int]:
    """Return a key by which the table of times that counts first comes last."""
    title = pair.table.title
    concepts = concepts_in(title)
    said = 1.0 * ("NEW" in concepts) - 1.0 * ("OLD" in concepts)
    dated = next((c.profile for c in pair.others if c.name == "measured_at"), None)
    days = [str(v)[:10] for v in dated.values] if dated is not None and dated.share("date") > 0.5 else []
    in_title = ["".join(part or "00" for part in m) for m in _DAY.findall(title)]
    newest = max((d.replace("-", "") for d in days), default=max(in_title, default=""))
    return said - 2.0 * (pair.beside and pair.rtt is not None), newest, -pair.table.rows


def _overlap(found: Sequence[PairTable]) -> bool:
    sets = [p.site.key_set for p in found if p.site is not None and not p.turned]
    return any(one & other for k, one in enumerate(sets) for other in sets[k + 1 :])


def _order_question(ranked: Sequence[PairTable]) -> Question:
    choices = []
    for k, pair in enumerate(ranked):
        sample = (
            f"{pair.table.rows} rows, titles: {' / '.join(pair.table.block.above[-1:]) or pair.table.block.raw.title}"
        )
        choices.append(Choice(pair.table.where, f"{pair.table.where} is used first", sample, round(0.8 - 0.2 * k, 2)))
    words = "Several tables hold round-trip times. Which one is used where two tables have the same pair?"
    return Question("Latency.order", words, tuple(choices[:_MOST_CHOICES]), rank=2)


def _times_guess(pair: PairTable, sheet: str, number: int, answers: Answers) -> tuple[SheetGuess, list[Question]]:
    questions: list[Question] = []
    rtt, key = pair.rtt, f"{sheet}.{number}"
    if rtt is not None and pair.rivals:
        options = [rtt, *pair.rivals][:_MOST_CHOICES]
        choices = tuple(column_choice(p, round(0.8 - 0.1 * k, 2)) for k, p in enumerate(options))
        words = f"Which column of {pair.table.where} is the round-trip time?"
        questions.append(Question(f"{key}.rtt_ms", words, choices, rank=3))
        rtt = next((p for p in options if column_key(p) == answers.get(f"{key}.rtt_ms")), rtt)
    pair = replace(pair, rtt=rtt)
    unit, why, sure = unit_of_times(pair)
    if not sure and unit:
        options_of = [unit, "ms", "s", "s one way", "ms one way"]
        choices = tuple(Choice(u, u, why, 0.7 - 0.1 * k) for k, u in enumerate(dict.fromkeys(options_of)))
        questions.append(
            Question(f"{key}.unit", f"In which unit are the times of {pair.table.where}?", choices, rank=1)
        )
        unit = answers.get(f"{key}.unit", unit)
    site, hub = pair.site, pair.hub
    names: list[ColumnGuess] = []
    if site is not None:
        name = "hub" if pair.turned else "site"
        names.append(ColumnGuess(name, site, 0.95, f"its values are {name}s of the other table"))
    if hub is not None:
        names.append(ColumnGuess("hub", hub, 0.95, "its values are hubs of the other table"))
    if rtt is not None:
        names.append(ColumnGuess("rtt_ms", rtt, 0.9, "its values are times"))
    moment = {"measured_at": "at"} if sheet == "Samples" else {}
    others = [replace(c, name=moment.get(c.name, c.name)) for c in pair.others]
    names += [c for c in others if sheet == "Latency" or c.name == "at"]
    beside = pair.matrix if pair.beside else ()
    pins = base_pins(pair.table, names, {"rtt_ms": unit} if unit else {})
    pins = replace(pins, unit_column="" if pair.unit is None else pinned_name(pair.unit))
    pins = replace(pins, hubs_down=pair.turned, hubs=tuple(p.header for p in beside))
    kind = "a list of pairs" if rtt is not None else "a matrix, hubs down" if pair.turned else "a matrix, hubs across"
    notes = (f"times in {unit or 'ms'}: {why}",) if why else ()
    return SheetGuess(sheet, pair.table, 0.9, f"{kind} of sites and hubs", pins, tuple(names), notes), questions
