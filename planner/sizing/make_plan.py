"""`plan`: the best plan by its aims in order, or one of fewer moves with a few hosts more where these are asked for."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from planner.fleet import Fleet
from planner.identity import last_plan, numbered
from planner.interrupts import heard
from planner.plan import Plan
from planner.sizing.asked import asked_extra_hosts
from planner.sizing.best_plan import best_plan
from planner.sizing.solvers.budget import Progress, SolveBudget


def plan(
    fleet: Fleet,
    *,
    extra_hosts: int = 0,
    time_limit: float | None = None,
    seed: int = 0,
    thorough: bool = False,
    watch: Callable[[Progress], bool | None] | None = None,
) -> Plan:
    """Return the best plan for ``fleet``: most weight served, the policy's objective, then the aims of policy ``then``.

    Where moves come first among these, a plan has the fewest sites that change host, also within a pool; what is
    proven of that is in ``then`` of the plan. ``extra_hosts`` more hosts than the fewest may be used to move fewer.
    ``time_limit`` is in seconds from the call on; at the limit, or at Ctrl-C in the main thread, the best plan so far
    comes back with its gap, and is ``feasible`` unless it is proven by then. The same fleet and ``seed`` give the same
    plan whatever the order of rows, unless time ends it. ``thorough`` spends about ten times the work on the later
    aims; the objective does not depend on it. ``watch`` is called with the progress as it happens; where it
    returns False, the best plan so far comes back. Its number counts on from the setting ``last_plan``.

    Raises InputError for a number of hosts, time limit or seed that is none, and where the fleet asks for a combination
    that is not modelled, or has more clusters or weights further apart than can be counted exactly; SolverError when
    the solver fails.
    """
    more = asked_extra_hosts(extra_hosts)
    began, stopped = time.monotonic(), threading.Event()

    def told(progress: Progress) -> bool | None:
        go_on = None if watch is None else watch(progress)
        if go_on is False:
            stopped.set()
        return go_on

    with heard(stopped.set):
        first = best_plan(fleet, time_limit=time_limit, seed=seed, thorough=thorough, watch=told)
    solved, made = time.monotonic(), first
    if more:
        from planner.sizing.from_today.extra_hosts import fewer_moves

        budget = SolveBudget(time_limit, seed, watch, stopped, began)
        made = fewer_moves(fleet, first, more, budget, thorough=thorough)
    solve = first.seconds["solve"] + time.monotonic() - solved
    seconds = {**first.seconds, "solve": solve}
    return numbered(made.replace(seconds=seconds), last_plan(fleet))
