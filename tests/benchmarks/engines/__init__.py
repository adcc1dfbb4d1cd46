"""The engines that are compared. To add one: a module with a function, and a row in ``ENGINES``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal

from tests.benchmarks.engines.answer import Answer
from tests.benchmarks.engines.arrays_straight import solve_arrays_straight
from tests.benchmarks.engines.castingvote import solve_count, solve_plan
from tests.benchmarks.engines.cp_sat import solve_cp_sat
from tests.benchmarks.engines.pulp_straight import solve_pulp_straight
from tests.benchmarks.engines.set_covering import solve_set_covering

__all__ = ["ENGINES", "Answer", "Engine"]


@dataclass(frozen=True, slots=True)
class Engine:
    """``solve`` takes a Fleet or a Problem (the eligible pairs as arrays) and seconds; building the model counts.

    ``most_pairs``: above it the engine is skipped, because building alone would use up memory and time.
    """

    words: str
    takes: Literal["fleet", "problem"]
    solve: Callable[[Any, float], Answer]
    most_pairs: float = float("inf")


ENGINES: dict[str, Engine] = {
    "castingvote": Engine(
        "planner.sizing.plan as a whole: eligibility, counts, placement, hosts, proof",
        "fleet",
        solve_plan,
    ),
    "castingvote-thorough": Engine("the same with thorough=True", "fleet", partial(solve_plan, thorough=True)),
    "castingvote-count": Engine(
        "planner.sizing.counts.size alone, eligible pairs given: the question that the straight models answer",
        "problem",
        solve_count,
    ),
    "arrays-straight": Engine(
        "one binary per eligible pair, arrays handed to HiGHS", "problem", solve_arrays_straight, most_pairs=1_000_000
    ),
    "arrays-strong": Engine(
        "the same with x <= n for every pair", "problem", partial(solve_arrays_straight, strong=True)
    ),
    "pulp-straight": Engine(
        "the same model written with PuLP, solved by HiGHS", "problem", solve_pulp_straight, most_pairs=300_000
    ),
    "cp-sat": Engine("the same model in CP-SAT of OR-Tools, all cores", "problem", solve_cp_sat, most_pairs=500_000),
    "spopt": Engine("spopt.locate.LSCP with HiGHS", "problem", solve_set_covering, most_pairs=500_000),
}
