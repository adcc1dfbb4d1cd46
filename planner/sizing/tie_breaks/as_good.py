"""What every plan keeps that is as good as one at hand on all aims before those among equals.

Of the plan at hand: V the value of the objective, N hosts, O own tie-breakers, W the weight left out. Columns: n_p
hosts of pool p (price h_p, e_p of them existing), x who uses which pool (pair cost g), u and o who is left out and who
has its own tie-breaker (weight w, price c)
    (a) sum n <= V;   or   sum a_p <= V and sum n <= N with a_p >= n_p - e_p;   or   sum h n + sum g x + sum c o <= V
    (b) sum w u <= W, and the same over the sites that are to be kept
    (c) sum o <= O, and where money is not the objective sum c o <= its value
    (d) where all have to be served by shared hosts, what that asks of n: the cuts of `host_counts.hall_conditions`,
        also rounded up
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Ints
from planner.sizing.host_counts.certificate import inequalities
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import compared_objective, running
from planner.sizing.solvers.model_builder import ModelBuilder, Term, add_new_hosts

_CLOSE = 1e-9  # relative, of money
_WHOLE = 1e-6


@dataclass(frozen=True)
class AsGood:
    """Values that no plan as good exceeds: of the ``objective``, ``hosts`` in all, ``weight`` left out.

    ``kept`` is the weight left out of sites that are to be kept, ``own`` and ``own_cost`` are of own tie-breakers;
    ``cuts`` are known of all plans that serve every site by shared hosts, where none as good does otherwise.
    """

    objective: float
    hosts: int
    weight: int
    kept: int
    own: int
    own_cost: float
    cuts: tuple[Cut, ...] = ()

    def add(self, model: ModelBuilder, problem: Problem, n: Ints, priced: list[Term], own: Term) -> None:
        """Add (a), (c) and (d); ``n`` (P,) are columns of hosts, ``priced`` and ``own`` columns with their costs."""
        add_cuts(model, self.cuts, n)
        slack = _CLOSE * abs(self.objective) + _WHOLE
        most = self.objective + slack
        if problem.objective == "cost":
            price = np.where(problem.max_hosts > 0, problem.host_cost, 0.0)
            model.at_most([(n, price), *priced, own], most)
        else:
            model.at_most([(n, 1.0)], float(self.hosts))
        if problem.objective == "new_hosts":
            a = add_new_hosts(model, problem.existing, n, 0.0)
            model.at_most([(a, 1.0)], most)
        if len(own[0]):
            model.at_most([(own[0], 1.0)], float(self.own))
            if problem.objective != "cost":
                slack = _CLOSE * self.own_cost + _WHOLE
                model.at_most([own], self.own_cost + slack)

    def add_weight(self, model: ModelBuilder, out: Ints, weight: Ints, kept: Ints) -> None:
        """Add (b); ``out`` (n,) are columns of who is left out, with their ``weight``, that of sites to be ``kept``."""
        if len(out):
            of_all: Term = out, weight
            of_kept: Term = out, kept
            model.at_most([of_all], self.weight + 0.5)
            model.at_most([of_kept], self.kept + 0.5)


def add_cuts(model: ModelBuilder, cuts: Sequence[Cut], n: Ints) -> None:
    """Add what ``cuts`` ask of the columns ``n`` (P,) of hosts, also rounded up: by it relaxations are far stronger."""
    for row in (row for cut in cuts for row in inequalities(cut)):
        pools = np.flatnonzero(row.room)
        model.at_least([(n[pools], row.room[pools])], float(row.demand))


def as_good_as(case: Case, draft: Draft) -> AsGood:
    """Return what plans keep that are as good as ``draft``."""
    problem = case.problem
    hosts, placement = running(problem, draft), draft.placement
    out, own = placement.unserved, placement.own
    objective = compared_objective(case, hosts, placement)
    in_all = max(int(hosts.sum()), case.most_hosts)
    weight = problem.weight_of(out)
    kept = problem.weight_of(out & problem.kept)
    own_cost = float(problem.own_cost[own].sum())
    number = int(own.sum())
    return AsGood(objective, in_all, weight, kept, number, own_cost)
