"""Sets of sites that force hosts, found by sizing's cut search anew: quick, and of no concern to who checks them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.certificate.certificate_parts import Scope
from planner.fleet import Bools, Fleet
from planner.rules import Checker
from planner.sizing import (
    SolveBudget,
    build_problem,
    certify,
    group,
    hall_conditions,
    loss_conditions,
    read_losses,
    restrict,
    search_counts,
    unlimited,
)

_SEARCH_SECONDS = 30.0


@dataclass(frozen=True, slots=True)
class CutSet:
    """Sites that force hosts; ``size`` above 1: as many as have so many clusters or more.

    ``one_lost``: what they force after the loss of any one host.
    """

    sites: tuple[str, ...]
    size: int
    one_lost: bool


def find_sets(fleet: Fleet, scope: Scope, value: float, budget: SolveBudget) -> list[CutSet]:
    """Return a few sets that together force as much as sets do, at most ``value``.

    They are of sites that need a shared host in every plan.
    """
    problem = unlimited(build_problem(fleet, Checker.of(fleet)))
    site = [fleet.site_ids[at] for at in problem.site_at]
    left_out, bare = set(scope.left_out), set(scope.bare)
    must: Bools = np.array([name not in left_out for name in site], dtype=np.bool_) & ~np.isfinite(problem.own_cost)
    served = restrict(problem, must)
    if not served.sites:
        return []
    names = [fleet.site_ids[at] for at in served.site_at]
    without: Bools = np.array([name in bare for name in names], dtype=np.bool_)
    classes = group(served, by_weight=False, apart=without.astype(np.int64) if bare else None)
    plain, more = len(hall_conditions(served, classes)), []
    if scope.cover == "host":
        more = loss_conditions(served, classes, read_losses(fleet, served), plain, without)
    search = search_counts(served, classes, budget.within(_SEARCH_SECONDS), more=more)
    found = min(search.objective_bound, value)
    rows = certify(served, search.cuts, found, SolveBudget(seed=budget.seed)).inequalities
    members: list[list[str]] = [[] for _ in range(classes.count)]
    for name, c in zip(names, classes.of_site.tolist(), strict=True):
        members[c].append(name)
    sets = (
        CutSet(
            tuple(name for c in row.cut.classes.tolist() for name in members[c]),
            row.cut.size,
            row.cut.condition >= plain,
        )
        for row in rows
    )
    return list(dict.fromkeys(sets))
