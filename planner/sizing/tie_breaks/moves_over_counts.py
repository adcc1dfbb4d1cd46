"""The tie-break on moves over all host counts as good: on which counts, and which hosts of today, most sites stay.

`stay_program` solved with whole hosts and divisible sites says which hosts run, and its value is a bound. Then sites of
several clusters are made whole on these hosts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import falses, int_zeros, rounded, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import Classes, arc_of_pair
from planner.sizing.solution.counts import Counts
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.tie_breaks.as_good import AsGood
from planner.sizing.tie_breaks.stay_program import StayProgram

MOST_PAIRS = 40_000  # beyond, the first relaxation alone takes longer than people wait
_SECONDS = 30.0
_WHOLE = 1e-6
_NODES = 100  # for whole sites on given hosts
# These take longer than they save: few columns are whole, and nodes soon find plans.
_NO_EXTRAS = {
    "mip_heuristic_effort": 0.01,
    "mip_allow_restart": False,
    "mip_heuristic_run_rins": False,
    "mip_heuristic_run_rens": False,
    "mip_heuristic_run_root_reduced_cost": False,
}
_FEW_NODES = {**_NO_EXTRAS, "mip_max_nodes": _NODES}


@dataclass(frozen=True, slots=True)
class Staying:
    """Counts on which most sites stay; the flow of classes of single clusters is not whole, see `Counts`.

    ``keeps`` (E,) marks the pairs that keep a site on a host that runs on. ``moves``: no plan as good sends fewer sites
    to another host than today's. ``counts`` is None where no plan was found.
    """

    moves: float
    counts: Counts | None
    keeps: Bools


def most_staying(
    case: Case, classes: Classes, as_good: AsGood, budget: SolveBudget, *, times: int = 1
) -> Staying | None:
    """Return the counts of plans ``as_good`` on which most sites stay; None for a large fleet, or where time ends.

    Fleets may be ``times`` as large as usual, and take as many times as long. ``classes`` are those of the counts;
    where weight is left out they must not mix sites with and without a host today.
    """
    too_large = len(case.problem.pool) > MOST_PAIRS * times
    if too_large or not case.incumbent.any() or budget.spent:
        return None
    program = StayProgram(case, as_good)
    answer = solve_arrays(program.with_whole_hosts(), budget.within(_SECONDS * times), options=_NO_EXTRAS)
    if not np.isfinite(answer.outcome.bound):
        return None
    moves = max(0.0, float(np.ceil(answer.outcome.bound - _WHOLE)))
    x = _whole(program, classes, answer.x, moves, budget) if answer.outcome.has_solution else None
    if x is None:
        return Staying(moves, None, case.incumbent)
    return Staying(moves, _counts(program, classes, x), _keeps(program, x))


def _whole(program: StayProgram, classes: Classes, x: Floats, moves: float, budget: SolveBudget) -> Floats | None:
    """Return the answer with the hosts of ``x``, in which what `Counts` has whole is whole; None for none.

    One of as few ``moves`` as can be is enough.
    """
    must = falses(len(x))
    undivided = program.stays | (not program.problem.split)
    fixed = classes.fixed[_of_kind(program, classes)]
    must[program.x] = undivided & fixed[program.kind]
    distance = np.abs(x - np.rint(x))
    if not (distance[must] > _WHOLE).any():
        return x
    given = program.counts
    on_hosts = program.program(must).fixed(given, np.rint(x[given]))
    enough = {**_FEW_NODES, "objective_target": moves + _WHOLE}
    answer = solve_arrays(on_hosts, budget, options=enough)
    return answer.x if answer.outcome.has_solution else None


def _of_kind(program: StayProgram, classes: Classes) -> Ints:
    """Return which of ``classes`` the sites of each class of ``program`` are in."""
    _, first = np.unique(program.classes.of_site, return_index=True)
    return classes.of_site[first]


def _counts(program: StayProgram, classes: Classes, x: Floats) -> Counts | None:
    """Return hosts, and the flow of ``classes``, at ``x`` (columns,); None where it divides what must be whole."""
    arc = arc_of_pair(program.problem, classes)[program.pair]
    units = x[program.x] * classes.unit_demand[classes.of_arc[arc]]
    flow = totals(arc, units, len(classes.pool))
    whole = np.where(classes.arc_fixed, np.rint(flow), flow)
    if (np.abs(whole - flow) > _WHOLE).any():
        return None
    of_kind = _of_kind(program, classes)
    unserved = _sites(of_kind[program.out], x[program.u], classes)
    own = _sites(of_kind[program.with_own], x[program.v], classes)
    return Counts(rounded(x[program.n]), whole, unserved, own)


def _sites(of: Ints, number: Floats, classes: Classes) -> Ints:
    """Return how many sites of each class (K,) there are, from how many in parts of them."""
    if not len(of):
        return int_zeros(classes.count)
    return rounded(totals(of, number, classes.count))


def _keeps(program: StayProgram, x: Floats) -> Bools:
    """Mark the pairs (E,) that keep a site on a host that runs at the point ``x``, or wherever nobody named it."""
    case = program.case
    run = np.flatnonzero(x[program.r] > 0.5)
    running = {"", *(program.host_name[j] for j in run)}
    runs_on = np.array([host in running for host in case.in_force.host], dtype=np.bool_)
    keeps: Bools = case.incumbent & runs_on[program.problem.site]
    return keeps
