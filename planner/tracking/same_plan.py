"""Whether the workbooks that came back are copies of one plan."""

from __future__ import annotations

import re
from collections.abc import Sequence

from planner.outputs import headings
from planner.plan_parts import Identity
from planner.progress import Copy

_SHOWN = 12  # digits of a hash, as in the sentence on the sheets Summary and Overview
_SENTENCE = re.compile(rf"Plan (\d+)(?: of fleet (.*))?, hash ([0-9a-f]{{{_SHOWN}}})\.")


def of_other_plans(copies: Sequence[Copy], of: tuple[str, Identity] | None = None) -> tuple[str, ...]:
    """Return a sentence for each copy that names another plan than the first that names one.

    A plan workbook does so on its sheet Summary, a rollout workbook on its sheet Overview. ``of``: the file of the plan
    that all should be copies of, where that is known, with its identity.
    """
    first = [] if of is None else [of]
    told = [(copy.file, plan) for copy in copies for plan in (_identity(copy), _rolled_out(copy)) if plan]
    named = [*first, *told]
    wrong = {
        file: f"{file} is a copy of another plan ({_words(plan)}) than {named[0][0]} ({_words(named[0][1])}): "
        "give copies of one plan only."
        for file, plan in named[1:]
        if plan.hash[:_SHOWN] != named[0][1].hash[:_SHOWN]
    }
    return tuple(wrong.values())


def stated_plan(copies: Sequence[Copy]) -> Identity | None:
    """Return the plan that the first copy with a whole sheet Summary is of: as it was made, whatever people changed."""
    return next((plan for copy in copies if (plan := _identity(copy)) and plan.number), None)


def _identity(copy: Copy) -> Identity | None:
    """Return the plan of a copy as its sheet Summary has it; its number is 0 where that cannot be told."""
    beside = {}
    for where, text in copy.others.items():
        if match := re.fullmatch(rf"{headings.SUMMARY}!A(\d+)", where):
            beside[text] = copy.others.get(f"{headings.SUMMARY}!B{match[1]}", "")
    told = re.match(r"Plan (\d+)(?: of fleet (.*))?, hash ", beside.get(headings.PLAN, ""))
    made = beside.get(headings.PLAN_HASH, "")
    if not made:
        return None
    before = beside.get(headings.PREVIOUS_PLAN, "")
    return Identity(int(told[1]), made, told[2] or "", before) if told else Identity(0, made)


def _rolled_out(copy: Copy) -> Identity | None:
    """Return the plan that the sheet Overview of a rollout names, with as much of its hash as stands there."""
    texts = (text for where, text in copy.others.items() if where.startswith(f"{headings.OVERVIEW}!A"))
    told = next(filter(None, map(_SENTENCE.fullmatch, texts)), None)
    return Identity(int(told[1]), told[3], told[2] or "") if told else None


def _words(plan: Identity) -> str:
    return f"number {plan.number or 'unknown'}, hash {plan.hash[:_SHOWN]}"
