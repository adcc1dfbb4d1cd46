"""Always a plan, and a good one soon: constructed, cheaper by counts for divisible sites, then by closing hosts."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

import numpy as np

from planner.arrays import int_array, int_zeros, totals, trues
from planner.fleet import Bools, Ints
from planner.sizing.cover.host_loss_bound import HostLossBound
from planner.sizing.cover.primal_search.close_hosts import with_fewer_hosts
from planner.sizing.cover.primal_search.construct import construct, settle
from planner.sizing.cover.primal_search.exact_repair import exact_repair
from planner.sizing.cover.primal_search.give_up import give_up
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.neighbourhoods import Neighbourhoods
from planner.sizing.cover.primal_search.polish import with_own_inside
from planner.sizing.cover.primal_search.pool_counts import cheaper_counts, dived_counts
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram
from planner.sizing.cover.primal_search.prices import prices_of
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.rounding import rounded
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solvers.budget import SolveBudget

_STEPS = 4_000  # of repair, to find room for everybody
# Clusters that each host keeps free, so that kept-together sites find room near shares; and moves of hosts in vain.
_ROUNDS = ((1.5, 6), (1.0, 12), (0.5, 24), (1.0, 24))
_RELAXED, _PLAIN_RELAXED = (1.5, 0.5), (0.0,)
_PLAIN_ROUNDS = ((0.0, 12), (0.0, 200))
# The same against the loss of a host; then clusters that each host keeps free, and neighbourhoods in vain.
_HOST_ROUNDS, _PLAIN_HOST_ROUNDS = ((0.5, 30),), ((0.0, 30),)
_NEAR, _PLAIN_NEAR = (0.25, 16), (0.0, 20)
_MORE_SLACK = (0.0, 0.5, 1.0, 2.0)  # for the shares that sites are put near
_FEW_STEPS = 600  # of repair, for each of several plans at the same counts
_IN_VAIN = 16  # attempts of exact repair
_MOVES = 20  # of hosts, in vain
_ROUNDED = 3  # counts that are made whole, the cheapest first
_CLOSE = 1e-9


@dataclasses.dataclass(frozen=True)
class Found:
    """A plan host by host in which nothing is broken. ``bare`` (S,): sites that may do without a standby there."""

    state: State
    bare: Bools


class PrimalSearch:
    """The search of one problem: `first` plan, then `better` ones."""

    def __init__(self, ground: Ground, budget: SolveBudget) -> None:
        self.ground = ground
        self.prices = prices_of(ground.problem)
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
        if self.all_covered(found):
            for state in self._by_counts(found, known):
                found = dataclasses.replace(found, state=state)
                yield found
        if known is not None and known.reached(found.state.count()):
            return
        inside = found.state.home != NOWHERE
        for state in with_fewer_hosts(found.state, found.bare, self.prices, _MOVES, self.rng, self.budget):
            if (state.home != NOWHERE)[inside].all():
                yield dataclasses.replace(found, state=with_own_inside(state, found.bare))

    def all_covered(self, found: Found) -> bool:
        """Whether everybody is on a shared host who has no other way, with a standby where that can be."""
        with_standby = found.bare != self.ground.coverable
        inside = found.state.home[self.shared] != NOWHERE
        return bool(with_standby.all() and inside.all())

    def _by_counts(self, found: Found, known: HostLossBound | None) -> Iterator[State]:
        """Yield plans at counts that are cheap for divisible sites."""
        start = found.state.count()
        program = PoolProgram(self.ground, ~self.ground.problem.may_own, self.budget.seed)
        kept = bool(program.classes.multi_cluster.any())
        least = self.prices.total(start)
        for slack in _RELAXED if kept else _PLAIN_RELAXED:
            program.slack = slack
            dived = dived_counts(program, start, self.prices, self.budget)
            trial = None if dived is None else self._whole(program, dived[0], found.bare, least)
            if trial is not None:
                start = trial.count()
                least = self.prices.total(start)
                yield with_own_inside(trial, found.bare)
        for slack, moves in _rounds(kept, known is not None):
            program.slack = slack
            tried = cheaper_counts(program, start, self.prices, moves, self.budget)
            cheapest_last = [hosts for hosts, _ in tried]
            for hosts in cheapest_last[: -_ROUNDED - 1 : -1]:
                trial = self._whole(program, hosts, found.bare, least)
                if trial is not None:
                    start = trial.count()
                    least = self.prices.total(hosts)
                    yield with_own_inside(trial, found.bare)
                    break
        if known is not None:
            program.slack, most = _NEAR if kept else _PLAIN_NEAR
            yield from self._near(program, known, start, found.bare, most)

    def _near(self, program: PoolProgram, known: HostLossBound, hosts: Ints, bare: Bools, most: int) -> Iterator[State]:
        """Yield plans at cheaper counts near ``hosts`` (P,), until ``most`` neighbourhoods were looked at in vain."""
        known.sharpen(program, hosts)
        near = Neighbourhoods(program, self.prices, known.conditions, known.step)
        tries = 0
        while tries < most and not known.reached(hosts) and not self.budget.spent:
            tries += 1
            counts = near.cheaper(hosts, self.rng, self.budget)
            trial = None if counts is None else self._raced(program, counts, bare)
            if trial is not None:
                hosts, tries = trial.count(), 0
                yield with_own_inside(trial, bare)

    def _whole(self, program: PoolProgram, hosts: Ints, bare: Bools, least: float) -> State | None:
        """Return a plan with ``hosts`` (P,), None where they cost ``least`` or no plan is found."""
        cheaper = self.prices.total(hosts) < least - _CLOSE
        if self.budget.spent or not cheaper or not self.ground.problem.may_run(hosts):
            return None
        return self._raced(program, hosts, bare)

    def _raced(self, program: PoolProgram, hosts: Ints, bare: Bools) -> State | None:
        """Return a plan with ``hosts`` (P,) near shares that keep some slack, or more; None where none is found.

        All shares get a few steps of repair, the least broken plan is repaired exactly.
        """
        slack = program.slack
        done: State | None = None
        trials: list[State] = []
        for more in _MORE_SLACK if slack else (0.0,):
            program.slack = slack + more
            shares = program.solve(hosts, self.budget)
            trial = None if shares is None else rounded(program, hosts, shares, bare)
            if trial is None:
                continue
            if repair(trial, bare, _FEW_STEPS, self.rng, self.budget):
                done = trial
                break
            trials.append(trial)
        program.slack = slack
        if done is not None or not trials:
            return done
        least_broken = min(trials, key=State.violation)
        best = exact_repair(least_broken, bare, _IN_VAIN, self.rng, self.budget)
        return best if best.violation() <= _CLOSE else None


def _rounds(kept: bool, by_host: bool) -> Sequence[tuple[float, int]]:
    """Return slack and moves in vain of each round; ``kept``: sites of several clusters stay together."""
    if by_host:
        return _HOST_ROUNDS if kept else _PLAIN_HOST_ROUNDS
    return _ROUNDS if kept else _PLAIN_ROUNDS
