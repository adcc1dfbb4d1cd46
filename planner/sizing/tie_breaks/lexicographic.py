"""Which site uses which pool, with the hosts of every pool given: the later aims, in the order of the policy.

Moves and total RTT are costs of a flow. The worst margin and the largest load are found by bisection: the
largest margin, or smallest load of a host, that leaves the costs settled before it as they are.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, falses, int_array, minus_ones, rounded, totals, trues
from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.case import TieBreak
from planner.sizing.instance.classes import arc_of_pair
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.aims import Bottleneck, PairAim, aim_of
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import PairCost, Placement
from planner.sizing.solvers.transportation import Cost, Transport, least_cost_flow, total_costs


def place(problem: Problem, sized: Sized, incumbent: Bools, tie_breaks: Sequence[TieBreak]) -> Placement | None:
    """Send every site to a pool; None when the hosts of ``sized`` do not carry them.

    ``incumbent`` (E,) marks pairs that keep a site where it is today. Sites of fixed classes (see `Classes`) keep
    the pools that the model chose, shared out within their class.
    """
    network = _network(problem, sized)
    money = problem.objective == "cost"
    settled = [PairCost(problem.pair_cost, 1e-6)] if money else []
    told = list(settled)
    for name in tie_breaks:
        aim = aim_of(name)
        if isinstance(aim, Bottleneck):
            network = _narrowed(network, problem, sized.counts.hosts, aim, settled)
        elif isinstance(aim, PairAim):
            told.append(aim.cost(problem, incumbent))
            settled += told[-1:] if aim.applies(incumbent) else []  # where nobody can stay, all plans move as many
    # Without a cost of the user's, near is better than far.
    near = [PairCost(problem.rtt_ms, 1e-3)]
    flow = least_cost_flow(network.transport, network.costs(settled or near))
    if flow is None:
        return None
    totals = total_costs(network.costs(told or near), flow)
    return network.placement(problem, flow, totals)


@dataclass(frozen=True)
class _Network:
    """The transportation problem with the eligible pair of each arc; -1 on arcs of sites that are left out.

    Sinks: a pool's room for sites of loose classes, then "unserved" and "own" for each class, then one for each
    arc of a fixed class.
    """

    transport: Transport
    pair_of: Ints
    pools: int
    kinds: int

    def costs(self, settled: Sequence[PairCost]) -> list[Cost]:
        """Return each cost on the arcs; nothing on those of sites that are left out."""
        real = self.pair_of >= 0
        found = []
        for cost in settled:
            values = np.zeros(len(self.pair_of))
            values[real] = cost.values[self.pair_of[real]]
            found.append(Cost(values, cost.step))
        return found

    def take(self, keep: Bools) -> _Network:
        transport = self.transport.take(keep)
        return dataclasses.replace(self, transport=transport, pair_of=self.pair_of[keep])

    def placement(self, problem: Problem, flow: Ints, costs: tuple[float, ...]) -> Placement:
        tail = self.transport.tail
        sink = self.transport.head - self.pools
        used = np.flatnonzero((flow > 0) & (self.pair_of >= 0))
        gone = (flow > 0) & (self.pair_of < 0)
        unserved = falses(problem.sites)
        own = falses(problem.sites)
        unserved[tail[gone & (sink < self.kinds)]] = True
        own[tail[gone & (sink >= self.kinds)]] = True
        per_unit = 1 if problem.split else problem.clusters[tail[used]]
        units = flow[used] * per_unit
        return Placement(self.pair_of[used], units, unserved, own, costs)


def _network(problem: Problem, sized: Sized) -> _Network:
    classes, counts = sized.classes, sized.counts
    pools, kinds = problem.pools, classes.count
    unserved_sinks = pools
    own_sinks = pools + kinds
    arc_sinks = pools + 2 * kinds
    fixed_pair = classes.fixed[classes.of_site[problem.site]]
    sink_of_arc = arc_sinks + arc_of_pair(problem, classes)
    head = np.where(fixed_pair, sink_of_arc, problem.pool)
    fixed_flow = np.where(classes.arc_fixed, counts.flow, 0.0)
    fixed_clusters = fixed_flow * classes.arc_items
    fixed_load = totals(classes.pool, fixed_clusters, pools)
    loose_room = problem.caps * counts.hosts - rounded(fixed_load)
    unserved_units = counts.unserved * classes.unit_demand
    own_units = counts.own * classes.unit_demand
    room = np.concatenate((loose_room, unserved_units, own_units, rounded(fixed_flow)))
    nobody = falses(problem.sites)
    left_out, named_out = _who(problem, sized, counts.unserved, nobody)
    has_own, named = _who(problem, sized, counts.own, named_out)
    open_pairs = np.flatnonzero(~named[problem.site])
    to_unserved = unserved_sinks + classes.of_site[left_out]
    to_own = own_sinks + classes.of_site[has_own]
    supply = classes.unit_demand[classes.of_site]
    tail = np.concatenate((problem.site[open_pairs], left_out, has_own))
    heads = np.concatenate((head[open_pairs], to_unserved, to_own))
    limits = _limits(problem, as_floats(fixed_load), len(room)) if problem.flows else ()
    transport = Transport(tail, heads.astype(np.int64), supply, room, limits=limits)
    none = minus_ones(len(left_out) + len(has_own))
    pair_of = np.concatenate((open_pairs, none))
    network = _Network(transport, pair_of, pools, kinds)
    # Most pools of a large fleet are empty: arcs to sinks without room go first.
    return network.take(room[transport.head] > 0)


def _limits(problem: Problem, fixed_load: Floats, sinks: int) -> tuple[tuple[Bools, int], ...]:
    """Return the limits on clusters as what they leave for sites of loose classes, over ``sinks`` sinks."""
    found = []
    for limit in problem.limits:
        mask = falses(sinks)
        mask[: problem.pools] = limit.pools
        taken = round(float(fixed_load[limit.pools].sum()))
        found.append((mask, int(limit.most) - taken))
    return tuple(found)


def _who(problem: Problem, sized: Sized, numbers: Ints, taken: Bools) -> tuple[Ints, Bools]:
    """Return the sites that may be among the ``numbers`` (K,) of their class, and ``taken`` plus those that must be.

    The flow chooses freely where sites are whole. A split site must not be left out by halves, so the
    farthest of its class are named beforehand.
    """
    wanted = numbers[sized.classes.of_site]
    if not problem.split:
        return np.flatnonzero((wanted > 0) & ~taken), taken
    nearest = np.full(problem.sites, np.inf)
    np.minimum.at(nearest, problem.site, problem.rtt_ms)
    chosen: list[int] = []
    for c in np.flatnonzero(numbers):
        of_class = sized.classes.of_site == c
        members = np.flatnonzero(of_class & ~taken)
        farthest_first = np.argsort(-nearest[members], kind="stable")
        chosen.extend(members[farthest_first][: numbers[c]])
    named = int_array(sorted(chosen))
    taken = taken.copy()
    taken[named] = True
    return named, taken


def _narrowed(
    network: _Network, problem: Problem, hosts: Ints, aim: Bottleneck, settled: Sequence[PairCost]
) -> _Network:
    """Keep what is within the best level of ``aim`` that leaves the settled costs as they are."""
    real = network.pair_of >= 0
    pairs = network.pair_of[real]
    levels = aim.levels(problem, pairs)

    def limited(k: int) -> tuple[Bools, Ints]:
        allowed, caps = aim.within(problem, levels[k])
        keep = trues(len(network.pair_of))
        keep[real] = allowed[pairs]
        room = network.transport.room.copy()
        less_room = (problem.caps - caps) * hosts
        room[: problem.pools] -= less_room
        return keep, np.maximum(0, room)

    return _farthest(network, settled, len(levels), limited)


def _farthest(
    network: _Network, settled: Sequence[PairCost], steps: int, limited: Callable[[int], tuple[Bools, Ints]]
) -> _Network:
    """Return the network at the last step whose least costs are those of the first; bisects the steps."""

    def at(k: int) -> tuple[_Network, tuple[float, ...] | None]:
        keep, room = limited(k)
        kept = network.take(keep)
        transport = dataclasses.replace(kept.transport, room=room)
        trial = dataclasses.replace(kept, transport=transport)
        costs = trial.costs(settled)
        nothing = Cost(np.zeros(int(keep.sum())), 1.0)
        flow = least_cost_flow(trial.transport, costs or [nothing])
        return trial, None if flow is None else total_costs(costs, flow)

    if steps == 0:
        return network
    low, high = 0, steps - 1
    best, wanted = at(0)
    while low < high:
        middle = (low + high + 1) // 2
        trial, reached = at(middle)
        if reached is not None and wanted is not None and np.allclose(reached, wanted, rtol=0, atol=1e-6):
            low, best = middle, trial
        else:
            high = middle - 1
    return best


def placed(problem: Problem, sized: Sized, incumbent: Bools, tie_breaks: Sequence[TieBreak]) -> Placement:
    """Return `place` for counts that are known to carry every site; SolverError when they do not."""
    placement = place(problem, sized, incumbent, tie_breaks)
    if placement is None:
        raise SolverError("the host counts have no room for the sites they were computed for")
    return placement
