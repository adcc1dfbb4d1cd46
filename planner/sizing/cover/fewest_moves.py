"""The fewest moves of plans, proven where they can be: `stay_with_standbys` solved, and its points made plans.

First with whole hosts and divisible classes, which bounds moves and says which hosts run on. Where plans near this
point leave a gap, see `stay_seats` and with cover `stay_or_go` and `stay_neighbourhoods`, the program with all that is
whole is asked for fewer moves than are known.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from planner.arrays import falses
from planner.fleet import Bools
from planner.sizing.cover.best_draft import BestAmongEquals
from planner.sizing.cover.losses import Losses, all_at_once, read_losses
from planner.sizing.cover.primal_search.drafts import draft_of, nearer_today, state_of
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.stay_neighbourhoods import Neighbourhoods, state_near
from planner.sizing.cover.stay_on_hosts import StayOnHosts
from planner.sizing.cover.stay_seats import Point, Seats
from planner.sizing.cover.stay_with_reserve import StayWithReserve
from planner.sizing.cover.stay_with_standbys import StayWithStandbys
from planner.sizing.instance.case import Case
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, LinearProgram, solve_arrays
from planner.sizing.tie_breaks.stay_program import Kept

_SECONDS = 60.0
_MOST_COLUMNS = 40_000  # beyond, the first relaxation takes longer than people wait
_WHOLE = 1e-6
_SEAT_SECONDS = 20.0
_AROUND_SECONDS = 30.0
_NEAR = 2  # moves above the bound
_MOST_SEATS = 40_000  # columns
_MOST_AFTER = 12_000  # where neighbourhoods came first: beyond, they find more in less time
_ALONE_SECONDS = 30.0  # without cover
_FREE = (0.0, 0.3, 1.0)  # parts of the sites that stay in a point


@dataclass
class FewestMoves:
    """Looks for plans as good as ``draft`` that move fewer sites and keep all of ``kept``.

    ``bound``: on moves, without those of sites that need no shared host any more.
    """

    case: Case
    ground: Ground
    draft: Draft
    budget: SolveBudget
    kept: Sequence[Kept] = ()
    bound: float = field(default=0.0, init=False)

    def improve(self, offer: Callable[[Draft], Draft]) -> float:
        """Offer drafts, each of which answers with the best so far; return the bound."""
        self._offer = offer
        self.budget = self.budget.within(_SECONDS)
        self.program = StayWithStandbys(self.case, self.ground, self.draft, self.kept)
        program = self.program.program()
        if len(program.cost) > _MOST_COLUMNS:
            return 0.0
        relaxed = self.program.with_whole_hosts()
        seconds = _SECONDS / 6 if self.ground.by_host else _SECONDS / 2  # hosts have programs of their own after it
        self._try(self._solved(relaxed, self.budget.within(seconds)))
        if self.moves > self.bound and not self.budget.spent:
            self._fewer()
        return self.bound

    @property
    def moves(self) -> float:
        """What the best draft so far comes to."""
        seating = self.draft.in_use
        idle = [name for names in seating.names.values() for name in names]
        moved = self.case.in_force.moved(seating.seats, self.draft.placement.own, idle)
        return float(moved - self.case.in_force.gone)

    def _fewer(self) -> None:
        """Ask for fewer moves than are known; that there are none is a bound too."""
        cost = self.program.program().cost
        moved = np.flatnonzero(cost)
        fewer = self.moves - 1 + _WHOLE
        self.program.built.at_most([(moved, cost[moved])], fewer)
        known = self.moves
        answer = self._solved(self.program.program(), self.budget)
        if answer.outcome.state == "infeasible":
            self.bound = known
        elif answer.outcome.has_solution:
            self._try(answer)

    def _solved(self, program: LinearProgram, budget: SolveBudget) -> Answer:
        """Return the answer, and raise the bound by what it says of all plans, or of those with fewer moves."""
        return self._bounded(solve_arrays(program, budget))

    def _bounded(self, answer: Answer) -> Answer:
        """Return the ``answer``, with the bound that it gives."""
        if np.isfinite(answer.outcome.bound):
            least = float(np.ceil(answer.outcome.bound - _WHOLE))
            self.bound = max(self.bound, min(self.moves, least))
        return answer

    def _try(self, answer: Answer) -> None:
        """Offer plans near a point."""
        if not answer.outcome.has_solution:
            return
        point = Point(self.program, answer.x)
        everybody = len(self.program.out) + len(self.program.with_own) == 0
        with_standbys = bool((self.program.standby >= 0).any())  # which large programs leave out
        covered = bool(self.ground.coverable.any())
        if with_standbys or not covered:
            self._by_seats(point, _FREE[:1], _MOST_SEATS)
        by_host = self.ground.by_host and everybody and self.moves > self.bound
        around = by_host and self._around_today(point)
        if covered and self.moves > self.bound + _NEAR * around:
            go_on = everybody and with_standbys and not around
            self._by_neighbourhoods(point if go_on else None)
        self._by_seats(point, _FREE[1:], _MOST_AFTER if covered and everybody else _MOST_SEATS)

    def _around_today(self, point: Point) -> bool:
        """Bound moves host by host, and offer a plan on the hosts that run there, where sites stay or go to room.

        Say whether one was found.
        """
        if self.kept or self.program.short or self.case.problem.objective == "cost":
            return False
        first = point.x[self.program.r]
        tried, found = falses(0), False
        for kind in (StayOnHosts, StayWithReserve):
            one = kind(self.program)
            if not one.small or self.moves <= self.bound:
                continue
            answer = one.solved(first, self.budget.within(one.seconds))
            self._bounded(answer)
            known = answer.outcome.has_solution
            running = (answer.x[one.r] if known else first) > 0.5
            if not np.array_equal(running, tried):
                found |= self._stay_or_go(one, running)
            tried = running
        return found

    def _stay_or_go(self, on_hosts: StayOnHosts, running: Bools) -> bool:
        """Offer a plan on the hosts that ``running`` (J,) marks; say whether one was found."""
        from planner.sizing.cover.stay_or_go import StayOrGo  # which loads CP-SAT

        state = StayOrGo(on_hosts, running).best(self.budget.within(_AROUND_SECONDS))
        if state is None or state.violation() > 0:
            return False
        self.draft = self._offer(draft_of(self.case, state))
        return True

    def _by_neighbourhoods(self, point: Point | None) -> None:
        """Offer the plan that neighbourhoods lead to from the point, or from the draft where none is near the point."""
        bare = ~self.ground.coverable
        bare[self.draft.bare] = True
        kept = [cost for cost, _ in self.kept]
        if self.case.problem.objective == "cost":
            kept.append(self.case.problem.pair_cost)
        budget = self.budget.within(_AROUND_SECONDS)
        state = None if point is None or kept else state_near(point, bare, budget)
        if state is None:
            state = state_of(self.ground, self.draft)
        state = nearer_today(self.case, state, bare, budget)
        better = Neighbourhoods(self.case, bare, kept).better(state, self.bound, budget)
        self.draft = self._offer(draft_of(self.case, better))

    def _by_seats(self, point: Point, free: Sequence[float], columns: int) -> None:
        """Offer plans near the point, in which parts ``free`` of the sites may move, by programs of few ``columns``."""
        rng = np.random.default_rng(self.budget.seed)
        among = rng.random(self.case.problem.sites)
        for share in free:
            if self.moves <= self.bound:
                return
            for_seats = self.budget.within(_SEAT_SECONDS)
            seats = Seats(point, among < share)
            state = seats.best(self.moves - 1, for_seats) if seats.columns <= columns else None
            if state is not None:
                self.draft = self._offer(draft_of(self.case, state))


def fewest_moves(case: Case, draft: Draft, budget: SolveBudget) -> tuple[Draft, float]:
    """Return the plan of fewest moves that is as good as ``draft``, and a bound on moves.

    Whole sites only. Sites that need no shared host any more are not in the bound.
    """
    if len(case.problem.pool) > _MOST_COLUMNS:
        return draft, 0.0
    best = BestAmongEquals(case, draft)
    ground = Ground(case.problem, losses_of(case))
    search = FewestMoves(case, ground, draft, budget.within(_ALONE_SECONDS))
    bound = search.improve(best.offer)
    return best.draft, bound


def losses_of(case: Case) -> Losses:
    """Return the losses of the policy's ``cover``; without cover, those for which nobody can stand by."""
    covered = case.fleet.policy.cover != "none"
    return read_losses(case.fleet, case.problem) if covered else all_at_once(case.problem)
