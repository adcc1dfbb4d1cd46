"""Why not fewer hosts: what is claimed, how far it reaches, and a count that anyone can redo."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.fleet import Fleet
from planner.plan import Proof
from planner.sizing.counts import Sized
from planner.sizing.problem import Problem


def prove(fleet: Fleet, problem: Problem, sized: Sized) -> Proof:
    """Return the proof, or the bound where it is none, in words and as data."""
    unit = {"hosts": "hosts", "new_hosts": "new hosts", "cost": fleet.policy.currency or "money"}[problem.objective]
    closed = sized.bound >= sized.value
    counting = _counting(problem, sized)
    value, bound = (f"{x:,.2f}".rstrip("0").rstrip(".") for x in (sized.value, sized.bound))
    if closed:
        words = f"No plan that serves the same weight of sites needs less than {value} {unit}: the solver proved it."
    else:
        words = f"Not proven: the plan needs {value} {unit}, and the solver showed that none needs less than {bound}."
    if problem.objective == "hosts":
        words += (
            f" Counting alone: {counting['clusters']} clusters on hosts of at most {counting['largest_cap']} "
            f"need {counting['hosts']}."
        )
    details: dict[str, Any] = {
        "claim": "optimal" if closed else "bound",
        "by": "HiGHS branch and bound on the class flow model",
        "solver_word": sized.word,
        "most_weight_proven": sized.weight_proven,
        "counting": counting,
    }
    return Proof("solver" if closed else "bound", words, details)


def _counting(problem: Problem, sized: Sized) -> dict[str, int]:
    """Return the bound by adding up: served clusters over the largest cap."""
    counts, classes = sized.counts, sized.classes
    served = int(((classes.size - counts.unserved - counts.own) * classes.clusters).sum())
    largest = int(np.max(problem.caps, initial=1))
    return {"clusters": served, "largest_cap": largest, "hosts": math.ceil(served / max(largest, 1))}
