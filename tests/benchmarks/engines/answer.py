"""What an engine hands back, and how a straight model's variables become it."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from planner.fleet import Ints
from planner.plan import Plan
from planner.sizing.instance.problem import Problem
from sample_fleets.straight_model import packed

SKIPPED = "skipped:"  # how the note of an engine begins that did not run
LOWER_BOUND = "counted per pool; first fit does not pack it into hosts, so the value is a lower bound"


@dataclass(frozen=True, slots=True)
class Answer:
    """Value and bound in the unit of the objective, NaN where there is none; ``plan`` where a whole plan was made."""

    value: float = math.nan
    bound: float = math.nan
    proven: bool = False
    note: str = ""
    plan: Plan | None = None
    rtt_gap: float = math.nan  # of total RTT against its bound, with as many hosts


def straight_answer(problem: Problem, hosts: Ints, pairs: Ints, bound: float, *, proven: bool) -> Answer:
    """Return the answer of counts ``hosts`` (P,) and positions of the eligible ``pairs`` used, one for each site.

    The value is added up again. Straight models count hosts per pool, so where sites are kept together it is said
    whether the sites pack into the hosts.
    """
    if problem.objective == "cost":
        value = math.fsum((*(problem.host_cost * hosts)[hosts > 0], *problem.pair_cost[pairs]))
    else:
        value, bound = float(hosts.sum()), float(np.ceil(bound - 1e-6))
    return Answer(value, value if proven else bound, proven, "" if _packs(problem, hosts, pairs) else LOWER_BOUND)


def _packs(problem: Problem, hosts: Ints, pairs: Ints) -> bool:
    sizes: dict[int, list[int]] = defaultdict(list)
    if problem.items.max(initial=1) > 1:
        for pool, items in zip(problem.pool[pairs].tolist(), problem.items[problem.site[pairs]].tolist(), strict=True):
            sizes[pool].append(items)
    return all(packed(of_pool, int(problem.caps[pool])) <= hosts[pool] for pool, of_pool in sizes.items())
