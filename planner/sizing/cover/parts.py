"""Cover where clusters of a site may use several hosts: sites in parts, and a plan of parts gathered by sites again.

A part is a cluster, with home and standby of its own; a site is served if all of its parts are, and covered if all have
a standby. Sites that may use their own tie-breaker stay whole, since that one serves all of their clusters.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from planner.arrays import falses, indices, offsets, runs, trues
from planner.fleet import Bools, Ints
from planner.sizing.cover.answer_by_host import HostByHost, draft_of_hosts
from planner.sizing.cover.certificate import Evidence, FindEvidence
from planner.sizing.cover.host_by_host import solve_host_by_host
from planner.sizing.cover.losses import Losses
from planner.sizing.host_counts.fewest_hosts import size
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem, select, with_pairs
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.counts import Counts, Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import evaluator_of, objective_of, running
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solution.served_aims import Worth
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.lexicographic import placed

_LARGEST_UNIT = 5_040  # weights of parts are multiples of one over that at most
_FOR_PARTS = 0.6  # of the time there is
_FOR_HOSTS, _HOSTS_SECONDS = 0.3, 30.0  # of the time there is, for the model of single hosts, and seconds at most

Planned = Callable[[Case, SolveBudget], tuple[Draft, Mapping[TieBreak, float]]]


def plan_in_parts(case: Case, losses: Losses, budget: SolveBudget, plan: Planned) -> Draft:
    """Return the best plan that ``plan`` finds for parts of sites, or for whole sites where each fits on some host."""
    problem = case.problem
    left_out, proven = falses(problem.sites), True
    if problem.limited or not all_fit(problem.of_the_day):  # limits may leave out sites that there is room for
        sized, placement = _without_cover(case, budget)
        left_out, proven = placement.unserved, sized.weight_proven
    exact = solve_host_by_host(problem, losses, budget.part(_FOR_HOSTS).within(_HOSTS_SECONDS))
    drafts: list[Draft] = []
    for whole in (False, True):
        trial = _cut(problem, ~left_out, whole=whole)
        if trial is None or (drafts and budget.spent):
            continue
        trial_budget = budget if whole else budget.part(_FOR_PARTS)
        draft, _ = plan(case.of(trial.problem), trial_budget)
        drafts.append(trial.gathered(draft))
    if any(None in draft.standbys for draft in drafts):
        drafts.append(_without_standbys(case, budget))
    if exact is not None:
        drafts.append(draft_of_hosts(case, losses, exact))
    best = min(drafts, key=evaluator_of(case, cover=True))
    further = best.placement.unserved & ~left_out
    served = proven and not further.any()
    told = _known(case, losses, best, drafts[0], served)
    return told if exact is None else _known_by_hosts(problem, told, exact)


def _known_by_hosts(problem: Problem, draft: Draft, exact: HostByHost) -> Draft:
    """Return ``draft``, which is as good as the answer ``exact`` at least, with what that knows of all plans."""
    sized, lacking = draft.sized, float(problem.weight_of(draft.bare))
    bound = max(sized.bound, min(sized.value, exact.bound))
    known = dataclasses.replace(sized, bound=bound, weight_proven=True, word=exact.word, least={"covered": lacking})
    return dataclasses.replace(draft, sized=known)


def _without_standbys(case: Case, budget: SolveBudget) -> Draft:
    """Return a plan of few hosts that covers nobody: better than one that covers clusters, but no whole site."""
    sized, placement = _without_cover(case, budget)
    seating = seat_all(case, sized.counts.hosts, placement, budget)
    return Draft(sized, placement, seating, (None,) * len(seating.seats))


def _without_cover(case: Case, budget: SolveBudget) -> tuple[Sized, Placement]:
    """Return host counts and who goes where, as if no loss had to be survived."""
    homes = case.of(case.problem.with_home_limits)
    near = reference_counts(homes.problem, homes.incumbent)
    sized = size(homes.problem, budget, near)
    return sized, placed(homes.problem, sized, homes.incumbent, homes.tie_breaks)


def _known(case: Case, losses: Losses, best: Draft, of_parts: Draft, served: bool) -> Draft:
    """Return ``best`` with what holds of all plans, which the plan ``of_parts`` knows; ``served`` as in `Sized`."""
    problem = case.problem
    bare = falses(problem.sites)
    bare[best.bare] = True
    several_own = problem.may_own & (problem.clusters > 1)
    may_be_covered = bare & losses.coverable_sites(problem)
    lacking = (best.placement.unserved | several_own | may_be_covered).any()
    known = of_parts.sized
    least: dict[Worth, float] = {}
    if not best.placement.unserved.any():
        least["covered"] = known.least.get("covered", 0.0)
    sized = dataclasses.replace(
        best.sized,
        bound=0.0 if lacking else min(best.sized.value, known.bound),
        weight_proven=served,
        word=known.word,
        evidence=None if lacking else known.evidence,
        uncovered=problem.weight_of(bare),
        least=least,
    )
    return dataclasses.replace(best, sized=sized)


@dataclass(frozen=True)
class _Parts:
    """The parts of the sites of ``whole``: ``site`` and ``pair`` are positions there of parts and of their pairs.

    Weights of parts are in 1 / ``unit``.
    """

    whole: Problem
    problem: Problem
    site: Ints
    pair: Ints
    unit: int

    def gathered(self, draft: Draft) -> Draft:
        """Return the plan of sites that a plan of parts is; a site is left out if any of its parts is."""
        whole, seats = self.whole, draft.seating.seats
        unserved = trues(whole.sites)
        unserved[self.site] = False
        unserved[self.site[draft.placement.unserved]] = True
        own = falses(whole.sites)
        own[self.site[draft.placement.own]] = True
        clusters: Counter[tuple[int, int, int, str, str]] = Counter()
        for seat, standby in zip(seats, draft.standbys, strict=True):
            site = int(self.site[seat.site])
            whole_pair = int(self.pair[seat.pair])
            if not unserved[site]:
                clusters[site, whole_pair, seat.pool, seat.host, standby or ""] += seat.clusters
        made = [Seat(site, pair, pool, host, n) for (site, pair, pool, host, _), n in clusters.items()]
        standbys = tuple(standby or None for *_, standby in clusters)
        seating = Seating(made, draft.seating.names)
        return self._draft(draft, seating, standbys, unserved, own)

    def _draft(
        self, draft: Draft, seating: Seating, standbys: tuple[str | None, ...], unserved: Bools, own: Bools
    ) -> Draft:
        whole = self.whole
        placement = Placement.of(seating.seats, unserved, own)
        made = Draft(draft.sized, placement, seating, standbys)
        hosts = running(whole, made)
        classes = group(whole, by_weight=True)
        counts = Counts.of_hosts(classes, hosts)
        known, value = draft.sized, objective_of(whole, hosts, placement)
        sized = Sized(classes, counts, value, known.bound, False, known.word)
        least = {aim: bound / self.unit for aim, bound in known.least.items()}
        evidence = None if known.evidence is None else self._told(known.evidence)
        sized = dataclasses.replace(sized, least=least, evidence=evidence)
        return dataclasses.replace(made, sized=sized)

    def _told(self, find: FindEvidence) -> FindEvidence:
        """Return what finds sets of sites, where ``find`` finds sets of parts: those of a site are in one class."""
        sites = np.arange(self.whole.sites)
        first = np.searchsorted(self.site, sites)

        def found(target: float, budget: SolveBudget) -> Evidence | None:
            evidence = find(target, budget)
            if evidence is None:
                return None
            of_site = evidence.classes.of_site[first]
            classes = dataclasses.replace(evidence.classes, of_site=of_site)
            return dataclasses.replace(evidence, classes=classes)

        return found


def _cut(problem: Problem, keep: Bools, *, whole: bool) -> _Parts | None:
    """Return the parts of the sites that ``keep`` (S,) marks, one a site if ``whole``; None where one fits nowhere."""
    alone = problem.may_own
    number = np.where(alone | whole, 1, problem.clusters)
    each = problem.clusters // number
    cap = problem.caps[problem.pool]
    small = each[problem.site] <= cap
    fits = small & keep[problem.site]
    fitting = np.flatnonzero(fits)
    kept = select(problem, fits)
    choices = np.diff(kept.indptr)
    if (keep & ~alone & (choices == 0)).any():
        return None
    parts_of = np.where(keep, number, 0)
    site = np.repeat(indices(parts_of), parts_of)
    pair = runs(kept.indptr[site], choices[site])
    common = int(np.lcm.reduce(number[keep], initial=1))
    unit = min(_LARGEST_UNIT, common)
    weights = problem.weights * unit // number
    most = problem.host_weight
    parts = dataclasses.replace(
        with_pairs(kept, pair, offsets(choices[site])),
        site_at=problem.site_at[site],
        clusters=each[site],
        weights=np.maximum(1, weights)[site],
        kept=problem.kept[site],
        own_cost=problem.own_cost[site],
        amounts={measure: (each_of / number)[site] for measure, each_of in problem.amounts.items()},
        host_weight=None if most is None else most * unit,
        split=False,
    )
    return _Parts(problem, parts, site, fitting[pair], unit)
