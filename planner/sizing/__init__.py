"""Sizing: how many hosts, where, and who uses which. `plan` is the only way in."""

from __future__ import annotations

import time
from typing import Literal

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing.assemble import assemble
from planner.sizing.counts import size
from planner.sizing.placement import place
from planner.sizing.problem import build_problem
from planner.sizing.solver import Effort
from planner.sizing.today import read_today

__all__ = ["plan"]


def plan(
    fleet: Fleet, *, time_limit: float | None = None, seed: int = 0, solver: Literal["highs", "cbc"] = "highs"
) -> Plan:
    """Return the best plan for ``fleet``: most weight served, then the policy's objective, fewest moves, least RTT.

    ``time_limit`` is in seconds for all solving; at the limit, or at Ctrl-C in the main thread, the best
    plan so far comes back with status ``feasible`` and its gap. The same fleet and ``seed`` give the same
    plan whatever the order of rows. ``solver`` is ``highs`` or, where it is installed, ``cbc``.

    Raises InputError where the fleet asks for a combination that is not modelled, SolverError when the
    solver is missing or fails.
    """
    _refuse_unmodelled(fleet)
    began = time.perf_counter()
    checker = Checker(fleet)
    problem = build_problem(fleet, checker)
    today = read_today(fleet, problem)
    eligible = time.perf_counter()
    effort = Effort(seconds=time_limit, seed=seed, engine=solver)
    with effort.listening():
        sized = size(problem, effort)
        placement = place(problem, sized, today.stays(fleet, problem))
        result = assemble(fleet, checker, problem, sized, placement, today, effort)
    seconds = {"eligibility": eligible - began, "solve": time.perf_counter() - eligible}
    return result.replace(seconds=seconds)


def _refuse_unmodelled(fleet: Fleet) -> None:
    policy = fleet.policy
    if policy.cover != "none":
        raise InputError(
            (
                Finding(
                    "error", "cover-not-planned", "Policy", "cover is not planned by this version.", "Set it to none."
                ),
            )
        )
    if policy.objective == "cost" and policy.split_sites and (fleet.latency["pair_cost"].fillna(0) > 0).any():
        hint = "Set split_sites to no, or leave pair_cost blank."
        message = "objective cost with split sites and pair costs is not modelled: whose share pays for the circuit?"
        raise InputError((Finding("error", "split-pair-costs", "Policy", message, hint),))
