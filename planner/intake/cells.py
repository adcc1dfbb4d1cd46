"""One cleaner for each kind of column: raw cells -> values as `planner.fleet.typed_table` wants them."""

from collections.abc import Callable
from functools import partial
from typing import Any

from planner.columns import Kind
from planner.intake import texts
from planner.intake.dates import dates, moments
from planner.intake.numbers import numbers
from planner.intake.rawtable import Broken, Cells, broken

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
    return _without_broken(cells, "_unused").objects()


def _without_broken(cells: Cells, ending: str) -> Cells:
    """Return the cells with errors and unsaved formulas turned into findings and blanks."""
    values = cells.objects()
    if set(map(type, values)) <= {float}:
        return cells
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
    return Cells(cells.spec, cells.table, cells.index, cells.findings, held)
