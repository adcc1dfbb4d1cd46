"""The plan with the fewest moves between hosts among those with a few hosts more than the fewest."""

from __future__ import annotations

from collections.abc import Mapping

from planner.counted_words import counted
from planner.fleet import Finding, Fleet
from planner.plan import Plan, moved_sites
from planner.rules import Checker
from planner.sizing.assemble import as_aims
from planner.sizing.best_plan import case_for
from planner.sizing.cover.exact_aims import settled_by_hosts
from planner.sizing.cover.fewest_moves import fewest_moves, losses_of
from planner.sizing.cover.primal_search.drafts import draft_of
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.instance.case import Case, TieBreak, later_aims
from planner.sizing.plan_rows import rows_of
from planner.sizing.solution.attained import Attained, attained_aims
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.among_as_good import AmongAsGood

_SEARCH_S = 20.0  # for the fewest moves
_THOROUGH = 10  # times as long


class MoreHosts:
    """Plans as good as ``plan`` but for their number of hosts, with the fewest moves.

    They leave out no more weight than ``plan`` does, and use no more own tie-breakers: both come before moves.
    """

    def __init__(self, fleet: Fleet, plan: Plan) -> None:
        self.checker = Checker.of(fleet)
        self.case = case_for(fleet, self.checker)
        self._first = _draft_of_plan(self.case, plan)

    def fewest(self, most_hosts: int, budget: SolveBudget) -> tuple[Draft, tuple[Attained, ...]]:
        """Return the best draft found with at most ``most_hosts`` hosts, and what is known of its later aims."""
        return self._fewest(self.case.of_at_most(most_hosts), budget)

    def _fewest(self, case: Case, budget: SolveBudget) -> tuple[Draft, tuple[Attained, ...]]:
        draft, bounds = self._first, dict[TieBreak, float]()
        if case.fleet.policy.cover == "none":
            draft, bounds = AmongAsGood(case, draft, budget).settle()
        if self._open(case, draft, bounds, budget):
            draft, bound = fewest_moves(case, draft, budget)
            bounds["moves"] = max(bound, bounds.get("moves", 0.0))
        if self._open(case, draft, bounds, budget):
            draft, exact = settled_by_hosts(case, losses_of(case), draft, budget)
            bounds |= exact
        return draft, attained_aims(case, draft.placement, draft.in_use, bounds)

    def _open(self, case: Case, draft: Draft, bounds: Mapping[TieBreak, float], budget: SolveBudget) -> bool:
        """Say whether the draft may move more than it must, and there is time to look."""
        attained = attained_aims(case, draft.placement, draft.in_use, bounds)
        return not budget.spent and not all(one.proven for one in attained[:1])

    def moves(self, most_hosts: int, budget: SolveBudget) -> tuple[int, int]:
        """Return the fewest moves found with at most ``most_hosts`` hosts, and a bound on them."""
        case = self.case.by(("moves",)).of_at_most(most_hosts)
        _, attained = self._fewest(case, budget)
        if not attained:  # nobody has a host today that needs one
            return case.in_force.gone, case.in_force.gone
        (moves,) = attained
        return round(moves.value), round(moves.bound)


def fewer_moves(fleet: Fleet, first: Plan, extra_hosts: int, budget: SolveBudget, *, thorough: bool) -> Plan:
    """Return the plan with the fewest moves that may use ``extra_hosts`` more than ``first``, and else is as good.

    ``first`` comes back where it moves nobody, or with a finding where more hosts are not tried. ``thorough`` takes ten
    times as long.
    """
    lead = later_aims(fleet)[:1] == ("moves",)
    if not lead or not extra_hosts or not moved_sites(fleet, first):
        return first
    if why := _not_tried(fleet, first, budget):
        words = f"Whether {counted(extra_hosts, 'more host')} would save moves was not tried, since {why}."
        warning = Finding("warning", "extra_hosts_unused", "Current", words)
        return first.replace(findings=(*first.findings, warning))
    search = MoreHosts(fleet, first)
    budget = budget.within(_SEARCH_S * (_THOROUGH if thorough else 1))
    with budget.listening():
        draft, attained = search.fewest(first.hosts + extra_hosts, budget)
    made = first.replace(**rows_of(search.case, search.checker, draft), then=as_aims(attained))
    more = max(0, made.hosts - first.hosts)
    return made.replace(objective_value=float(made.hosts), extra_hosts=more).rated()


def _not_tried(fleet: Fleet, plan: Plan, budget: SolveBudget) -> str:
    """Return why more hosts are not tried; "" where they are."""
    if budget.stopped.is_set():
        return "the search was interrupted"
    if budget.spent:
        return "time was up"
    if fleet.policy.split_sites:
        return "sites may be split over hosts"
    if plan.objective != "hosts":
        return f"the objective is {plan.objective}"
    return "" if plan.proves(plan.objective) else "the number of hosts is not proven to be the fewest"


def _draft_of_plan(case: Case, plan: Plan) -> Draft:
    """Return the draft that ``plan`` came from, or one that moves fewer sites within their pools."""
    fleet, problem = case.fleet, case.problem
    site = {fleet.site_ids[at]: s for s, at in enumerate(problem.site_at.tolist())}
    pool = {fleet.pool_ids[at]: p for p, at in enumerate(problem.pool_at.tolist())}
    state = State(Ground(problem, losses_of(case)))
    number: dict[str | None, int] = {None: NOWHERE}
    for host in plan.host_list:
        number[host.host] = state.open(pool[host.pool])
    for row in plan.assignments:
        state.put(site[row.site], number[row.host], number[row.standby])
    return draft_of(case, state)
