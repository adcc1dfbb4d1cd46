"""Suggestions that open pairs: larger latency budgets of a few sites, or a newer release of a few pools."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from planner.explain.arcs import MOST_ARCS, REACH_MS, REACH_SHARE, ExtraArcs, budget_arcs, release_arcs
from planner.explain.bench import Bench
from planner.explain.explanation import Change, Kind, PlanMeasures, Suggestion
from planner.explain.opening import Opened, OpeningModel
from planner.explain.wording import figure, some
from planner.fleet import Bools
from planner.plan import Plan
from planner.sizing import Problem

_NAMED = 8  # changes told in words; the data hold all of them
_ANSWERS = 3  # alternatives of one kind
_SHARE = 0.5  # of the time left that each kind may take
_TRIES = 20  # answers that a plan refuses because kept-together sites do not pack, before giving up


def openings_that_save(bench: Bench) -> list[Suggestion]:
    """Return the fewest sites with larger budgets, and the fewest pools with newer hosts, that save a host."""
    if bench.fleet.policy.split_sites and (bench.problem.clusters > 1).any():
        bench.notes.append("Larger budgets and newer hosts were not searched: the policy lets sites be split.")
        return []
    problem = bench.served()
    found = []
    kinds: tuple[tuple[Kind, Callable[..., ExtraArcs]], ...] = (
        ("latency_budget", budget_arcs),
        ("host_release", release_arcs),
    )
    for kind, arcs in kinds:
        bench.tell("larger latency budgets" if kind == "latency_budget" else "newer releases of hosts")
        extra = arcs(bench.fleet, bench.checker, problem)
        if len(extra):
            found += _search(bench, problem, extra, kind)
        if kind == "latency_budget":
            _note_reach(bench, extra)
    return found


def _note_reach(bench: Bench, extra: ExtraArcs) -> None:
    bench.notes.append(
        f"Larger latency budgets were tried up to {REACH_SHARE:.0%} or {REACH_MS:g} ms more, whichever is larger."
    )
    if extra.cut_short:
        bench.notes.append(f"Of more than {MOST_ARCS:,} pairs that a larger budget opens, the nearest were tried.")


def _search(bench: Bench, problem: Problem, extra: ExtraArcs, kind: Kind) -> list[Suggestion]:
    model = OpeningModel(problem, extra, bench.counted - 1)
    add_sets(bench, model)
    budget = bench.share(_SHARE)
    found: list[Suggestion] = []
    # Where others are left out for want of room, serving them in their stead might do with less.
    fewest = problem.sites == bench.problem.sites
    for _ in range(_TRIES):
        answer = model.solve(budget)
        if answer is None:
            break
        if not len(answer.used) and bench.plan.gap == 0:
            model.rule_out(_opened(extra, {}))  # kept-together sites that do not pack hide behind the model
            continue
        if not len(answer.used):
            bench.notes.append(
                "The plan is not proven best. Fewer hosts may be enough without any change: plan with more time."
            )
            break
        levels = _levels(extra, answer)
        changes = _changes(bench, extra, levels, kind)
        after = bench.replan(changes)
        suggestion = _suggestion(bench, changes, after, kind, fewest=answer.fewest and fewest)
        if after is not None and not suggestion.confirmed and after.gap == 0:
            model.rule_out(_opened(extra, levels))
            continue
        found.append(suggestion)
        model.another(answer)
        fewest = False  # of what comes next, only that it is another way
        if len(found) == _ANSWERS:
            break
    return found


def add_sets(bench: Bench, model: OpeningModel) -> None:
    """Add the sets of the plan's proof: a host is saved only if sites leave those that force it."""
    at = {bench.fleet.site_ids[s]: i for i, s in enumerate(model.problem.site_at.tolist())}
    pool_of = {bench.fleet.pool_ids[p]: x for x, p in enumerate(model.problem.pool_at)}
    for data in bench.plan.proof.details.get("sets", ()):
        if data.get("lost"):
            continue  # how many it asks for depends on who is left in it
        room = np.zeros(model.problem.pools, dtype=np.int64)
        for pool, size in data["pools"].items():
            room[pool_of[pool]] = size
        inside = np.zeros(model.problem.sites, dtype=np.bool_)
        inside[[at[site] for site in data["sites"] if site in at]] = True
        model.add_set(inside, room, data["at_least"], data["divisor"], data["needs"])


def _levels(extra: ExtraArcs, answer: Opened) -> dict[int, float]:
    """Return what each change has to reach for the extra arcs that the answer uses."""
    levels: dict[int, float] = {}
    for x in answer.used.tolist():
        switch = int(extra.switch[x])
        levels[switch] = max(levels.get(switch, -np.inf), float(extra.need[x]))
    return levels


def _opened(extra: ExtraArcs, levels: dict[int, float]) -> Bools:
    """Return the extra arcs that the changes open, shape (X,), used or not."""
    level = np.array([levels.get(switch, -np.inf) for switch in range(len(extra.names))])
    opened: Bools = extra.need <= level[extra.switch]
    return opened


def _changes(bench: Bench, extra: ExtraArcs, levels: dict[int, float], kind: Kind) -> tuple[Change, ...]:
    fleet = bench.fleet
    found = []
    for switch, level in sorted(levels.items()):
        name = extra.names[switch]
        if kind == "latency_budget":
            before = float(fleet.budgets_ms[fleet.site_ids.index(name)])
            found.append(Change("Sites", name, "latency_budget_ms", before, level))
        else:
            newest = int(np.flatnonzero(bench.checker.facts.ranks[0] == level)[0])
            old = fleet.host_releases[fleet.pool_ids.index(name)]
            found.append(Change("Hubs", name, "host_release", old, fleet.site_releases[newest]))
    return tuple(found)


def _suggestion(
    bench: Bench, changes: tuple[Change, ...], after: Plan | None, kind: Kind, *, fewest: bool
) -> Suggestion:
    confirmed = after is not None and bench.saves(PlanMeasures.of(after))
    words = budgets_in_words(changes) if kind == "latency_budget" else releases_in_words(changes)
    return bench.suggestion(kind, "save", words, changes, after, confirmed=confirmed, fewest=fewest)


def budgets_in_words(changes: Sequence[Change]) -> str:
    """Say which budgets to raise and by how much."""
    parts = []
    for change in changes:
        more = figure(float(change.after) - float(change.before))
        parts.append(
            f"{change.id} by {more} ms (from {figure(float(change.before))} to {figure(float(change.after))} ms)"
        )
    if len(parts) == 1:
        return f"Raise the latency budget of site {parts[0]}, or make the circuit that much faster."
    return f"Raise the latency budgets of {len(parts)} sites: {some(parts, _NAMED)}; or make circuits that much faster."


def releases_in_words(changes: Sequence[Change]) -> str:
    """Say which hosts to bring to which release."""
    parts = [f"{change.id} to {change.after} (from {change.before})" for change in changes]
    return f"Upgrade the hosts of pool{'s' if len(parts) > 1 else ''} {some(parts, _NAMED)}."
