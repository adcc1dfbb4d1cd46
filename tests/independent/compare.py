"""A plan held against the independent model: what is claimed must be true, and what is promised must be reached."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import planner
from tests.independent.model import UPWARDS, Model
from tests.independent.reading import Question, read
from tests.independent.tables import Tables

CLOSE = Fraction(1, 10**6)  # relative; limits on weight hold to one part in a million
STEP_MS = Fraction(1, 500)  # for each pair: the planner counts round-trip times in steps of a microsecond


@dataclass(frozen=True)
class Difference:
    """``kind`` says what differs; ``plan`` and ``truth`` are the two values."""

    kind: str
    plan: object
    truth: object

    def __str__(self) -> str:
        return f"{self.kind}: plan {self.plan}, independent model {self.truth}"


def compare(tables: Tables, plan: planner.Plan | None = None) -> list[Difference]:
    """Return all in which a plan, by default the one that `planner.plan` makes, differs from the independent model."""
    fleet = planner.fleet_from_tables(tables.frames(), tables.policy)
    plan = plan or planner.plan(fleet)
    question = read(tables)
    found = [Difference("violation", str(v), "none") for v in planner.verify(fleet, plan) if v.severity == "violation"]
    return [*found, *_differences(question, Model(question), plan)]


def _differences(question: Question, model: Model, plan: planner.Plan) -> Iterator[Difference]:
    """Yield differences in the order of the aims; the later ones make sense only where the earlier ones agree."""
    served, covered = _reached(question, plan)
    reached = {"served": served} | ({"covered": covered} if question.cover != "none" else {})
    for name, value in reached.items():
        best = model.best(name)
        if value != best:
            yield Difference(name, float(value), float(best))
            return
        model.fix(name, best)
    objective = plan.objective
    value, bound = Fraction(plan.objective_value), Fraction(plan.lower_bound)
    best = model.best(objective)
    slack = CLOSE * max(1, abs(best))
    if bound > best + slack:
        yield Difference(f"bound above the least {objective}", float(bound), float(best))
    if value < best - slack:
        yield Difference(f"impossible {objective}", float(value), float(best))
    if value > best + slack:
        claim = "proven, but not the least" if value <= bound + slack else "open: not the least"
        yield Difference(f"{claim} {objective}", float(value), float(best))
        return
    model.fix(objective, best + slack)
    for name, reached in _among_equals(question, plan).items():
        best = model.best(name)
        if reached != best:
            yield Difference(f"{name} after {objective}", float(reached), float(best))
            return
        model.fix(name, best)
    yield from _later(model, plan)


def _among_equals(question: Question, plan: planner.Plan) -> dict[str, Fraction]:
    """Return what counts between the objective and the later aims, in order, and what the plan makes of it."""
    if plan.objective == "cost":
        return {}
    chosen = {entry.site for entry in plan.no_host_needed}
    own = sum((site.own_cost for site in question.sites if site.name in chosen and site.own_cost), Fraction(0))
    return ({"hosts": Fraction(plan.hosts)} if plan.objective == "new_hosts" else {}) | {"own": own}


def _reached(question: Question, plan: planner.Plan) -> tuple[Fraction, Fraction]:
    """Return the weight served and the weight covered; a site with its own tie-breaker is covered."""
    weights = {site.name: site.weight for site in question.sites}
    left_out = sum((weights[entry.site] for entry in plan.unserved), Fraction(0))
    bare = sum((weights[entry.site] for entry in plan.uncovered), Fraction(0))
    served = question.whole_weight - left_out
    return served, served - bare


def _later(model: Model, plan: planner.Plan) -> Iterator[Difference]:
    """Yield what is wrong with the first later aim."""
    if not plan.then:
        return
    first = plan.then[0]
    best = model.best(first.aim)
    slack = STEP_MS * max(1, len(plan.assignments)) if first.aim in ("latency", "margin") else CLOSE
    sign = -1 if first.aim in UPWARDS else 1
    if not math.isfinite(first.bound):
        yield Difference(f"no finite bound of {first.aim}", first.bound, float(best))
        return
    value, bound = (sign * Fraction(figure) for figure in (first.value, first.bound))
    if value < sign * best - slack:
        yield Difference(f"impossible {first.aim}", first.value, float(best))
    if bound > sign * best + slack:
        yield Difference(f"bound beyond the best {first.aim}", first.bound, float(best))
    if first.proven and value > sign * best + slack:
        yield Difference(f"proven, but not the best {first.aim}", first.value, float(best))
