"""From a draft to the Plan: its lists, its proof in words, and what is known of each aim."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable

from planner.fleet import Finding, Fleet
from planner.identity import fleet_id
from planner.plan import Aim, Plan
from planner.rules import Checker
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.plan_rows import rows_of
from planner.sizing.proof import prove
from planner.sizing.solution.attained import Attained
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import objective_of, running
from planner.sizing.solution.served_aims import Worth, aims_of_worth
from planner.sizing.solvers.budget import SolveBudget
from planner.version import VERSION


def assemble(case: Case, checker: Checker, draft: Draft, attained: tuple[Attained, ...], budget: SolveBudget) -> Plan:
    """Return the Plan; everything in it is in order of ids."""
    fleet = case.fleet
    problem = case.problem
    sized = _recounted(problem, draft)
    told = rows_of(case, checker, draft)
    least = _least(fleet, problem, draft)
    given = _given(fleet)
    recounted = dataclasses.replace(draft, sized=sized)
    proof, bound = prove(fleet, problem, recounted, budget)
    out, bare = ({entry.site for entry in entries} for entries in (told["unserved"], told["uncovered"]))
    made = Plan(
        status="feasible",
        objective=fleet.policy.objective,
        objective_value=sized.value,
        lower_bound=bound,
        **told,
        proof=proof,
        before=aims_of_worth(fleet, out, bare, least),
        then=as_aims(attained),
        findings=(*fleet.findings, *given),
        policy=dataclasses.asdict(fleet.policy),
        sources=fleet.sources,
        version=VERSION,
        fleet_id=fleet_id(fleet),
        emptied=fleet.emptied,
    )
    return made.rated()


def as_aims(attained: Iterable[Attained]) -> tuple[Aim, ...]:
    """Return later aims as a plan lists them."""
    return tuple(Aim(one.aim, one.value, one.bound, one.proven) for one in attained)


def _least(fleet: Fleet, problem: Problem, draft: Draft) -> dict[Worth, float]:
    """Return the least weight, in whole units, that any plan leaves out, and that one which does so leaves bare."""
    sized, left_out = draft.sized, draft.placement.unserved
    no_way = fleet.needs_host.copy()
    no_way[problem.site_at] = False
    weight, kept = fleet.whole_weights, problem.kept
    of_kept = problem.weights[left_out & kept].sum()
    of_all = problem.weights[left_out].sum()
    if not sized.weight_proven:
        of_kept = sized.least.get("kept_served", 0.0)
        of_all = sized.least.get("served", 0.0)
    least = sized.least.get("covered", 0.0)
    if not left_out.any() and fleet.policy.cover != "none":
        from planner.sizing.cover.losses import read_losses

        losses = read_losses(fleet, problem)
        can = losses.coverable(problem.indptr, problem.pool, problem.max_hosts)
        never = ~can & ~problem.may_own  # they are served in every such plan, and have no standby in any
        least = max(least, float(problem.weight_of(never)))
    of_kept += weight[no_way & fleet.kept].sum()
    of_all += weight[no_way].sum()
    return {"kept_served": float(of_kept), "served": float(of_all), "covered": least}


def _recounted(problem: Problem, draft: Draft) -> Sized:
    """Return what is known of ``draft``, its value added up from the hosts that carry something."""
    sized = draft.sized
    value = objective_of(problem, running(problem, draft), draft.placement)
    # A proven value stays proven when adding up in another order moves its last digits.
    last_digits = 1e-9 * max(1.0, abs(value))
    same = abs(value - sized.value) <= last_digits
    proven = same and sized.bound >= sized.value
    bound = value if proven else min(sized.bound, value)
    return dataclasses.replace(sized, value=value, bound=bound)


def _given(fleet: Fleet) -> list[Finding]:
    """Return a finding for each thing that the caller gave, so that all who read the plan know."""
    told = [f"Rule {rule.name} is your own; it limits which sites may use which hosts." for rule in fleet.own_rules]
    named = fleet.policy.then.replace(",", " ").split()
    for aim in fleet.own_aims:
        if aim.name in named:
            told.append(f"Aim {aim.name} is your own; it chooses between equally good plans.")
        else:
            unused = 'the setting "then" does not name it, so the plan does not use it.'
            told.append(f"Aim {aim.name} is your own; {unused}")
    for source in fleet.own_sources:
        told.append(f"Source {source.name} is your own; its round-trip times are marked {source.evidence}.")
    hint = "Use the same rules and sources when you check the plan."
    return [Finding("info", "given_by_caller", "", words, hint) for words in told]
