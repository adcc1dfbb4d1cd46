"""The best host counts among the fewest: swaps of single hosts, proposed by a relaxation and judged by a flow."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.counts import Sized
from planner.sizing.placement import Later, Placement, place, placed
from planner.sizing.problem import Problem
from planner.sizing.realise import realise
from planner.sizing.relaxation import Priced, Relaxation
from planner.sizing.solver import Effort
from planner.sizing.strong_bound import Settled, strong_bound

# Work is fixed by counting pairs, not seconds, so that runs repeat.
_CLIMB_WORK = 60_000_000  # pairs that all subgradient rounds together may look at
_FEWEST_ROUNDS, _MOST_ROUNDS = 20, 300  # the bound moves little after that many
_FLOW_WORK = 4_000_000  # pairs that all flows together may look at
_FEWEST_FLOWS, _MOST_FLOWS = 2, 200
_THOROUGH = 10  # times the work
# A flow cannot be stopped: one begins while there is time for it, for the last one, and for seating and telling.
_RESERVED_FLOWS = 3.0
_STEP: dict[Later, float] = {"moves": 1.0, "latency": 1e-3}


@dataclass(frozen=True, slots=True)
class Level:
    """What became of one later aim: ``value`` reached, and a ``bound``.

    No plan of as many hosts that is as good on the aims before can beat the bound.
    """

    aim: Later
    value: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether value and bound meet; costs are counted in steps of a microsecond."""
        return abs(self.value - self.bound) <= 1e-3 + 1e-9 * abs(self.bound)


def improve(
    problem: Problem, sized: Sized, stays: Bools, then: Sequence[Later], effort: Effort, *, thorough: bool
) -> tuple[Sized, tuple[Level, ...], Placement]:
    """Return counts of as many hosts that do better on the first later aims, what is known of these, and the placement.

    Only moves and latency before any other aim are improved here, and only where hosts are the objective and
    all sites are served; otherwise the counts come back as they were and the levels have the plainest bounds.
    """
    aims = _leading_costs(then, stays)
    if not aims or problem.sites == 0:
        return sized, (), placed(problem, sized, stays, then)
    costs: dict[Later, Floats] = {"moves": (~stays).astype(np.float64), "latency": problem.rtt_ms}
    began = time.monotonic()
    now = placed(problem, sized, stays, aims)
    flow_seconds = time.monotonic() - began
    if not _comparable(problem, sized) or not effort.allows(_RESERVED_FLOWS * flow_seconds):
        levels = _levels(aims, now, [_nearest(problem, costs[aim]) for aim in aims])
        return sized, levels, _finished(problem, sized, stays, then, aims, now)
    work = _CLIMB_WORK * (_THOROUGH if thorough else 1)
    rounds = int(np.clip(work / max(1, len(problem.pool)), _FEWEST_ROUNDS, _MOST_ROUNDS))
    climbs = [
        Relaxation(problem, costs[aim], int(sized.value)).climb(now.costs[level], rounds, effort)
        for level, aim in enumerate(aims)
    ]
    bounds = [max(best.bound, _nearest(problem, costs[aim])) for aim, (best, _) in zip(aims, climbs, strict=True)]
    judge = _Judge(problem, sized, stays, aims, _budget(problem, thorough=thorough), effort)
    judge.flow_seconds = flow_seconds
    judge.keep(sized.counts.hosts, now)
    for best, met in climbs:
        for hosts in (best.hosts, *met[-3:]):
            judge.try_counts(hosts)
    for best, _ in climbs:
        _swap(problem, judge, best)
    if thorough:
        bounds = _sharper(problem, judge, costs, bounds)
    placement = _finished(problem, judge.sized, stays, then, aims, judge.placement)
    return judge.sized, _levels(aims, judge.placement, bounds), placement


def _sharper(problem: Problem, judge: _Judge, costs: Mapping[Later, Floats], bounds: Sequence[float]) -> list[float]:
    """Return sharper ``bounds`` of the judge's aims; counts met on the way that are better become the judge's best."""
    found = []
    for level, (aim, plain) in enumerate(zip(judge.aims, bounds, strict=True)):
        before = [
            Settled(costs[earlier], value) for earlier, value in zip(judge.aims[:level], judge.values, strict=False)
        ]

        def judged(hosts: Ints, level: int = level) -> float:
            judge.try_counts(hosts)
            return judge.values[level]

        bound = strong_bound(problem, costs[aim], int(judge.sized.value), _STEP[aim], before, judged, judge.effort)
        found.append(max(plain, bound))
    return found


def _finished(
    problem: Problem, sized: Sized, stays: Bools, then: Sequence[Later], aims: Sequence[Later], now: Placement
) -> Placement:
    """Return the placement by all of ``then``: ``now``, which is by ``aims``, where these are all that count."""
    counting = [aim for aim in then if aim != "moves" or stays.any()]
    return now if counting == list(aims) else placed(problem, sized, stays, then)


def plain_levels(problem: Problem, placement: Placement, stays: Bools, then: Sequence[Later]) -> tuple[Level, ...]:
    """Return what ``placement`` makes of moves and latency, with the bound of a fleet in which nobody needs room."""
    costs = {"moves": (~stays).astype(np.float64), "latency": problem.rtt_ms}
    aims = _leading_costs(then, stays)
    return tuple(Level(aim, float(costs[aim][placement.pair].sum()), _nearest(problem, costs[aim])) for aim in aims)


