"""One cleaner for each kind of column: raw cells -> values as `planner.fleet.typed_table` wants them."""

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from planner.columns import Kind
from planner.intake import texts
from planner.intake.dates import dates, moments
from planner.intake.numbers import numbers
from planner.intake.rawtable import Broken, Cells, broken, is_steered, tidy
from planner.intake.texts import LONGEST_TEXT

Cleaner = Callable[[Cells], Any]

_CLEANERS: dict[Kind, Cleaner] = {
    "id": partial(texts.read_texts, from_text=texts.as_it_is, from_other=texts.id_from_other),
    "ids": partial(texts.read_texts, from_text=texts.id_list, from_other=texts.id_from_other, blank=()),
    "text": partial(texts.read_texts, from_text=texts.as_it_is, from_other=texts.text_from_other),
    "whole": numbers,
    "number": numbers,
    "release": partial(texts.read_texts, from_text=texts.release, from_other=texts.release_from_other),
    "date": dates,
    "moment": moments,
    "choice": partial(texts.read_texts, from_text=texts.choice, from_other=texts.text_from_other),
    "timezone": partial(texts.read_texts, from_text=texts.timezone, from_other=texts.text_from_other),
    "window": partial(texts.read_texts, from_text=texts.window, from_other=texts.text_from_other),
}


def clean(cells: Cells) -> Any:
    """Return the values of a column by its kind: a list of text or tuples, or an array of floats or dates.

    What cannot be read becomes a finding and counts as blank.
    """
    return _CLEANERS[cells.spec.kind](_without_broken(cells, ""))


def hand_through(cells: Cells) -> list[Any]:
    """Return the values of a column that the planner does not know, as they are; broken cells as blank."""
    return [_cut(cells, position, value) for position, value in enumerate(_without_broken(cells, "_unused").objects())]


def _cut(cells: Cells, position: int, value: Any) -> Any:
    """Return a text without control characters and not longer than a cell can be; anything else as it is."""
    if not isinstance(value, str) or (len(value) <= LONGEST_TEXT and not is_steered(value)):
        return value
    if is_steered(value):
        cells.note("text_steered", position)
        value = tidy(value)
    if len(value) > LONGEST_TEXT:
        cells.add("text_cut", position, length=f"{len(value):,}")
    return value[:LONGEST_TEXT]


def _without_broken(cells: Cells, ending: str) -> Cells:
    """Return the cells with errors and unsaved formulas turned into findings and blanks."""
    values = cells.objects()
    if set(map(type, values)) == {float}:
        return cells if cells.values.dtype != object else cells.holding(np.array(values, dtype=np.float64))
    held = cells.values
    for position, value in enumerate(values):
        # Almost no cell gets past this line, which keeps half a million of them quick.
        if type(value) is not Broken and not (type(value) is str and value[:1] == "#"):
            continue
        trouble = broken(value)
        if trouble is None:
            continue
        if held is cells.values:
            held = cells.values.copy()
        code = "cell_error" if trouble.kind == "error" else "formula_unsaved"
        cells.add(code + ending, position, value=trouble.text)
        held[position] = ""
    return cells.holding(held)
