"""Whether the workbooks that came back are copies of one plan."""

from __future__ import annotations

import re
from collections.abc import Sequence

from planner.outputs import headings
from planner.progress import Copy

_SHOWN = 12  # digits of a hash, as in the sentence on the sheet Summary


def of_other_plans(copies: Sequence[Copy]) -> tuple[str, ...]:
    """Return a sentence for each copy whose sheet Summary names another plan than the first that names one."""
    named = [(copy.file, plan) for copy in copies if (plan := _plan(copy))]
    return tuple(
        f"{file} is a copy of another plan ({_words(plan)}) than {named[0][0]} ({_words(named[0][1])}): "
        "give copies of one plan only."
        for file, plan in named[1:]
        if plan[1] != named[0][1][1]
    )


def _plan(copy: Copy) -> tuple[str, str] | None:
    """Return the number of a copy's plan, "" where it is not known, and its hash as they were written."""
    beside = {}
    for where, text in copy.others.items():
        if match := re.fullmatch(rf"{headings.SUMMARY}!A(\d+)", where):
            beside[text] = copy.others.get(f"{headings.SUMMARY}!B{match[1]}", "")
    number = re.match(r"Plan (\d+)", beside.get(headings.PLAN, ""))
    made = beside.get(headings.PLAN_HASH, "")
    return (number[1] if number else "", made) if made else None


def _words(plan: tuple[str, str]) -> str:
    return f"number {plan[0] or 'unknown'}, hash {plan[1][:_SHOWN]}"
