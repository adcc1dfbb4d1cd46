"""Always a plan, and a good one soon: constructed, cheaper by counts for divisible sites, then by closing hosts."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from planner.arrays import int_array, int_zeros, totals, trues
from planner.fleet import Bools, Ints
from planner.sizing.cover.host_loss_bound import HostLossBound
from planner.sizing.cover.primal_search.close_hosts import QUICK, THOROUGH, Trials, with_fewer_hosts
from planner.sizing.cover.primal_search.construct import construct, settle
from planner.sizing.cover.primal_search.from_counts import PlansFromCounts
from planner.sizing.cover.primal_search.give_up import give_up
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.polish import with_own_inside
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.state import NOWHERE, Found, State
from planner.sizing.solution.prices import search_prices_of
from planner.sizing.solvers.budget import SolveBudget

_STEPS = 4_000  # of repair, to find room for everybody


class PrimalSearch:
    """The search of one problem: `first` plan, then `better` ones."""

    def __init__(self, ground: Ground, budget: SolveBudget) -> None:
        self.ground = ground
        self.prices = search_prices_of(ground.problem)
        self.budget = budget
        self.rng = np.random.Generator(np.random.PCG64(budget.seed))
        self.shared = np.flatnonzero(~ground.problem.may_own)

    def first(self) -> Found:
        """Return a plan, in time that grows with sites and hosts; nobody is left out who fits where others are."""
        state = State(self.ground)
        bare = ~self.ground.coverable
        failed = construct(state, self.shared, bare, self.prices)
        if len(failed):
            bare = self._squeeze(state, failed, bare)
            state.close_idle()
        return Found(with_own_inside(state, bare), bare)

    def _squeeze(self, state: State, failed: Ints, bare: Bools) -> Bools:
        """Find room for those that ``failed`` (n,) to find any; return who goes without a standby."""
        self._open_for(state, failed)
        outside = [s for s in failed.tolist() if not force_in(state, int_array([s]), bare)]
        repair(state, bare, _STEPS, self.rng, self.budget)
        may = give_up(state, bare)
        everybody = trues(len(bare))
        for s in sorted(outside):
            may[s] |= settle(state, s, everybody)
        return may

    def _open_for(self, state: State, failed: Ints) -> None:
        """Run what hosts there are where those that ``failed`` may go."""
        problem = self.ground.problem
        wanted = int_zeros(problem.sites)
        wanted[failed] = problem.clusters[failed]
        clusters = totals(problem.pool, wanted[problem.site], problem.pools)
        homes_and_standbys = 2 * clusters / np.maximum(1, problem.caps)
        enough = np.ceil(homes_and_standbys).astype(np.int64) + 1
        for p in np.flatnonzero(clusters).tolist():
            for _ in range(enough[p]):
                if problem.may_grow(state.count())[p]:
                    state.open(p)

    def better(self, found: Found, known: HostLossBound | None = None) -> Iterator[Found]:
        """Yield cheaper plans than ``found`` that serve and cover the same sites.

        ``known``: what is known of counts against the loss of a host, which is followed as it grows.
        """
        best = found
        for best in self._some(found, known):
            yield best
        if known is None or not known.reached(best.state.count()):
            yield from self._closed(best, THOROUGH)

    def _some(self, found: Found, known: HostLossBound | None) -> Iterator[Found]:
        """Yield cheaper plans by what is fast for its gain."""
        best = found
        if known is not None:
            for best in self._closed(found, QUICK):
                yield best
        if self.all_covered(best):
            counts = PlansFromCounts(best.state, best.bare, self.prices, self.rng, self.budget)
            plans = counts.against_hubs_and_zones() if known is None else counts.against_a_host(known)
            for state in plans:
                yield dataclasses.replace(best, state=state)

    def _closed(self, found: Found, trials: Trials) -> Iterator[Found]:
        """Yield cheaper plans by closing hosts."""
        inside = found.state.home != NOWHERE
        for state in with_fewer_hosts(found.state, found.bare, self.prices, trials, self.rng, self.budget):
            if (state.home != NOWHERE)[inside].all():
                yield dataclasses.replace(found, state=with_own_inside(state, found.bare))

    def all_covered(self, found: Found) -> bool:
        """Whether everybody is on a shared host who has no other way, with a standby where that can be."""
        with_standby = found.bare != self.ground.coverable
        inside = found.state.home[self.shared] != NOWHERE
        return bool(with_standby.all() and inside.all())
