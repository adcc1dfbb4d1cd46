"""Dates such as 03/04/2026 in an export: which is the day, told by all other dates of the file."""

from collections.abc import Sequence
from dataclasses import replace

from planner.intake.adopt.guesses import Answers, Choice, Question, SheetGuess
from planner.intake.dates import order_of_texts
from planner.intake.layout import SheetPins

_DATED = ("measured_at", "at", "opens", "closes")
_ORDERS = ("day first", "month first")


def with_dates(guesses: Sequence[SheetGuess], answers: Answers) -> tuple[list[SheetGuess], list[Question]]:
    """Return the guesses with the order of day and month where a date needs it, and a question if no date tells."""
    dated = [g for g in guesses if any(c.name in _DATED for c in g.columns)]
    texts = {
        tuple(str(v) for v in c.profile.values if isinstance(v, str))
        for g in dated
        for c in g.columns
        if c.name in _DATED
    }
    found = [order_of_texts(of_column) for of_column in texts]
    if not any(needed for _, needed in found):
        return list(guesses), []
    orders = {order for order, _ in found if order}
    order = orders.pop() if len(orders) == 1 else ""
    questions = []
    if not order:
        example = next(text for of_column in texts for text in of_column if order_of_texts([text])[1])
        choices = tuple(Choice(o, o, f'"{example}"', 0.6 - 0.2 * k) for k, o in enumerate(_ORDERS))
        questions.append(Question("dates", f'What comes first in dates such as "{example}"?', choices, rank=6))
        order = answers.get("dates", _ORDERS[0])
    return [replace(g, pins=_dated(g.pins, order)) if g in dated else g for g in guesses], questions


def _dated(pins: SheetPins, order: str) -> SheetPins:
    return replace(pins, dates=order, others=tuple(replace(one, dates=order) for one in pins.others))