def _leading_costs(then: Sequence[Later], stays: Bools) -> list[Later]:
    """Return the aims before the first that is not a cost; moves only where there is something to keep."""
    leading: list[Later] = []
    for aim in then:
        if aim not in ("moves", "latency"):
            break
        if aim == "latency" or stays.any():
            leading.append(aim)
    return leading


def _comparable(problem: Problem, sized: Sized) -> bool:
    served = not sized.counts.unserved.any() and not sized.counts.own.any()
    return problem.objective == "hosts" and served and problem.flows and sized.value >= 1


def _nearest(problem: Problem, cost: Floats) -> float:
    """Return the total if every site had its best pool to itself."""
    least = np.full(problem.sites, np.inf)
    np.minimum.at(least, problem.site, cost)
    return float(least[np.isfinite(least)].sum()) if not np.isfinite(problem.own_cost).any() else 0.0


def _budget(problem: Problem, *, thorough: bool) -> int:
    flows = int(np.clip(_FLOW_WORK / max(1, len(problem.pool)), _FEWEST_FLOWS, _MOST_FLOWS))
    return flows * _THOROUGH if thorough else flows


def _levels(aims: Sequence[Later], placement: Placement, bounds: Sequence[float]) -> tuple[Level, ...]:
    # With money as the objective the pair costs come before the later aims.
    values = placement.costs[len(placement.costs) - len(aims) :]
    levels = []
    for aim, value, bound in zip(aims, values, bounds, strict=True):
        least = float(np.ceil(bound - 1e-6)) if aim == "moves" else bound  # moves are whole
        levels.append(Level(aim, value, min(value, least)))
    return tuple(levels)


class _Judge:
    """Judges host counts by what a flow makes of them, and keeps the best."""

    def __init__(
        self, problem: Problem, sized: Sized, stays: Bools, aims: list[Later], budget: int, effort: Effort
    ) -> None:
        self.problem, self.sized, self.stays, self.aims = problem, sized, stays, aims
        self.budget, self.effort = budget, effort
        self.seen: set[bytes] = set()
        self.flow_seconds = 0.0  # what the slowest flow took

    @property
    def spent(self) -> bool:
        return self.budget <= 0 or not self.effort.allows(_RESERVED_FLOWS * self.flow_seconds)

    @property
    def values(self) -> tuple[float, ...]:
        """What the best placement makes of the aims."""
        # With money as the objective the pair costs come first.
        return self.placement.costs[len(self.placement.costs) - len(self.aims) :]

    def keep(self, hosts: Ints, placement: Placement) -> None:
        self.seen.add(hosts.tobytes())
        self.placement = placement

    def try_counts(self, hosts: Ints) -> bool:
        """Say whether ``hosts`` (P,) are better than the best so far, and keep them if they are."""
        if self.spent or hosts.tobytes() in self.seen or hosts.sum() != self.sized.counts.hosts.sum():
            return False
        self.seen.add(hosts.tobytes())
        self.budget -= 1
        counts = realise(self.problem, self.sized.classes, hosts)
        if counts is None:
            return False
        sized = dataclasses.replace(self.sized, counts=counts)
        began = time.monotonic()
        placement = place(self.problem, sized, self.stays, self.aims)
        self.flow_seconds = max(self.flow_seconds, time.monotonic() - began)
        if placement is None or not _less(placement.costs, self.placement.costs):
            return False
        self.sized, self.placement = sized, placement
        self.effort.tell("later aims", sized.value, sized.bound)
        return True


def _less(left: tuple[float, ...], right: tuple[float, ...]) -> bool:
    """Compare costs in order, to half a microsecond."""
    for a, b in zip(left, right, strict=True):
        if abs(a - b) > 5e-4:
            return a < b
    return False


def _swap(problem: Problem, judge: _Judge, priced: Priced) -> None:
    """Move one host at a time while that helps, the moves that the relaxation thinks most of first."""
    while not judge.spent:
        for hosts in _proposals(problem, judge.sized.counts.hosts, priced):
            if judge.try_counts(hosts):
                break
            if judge.spent:
                return
        else:
            return


def _proposals(problem: Problem, hosts: Ints, priced: Priced) -> Iterator[Ints]:
    pools = np.arange(problem.pools)
    worth = np.where(np.isfinite(priced.worth), priced.worth, 0.0)
    loss = np.where(hosts > 0, -worth[pools, np.maximum(hosts - 1, 0)], np.inf)
    gain = np.where(hosts < problem.max_hosts, worth[pools, np.minimum(hosts, worth.shape[1] - 1)], np.inf)
    change = loss[:, None] + gain[None, :]
    np.fill_diagonal(change, np.inf)
    for at in np.argsort(change, axis=None, kind="stable").tolist():
        giver, taker = divmod(at, problem.pools)
        if not np.isfinite(change[giver, taker]):
            return
        swapped = hosts.copy()
        swapped[giver] -= 1
        swapped[taker] += 1
        yield swapped
