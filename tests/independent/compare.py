"""A plan held against the independent model: what is claimed must be true, and what is promised must be reached."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import planner
from planner.plan import Aim
from tests.independent.model import UPWARDS, Model
from tests.independent.reading import Question, Today, exact, read
from tests.independent.tables import Tables

CLOSE = Fraction(1, 10**6)  # relative; limits on weight hold to one part in a million
SUMS = ("latency", "spread")  # aims that every plan has
HAIR = Fraction(1, 10**5)  # ms; by which figures of the planner and of this model may differ
STEP_MS = Fraction(1, 500)  # for each pair: the planner counts round-trip times in steps of a microsecond


@dataclass(frozen=True)
class Difference:
    """``kind`` says what differs; ``plan`` and ``truth`` are the two values."""

    kind: str
    plan: object
    truth: object

    def __str__(self) -> str:
        return f"{self.kind}: plan {self.plan}, independent model {self.truth}"


def compare(tables: Tables, plan: planner.Plan | None = None, *, open_too: bool = False) -> list[Difference]:
    """Return all in which a plan, by default the one that `planner.plan` makes, differs from the independent model.

    ``open_too``: moves that the plan does not prove to be the fewest are a difference as well.
    """
    fleet = planner.fleet_from_tables(tables.frames(), tables.policy)
    plan = plan or planner.plan(fleet)
    question = read(tables)
    found = [Difference("violation", str(v), "none") for v in planner.verify(fleet, plan) if v.severity == "violation"]
    found += _differences(question, Model(question), plan)
    if open_too:
        found += [Difference("moves not proven", aim.value, aim.bound) for aim in plan.then
                  if aim.aim == "moves" and not aim.proven]  # fmt: skip
    return found


def _differences(question: Question, model: Model, plan: planner.Plan) -> Iterator[Difference]:
    """Yield differences in the order of the aims; the later ones make sense only where the earlier ones agree."""
    kept, served, covered = reached_by(question, plan)
    reached = {"kept_served": kept} if question.keep_served else {}
    reached |= {"served": served} | ({"covered": covered} if question.cover != "none" else {})
    for name, value in reached.items():
        best = model.best(name)
        yield from _claims(plan, name, best)
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
    yield from _later(question, model, plan)


def _claims(plan: planner.Plan, name: str, best: Fraction) -> Iterator[Difference]:
    """Yield what is wrong with what the plan says of an aim before its objective."""
    told = [aim for aim in plan.before if aim.aim == name]
    if len(told) != 1:
        yield Difference(f"{name} is not told once", len(told), 1)
        return
    if told[0].bound < best - CLOSE:
        yield Difference(f"bound beyond the best {name}", told[0].bound, float(best))
    if told[0].proven and abs(Fraction(told[0].value) - best) > CLOSE:
        yield Difference(f"proven, but not the best {name}", told[0].value, float(best))
    if not told[0].proven and told[0].value >= told[0].bound:
        yield Difference(f"met, but not called proven {name}", told[0].value, float(best))


def _among_equals(question: Question, plan: planner.Plan) -> dict[str, Fraction]:
    """Return what counts between the objective and the later aims, in order, and what the plan makes of it."""
    chosen = {entry.site for entry in plan.no_host_needed}
    own = sum((site.own_cost for site in question.sites if site.name in chosen and site.own_cost), Fraction(0))
    count = Fraction(sum(site.own_cost is not None and site.name in chosen for site in question.sites))
    hosts = {"hosts": Fraction(plan.hosts)} if plan.objective == "new_hosts" else {}
    return hosts | {"own": count} | ({"own_cost": own} if plan.objective != "cost" else {})


def reached_by(question: Question, plan: planner.Plan) -> tuple[Fraction, Fraction, Fraction]:
    """Return the weight served of sites with a host today, and of all, and the weight covered.

    A site with its own tie-breaker is covered.
    """
    weights = {site.name: site.weight for site in question.sites}
    left_out = sum((weights[entry.site] for entry in plan.unserved), Fraction(0))
    bare = sum((weights[entry.site] for entry in plan.uncovered), Fraction(0))
    served = question.whole_weight - left_out
    gone = {entry.site for entry in plan.unserved}
    kept = sum((site.weight for site in question.sites if site.today and site.name not in gone), Fraction(0))
    return kept, served, served - bare


def _later(question: Question, model: Model, plan: planner.Plan) -> Iterator[Difference]:
    """Yield what is wrong with each later aim, among plans that are as good as this one on all aims before."""
    told = {aim.aim: aim for aim in plan.then}
    for aim in (question.tables.setting("then") or "moves latency").split():
        if aim in told:
            value = _value(question, plan, aim)
            yield from _wrong_claims(told[aim], value, model.best(aim), len(plan.assignments))
            model.fix(aim, value + HAIR if aim not in UPWARDS else value - HAIR)
        elif (aim == "moves" and model.best("kept")) or (aim == "margin" and plan.assignments) or aim in SUMS:
            yield Difference(f"{aim} left out", "", "")


def _wrong_claims(told: Aim, value: Fraction, best: Fraction, pairs: int) -> Iterator[Difference]:
    aim, sign = told.aim, -1 if told.aim in UPWARDS else 1
    close = STEP_MS * max(1, pairs) if aim in ("latency", "margin") else CLOSE
    if not math.isfinite(told.bound):
        yield Difference(f"no finite bound of {aim}", told.bound, float(best))
        return
    if abs(exact(told.value) - value) > close:
        yield Difference(f"another {aim} than its assignments", told.value, float(value))
    if sign * value < sign * best - close:
        yield Difference(f"impossible {aim}", float(value), float(best))
    if sign * exact(told.bound) > sign * best + close:
        yield Difference(f"bound beyond the best {aim}", told.bound, float(best))
    if told.proven and sign * value > sign * best + close:
        yield Difference(f"proven, but not the best {aim}", float(value), float(best))


def _stays(today: Today, row: planner.Assignment, runs: set[str]) -> bool:
    """Say whether a site keeps its host: the one that Current names, else any at its hub that runs today."""
    return row.host == today.host if today.host else row.hub == today.hub and row.host in runs


def _value(question: Question, plan: planner.Plan, aim: str) -> Fraction:
    """Return what the plan's assignments make of a later aim."""
    rows = plan.assignments
    if aim == "moves":
        today = {site.name: site.today for site in question.sites if site.today is not None}
        named = {host for pool in question.pools for host in pool.named}
        runs = named | {host.host for host in plan.host_list if host.existing}
        elsewhere = {row.site for row in rows if row.site in today and not _stays(today[row.site], row, runs)}
        own = {entry.site for entry in plan.no_host_needed} & (today.keys() | question.spared)
        return Fraction(len(elsewhere | own))
    if aim == "latency":
        pool_of = {host.host: host.pool for host in plan.host_list}
        used = {(row.site, pool_of[row.host]): exact(row.rtt_ms) for row in rows}
        return sum(used.values(), Fraction(0))
    if aim == "margin":
        return min((exact(row.budget_ms) - exact(row.rtt_ms) for row in rows), default=Fraction(0))
    return Fraction(max((host.clusters for host in plan.host_list), default=0))
