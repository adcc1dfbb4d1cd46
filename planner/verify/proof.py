"""Is the plan's lower bound proven? Re-checked from the fleet alone, by code that shares nothing with sizing.

The sets of the plan's proof are counted again; then three means are tried in turn, until one shows that these sets
force the bound: adding up with the plan's multipliers, a branch and bound of our own, and a second solver.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeVar, get_args

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.plan import Objective, Plan
from planner.verify.bounding import MOST_NODES, branch_and_bound
from planner.verify.case import Case
from planner.verify.cover_sets import CoverRecount, CoverRow
from planner.verify.host_model import HostModel, Row, host_model
from planner.verify.inventory import read_inventory
from planner.verify.proof_form import (
    ClaimedCoverSet,
    ClaimedSet,
    UnreadableError,
    finite,
    read_cover_set,
    read_set,
)
from planner.verify.proof_sets import Recount
from planner.verify.second_solver import SECONDS, bound_by_cp_sat
from planner.verify.violation import RELATIVE_TOLERANCE, Violation

Verdict = Literal["proof", "bound", "broken"]
Claim = TypeVar("Claim", ClaimedSet, ClaimedCoverSet)
Forcing = TypeVar("Forcing", Row, CoverRow)

_KINDS = ("counting", "search", "solver", "bound", "none")
_EXACTLY = "added up exactly with the multipliers of the proof"
_CLAIM_PROOF = ("counting", "search")  # kinds that say that the sets alone force the bound


@dataclass(frozen=True, slots=True)
class ProofCheck:
    """What became of a plan's proof when it was checked again.

    ``proof``: no plan that serves the same sites has a smaller objective. ``bound``: nothing that the plan says is
    wrong, but that much is not proven; ``words`` say what is. ``broken``: ``violations`` say what does not hold.
    """

    verdict: Verdict
    words: str
    violations: tuple[Violation, ...] = ()


@dataclass(frozen=True, slots=True)
class _Forced:
    """What the sets force: ``bound``, shown ``how``. ``settled``: a claim above that is false."""

    bound: Fraction
    how: str
    settled: bool = True


def verify_proof(fleet: Fleet, plan: Plan, *, most_nodes: int = MOST_NODES, seconds: float = SECONDS) -> ProofCheck:
    """Return whether ``fleet`` alone bears out that no plan which serves the same sites beats ``plan.lower_bound``.

    Nothing in ``plan.proof`` is taken on trust, and nothing that stands there raises; the rest of the plan is for
    `planner.verify.verify`. Where the multipliers do not add up to the bound, the branch and bound visits up to
    ``most_nodes`` nodes, and the second solver then works for up to ``seconds``.
    """
    unreadable = tuple(_unreadable(plan))
    if unreadable:
        return _broken(unreadable)
    if "sets" not in plan.proof.details and plan.lower_bound > 0:
        words = "The proof was not checked: the plan holds no groups of sites to count again"
        if not plan.proof.details and plan.proof.kind == "none":
            words = "The proof was not checked: this workbook does not hold it; name plan.json instead"
        return ProofCheck("bound", f"{words}. The plan claims {_least(plan, Fraction(plan.lower_bound))}.")
    case = Case(read_inventory(fleet), plan)
    if plan.proof.details.get("cover_sets"):
        return _of_cover(case, seconds)
    claims, rows, violations = _recounted(case, "sets", read_set, Recount(case).check)
    if violations:
        return _broken(violations)
    model = host_model(list(case.inventory.pools.values()), plan.objective, rows)
    if model is None:
        return ProofCheck("bound", "A pool's host_cost is unknown or negative, so the costs cannot be added up.")
    return _verdict(plan, len(claims), _forced(plan, model, claims, most_nodes, seconds))


def _of_cover(case: Case, seconds: float) -> ProofCheck:
    """Check a proof that counts standbys as well."""
    recount = CoverRecount(case)
    claims, rows, violations = _recounted(case, "cover_sets", read_cover_set, recount.check)
    if violations:
        return _broken(violations)
    model = recount.model(rows)
    if model is None:
        return ProofCheck("bound", "A pool's host_cost is unknown or negative, so the costs cannot be added up.")
    added = model.added_up(recount.multipliers(rows, [claim.multiplier for claim in claims]))
    forced = _Forced(added, _EXACTLY)
    if added < _goal(case.plan) and case.plan.proof.kind != "counting":
        second = bound_by_cp_sat(model, seconds)
        forced = _Forced(max(added, second), "found by a second solver, CP-SAT", settled=False)
    return _verdict(case.plan, len(claims), forced)


def _unreadable(plan: Plan) -> Iterator[Violation]:
    """Yield what in the plan's claim is of the wrong kind."""
    if plan.proof.kind not in _KINDS:
        yield Violation("proof_form", "proof", f"its kind must be one of {', '.join(_KINDS)}")
    if plan.objective not in get_args(Objective):
        yield Violation("proof_form", "plan", f"its objective must be one of {', '.join(get_args(Objective))}")
    if not all(map(_is_number, (plan.lower_bound, plan.objective_value))):
        yield Violation("proof_form", "plan", "its lower bound and its objective must be numbers")
    details = plan.proof.details
    if not isinstance(details, Mapping):
        yield Violation("proof_form", "proof", "its details must be a JSON object")
    elif not all(isinstance(details.get(key, []), (list, tuple)) for key in ("sets", "cover_sets")):
        yield Violation("proof_form", "proof", "its groups of sites (sets) must be a list")


def _is_number(value: object) -> bool:
    return finite(value) == finite(value)


def _recounted(
    case: Case,
    key: str,
    read: Callable[[object], Claim],
    check: Callable[[Claim, str], tuple[Forcing | None, list[Violation]]],
) -> tuple[list[Claim], list[Forcing], list[Violation]]:
    """Return the sets that can be read, the inequality that each forces, and what is wrong with any."""
    claims: list[Claim] = []
    rows: list[Forcing] = []
    violations: list[Violation] = []
    for number, data in enumerate(case.plan.proof.details.get(key, ()), start=1):
        where = f"group {number} of the proof"
        try:
            claim = read(data)
        except UnreadableError as error:
            violations.append(Violation("proof_form", where, str(error)))
            continue
        row, wrong = check(claim, where)
        violations += wrong
        if row is not None:
            claims.append(claim)
            rows.append(row)
    return claims, rows, violations


def _forced(plan: Plan, model: HostModel, claims: list[ClaimedSet], most_nodes: int, seconds: float) -> _Forced:
    """Return what the sets force, by the first means that reaches the plan's bound."""
    goal = _goal(plan)
    added = model.added_up([claim.multiplier for claim in claims])
    if added >= goal or plan.proof.kind == "counting":
        return _Forced(added, _EXACTLY)
    searched = branch_and_bound(model, goal, most_nodes)
    how = f"found by verify's own search over numbers of hosts, in {counted(searched.nodes, 'step')}"
    if searched.bound >= goal or (searched.best is not None and searched.best < goal):
        return _Forced(searched.bound, how)
    second = bound_by_cp_sat(model, seconds)
    if second > searched.bound:
        how = f"found by a second solver, CP-SAT, after {counted(searched.nodes, 'step')} of verify's own search"
    return _Forced(max(second, searched.bound), how, settled=False)


def _verdict(plan: Plan, sets: int, forced: _Forced) -> ProofCheck:
    force = "needs" if sets == 1 else "together need"
    reached = f"{counted(sets, 'group')} of sites, counted again from the fleet, {force} {_least(plan, forced.bound)}"
    reached += f", {forced.how}"
    if forced.bound >= _goal(plan):
        if plan.lower_bound <= 0 and not sets:
            reached = (
                f"the plan claims a lower bound of {_amount(plan, Fraction(plan.lower_bound))}, which needs no proof"
            )
        if _meets(plan):
            return ProofCheck("proof", f"The proof holds: {reached}.")
        short = (
            f"the plan needs {_amount(plan, Fraction(plan.objective_value))}, and "
            f"{_amount(plan, Fraction(plan.lower_bound))} are proven"
        )
        return ProofCheck("bound", f"The plan is not proven best: {short}. The lower bound itself holds: {reached}.")
    claimed = f"the plan claims {_least(plan, Fraction(plan.lower_bound))}"
    if plan.proof.kind not in _CLAIM_PROOF:
        whose = "Proven by the solver; verify did not prove it again"
        if not _meets(plan):
            whose = "The plan is not proven best. Its bound is the solver's; verify did not prove the bound again"
        return ProofCheck("bound", f"{whose}. {_capital(claimed)}. Checked: {reached}.")
    if forced.settled:
        return _broken((Violation("proof_sum", "proof", f"{claimed}, but that is not so: {reached}"),))
    return ProofCheck(
        "bound", f"Not decided: {claimed}, and the search ended before it could show that. Shown so far: {reached}."
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _broken(violations: tuple[Violation, ...] | list[Violation]) -> ProofCheck:
    more = f" The proof has {counted(len(violations) - 1, 'more error')}." if len(violations) > 1 else ""
    return ProofCheck("broken", f"The proof does not hold: {violations[0]}.{more}", tuple(violations))


def _goal(plan: Plan) -> Fraction:
    """Return what has to be reached: the plan's bound, for money less what rounding may have added."""
    claimed = Fraction(plan.lower_bound)
    return claimed - abs(claimed) * Fraction(RELATIVE_TOLERANCE) if plan.objective == "cost" else claimed


def _meets(plan: Plan) -> bool:
    """Say whether the plan's objective is its lower bound."""
    slack = RELATIVE_TOLERANCE * abs(plan.lower_bound) if plan.objective == "cost" else 0.0
    return plan.objective_value <= plan.lower_bound + slack


def _least(plan: Plan, bound: Fraction) -> str:
    return f"at least {_amount(plan, bound)}"


def _amount(plan: Plan, value: Fraction) -> str:
    if plan.objective == "cost":
        return f"{float(value):,.2f} {plan.policy.get('currency') or 'money'}"
    noun = "host" if plan.objective == "hosts" else "new host"
    return f"{float(value):,g} {noun}{'' if value == 1 else 's'}"
