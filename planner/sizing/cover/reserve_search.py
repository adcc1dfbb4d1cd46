"""Fewest hosts that survive every loss: the model of reserve, and flows that say which cut it lacks.

First the relaxation, in fractions. Cuts are looked for half way between its solution and a point that is known to have
homes, where they are deep (W. Ben-Ameur, J. Neto, Networks 49 (2007) 3-17). From there a dive: hosts become whole a few
pools at a time. Where the dive costs more than the bound, the model with whole hosts is asked for other counts. Every
cut holds for all counts, so nothing learned is lost.
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterator

import numpy as np

from planner.arrays import as_floats, rounded
from planner.fleet import Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_model import ReserveModel, Whole
from planner.sizing.cover.reserve_program import Box
from planner.sizing.cover.reserve_terms import KnownConditions, Point, Taken, read_shares, wanted
from planner.sizing.host_counts.cutting_planes import CutSearch
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget

_SCALE = 1024  # parts of a cluster that fractions count to
_ENOUGH = 0.5  # clusters missing: rounding down to parts alone may lose as much
_HALF_WAY = 0.5
_MOST_ROUNDS = 300  # of one search for cuts
_FEW_TRIES = 4  # counts tried above the bound
_ARC_TRIES = 500_000  # by arcs: counts tried at the bound, if those are more
_MOST_ADDED = 12  # hosts
_NEAR = 0.1  # of a host: a point in fractions that costs so little more than the bound is as good as at it
_BATCHES = 8  # pools are made whole by as large a part of those left
_EPS = 1e-6


class ReserveSearch:
    """One search against the loss of hubs or zones, after one for counts that meet `cover.loss_conditions`."""

    def __init__(
        self, problem: Problem, losses: Losses, network: PairNetwork, search: CutSearch, budget: SolveBudget
    ) -> None:
        assert search.best is not None
        self.problem = problem
        self.network = network
        self.budget = budget
        self.losses, self.start = losses, search.best
        self.asked = network.demand
        self.demand = int(network.demand.sum())
        # The room of each pool that sites leave free, shared out evenly.
        free = float(losses.room @ self.start - self.demand)
        even = max(2.0, free / problem.pools)
        master = search.master
        reference = master.reference, np.full(problem.pools, even)
        shares = read_shares(losses)
        self.model = ReserveModel(problem, losses, shares, master.price, master.extra, reference, self.demand)
        self.model.kept_together = wanted(network.classes, network)
        self._conditions = KnownConditions(search.cuts, problem.pools)
        self.bound = 0.0
        self._raise(search.bound)

    @property
    def objective_bound(self) -> float:
        """The bound in the unit of the policy's objective: hosts, new hosts or money."""
        extra = self.model.extra
        if extra and np.isfinite(self.bound):
            return float(np.floor(self.bound / extra + 1e-9))
        return self.bound

    def points(self) -> Iterator[Point]:
        """Yield whole points with homes for divisible sites: the cheapest that is found, then dearer ones.

        `bound` is on the objective of the first, and of every plan; inf where there is none.
        """
        core = self._relax()
        best = None if core is None else self._dive(core)
        arcs = len(self.network.classes.pool)
        tries = max(_FEW_TRIES, _ARC_TRIES // max(1, arcs))
        if best is None and self.budget.spent and core is not None:
            best = self._as_it_is(core)
        found: Point | None
        for level in range(_MOST_ADDED + 1):
            least = self.bound + level
            if not np.isfinite(least) or (self.budget.spent and best is None):
                return
            if best is not None and self.model.value(best.hosts) <= least + _EPS * max(1.0, least):
                found, best = best, None
            else:
                found = self._at_level(least, _FEW_TRIES if level else tries)
            if found is not None:
                best = None
                yield found
        if best is not None:
            yield best

    def _as_it_is(self, core: Point) -> Point | None:
        """Return a point in fractions made whole without a solver, for time that has ended; None if it has no homes."""
        hosts = np.minimum(np.ceil(core.hosts - _EPS), self.problem.max_hosts)
        whole = Point(hosts, np.floor(core.room + _EPS))
        return None if self._learn(whole, whole, 1)[0] else whole

    def room_for(self, hosts: Ints) -> Point | None:
        """Return whole room with which ``hosts`` (P,) have homes for divisible sites, or None; learns cuts."""
        fixed = as_floats(hosts), as_floats(hosts)
        if self._with_homes(fixed, "none") is None:
            return None
        return self._with_homes(fixed, "all")

    def known_cuts(self) -> list[Cut]:
        """Return those cuts of the search over counts that mattered."""
        return self._conditions.given

    def near(self, room: Floats) -> ReserveSearch:
        """Return a search that keeps as close to ``room`` (P,) as it can."""
        search = copy.copy(self)
        hosts, _ = self.model.reference
        cuts = list(self.model.cuts)
        search.model = dataclasses.replace(self.model, reference=(hosts, room), cuts=cuts)
        return search

    def beside(self, network: PairNetwork, taken: Taken, asked: Ints) -> ReserveSearch:
        """Return a search for the room of classes of ``network`` that ask for ``asked`` (K,), beside what is taken."""
        search = copy.copy(self)
        search.network, search.asked = network, asked
        cuts = list(self.model.cuts)
        search.model = dataclasses.replace(self.model, taken=taken, kept_together=(), cuts=cuts)
        return search

    def _raise(self, bound: float) -> None:
        self.bound = max(self.bound, bound)
        self.model.least = self.bound if np.isfinite(self.bound) else 0.0

    def _solve(self, whole: Whole, box: Box | None = None) -> tuple[Point | None, float]:
        """Solve the model, taking in those inequalities on host counts that its solutions fail."""
        while True:
            point, bound = self.model.solve(whole, self.budget, box)
            if point is None:
                return point, bound
            failed = self._conditions.failed_by(point.hosts)
            if not failed:
                return point, bound
            self.model.known += failed

    def _learn(self, at: Point, outer: Point, scale: int) -> tuple[float, int]:
        """Return the clusters that find no home at a point, and how many cuts that ``outer`` fails were added."""
        model = self.model
        load, ready = model.load(at), model.ready(at)
        flow = self.network.solve(load, ready, scale, self.asked)
        if flow.missing <= (_ENOUGH if scale > 1 else 0.0):
            return 0.0, 0
        found = [self.network.min_cut(inside, self.asked) for inside in flow.sets]
        cuts = [model.cut(one, at) for one in found]
        if len(cuts) == 2 and np.array_equal(cuts[0].on_room, cuts[1].on_room):
            cuts.pop()
        new = [cut for cut in cuts if cut.shortfall(outer) > _EPS * max(1, cut.demand)]
        model.cuts += new
        return flow.missing, len(new)

    def _relax(self) -> Point | None:
        """Raise the bound by the relaxation; return a point in fractions that has homes and costs about the bound."""
        core = self._plenty()
        for _ in range(_MOST_ROUNDS):
            point, bound = self._solve("none")
            self._raise(bound)
            if self.budget.spent:
                return core
            if point is None:
                return None
            if core is not None and self._whole(self.model.value(core.hosts) - _NEAR) <= self.bound:
                # Whole counts near a point that has homes are likely to have them too.
                near = core.hosts, core.room[: self.problem.pools]
                self.model = dataclasses.replace(self.model, reference=near)
                return core
            self.budget.tell("cover", None, self.bound)
            between = point if core is None else point.towards(core, _HALF_WAY)
            missing, added = self._learn(between, point, _SCALE)
            if not missing and core is None:
                return between
            if not missing:
                core = between
            elif not added:
                missing, added = self._learn(point, point, _SCALE)
                if not added:
                    return core if missing else point
        return core

    def _plenty(self) -> Point | None:
        """Return a point with more hosts than are needed and homes for everybody; None where none was met."""
        model = self.model
        pools = self.problem.pools
        most = self.problem.max_hosts
        for hosts in (self.start + 1, 2 * self.start + 2, most):
            has = self.losses.room * np.minimum(most, hosts)
            room = np.zeros(pools + model.shares.count)
            left = max(0.0, 1.0 - self.demand / max(1, has.sum()))
            room[:pools] = has * left / 2.0
            point = Point(as_floats(np.minimum(most, hosts)), model.shared_out(room))
            if not self._learn(point, point, _SCALE)[0]:
                return point
        return None

    def _dive(self, core: Point) -> Point | None:
        """Return a whole point with homes from one in fractions, by settling pools that are nearest to whole first."""
        point: Point | None = core
        self._settle_sizes()
        low = np.zeros(self.problem.pools)
        high = as_floats(self.problem.max_hosts)
        batches = _BATCHES
        while point is not None and not self.budget.spent:
            free = np.flatnonzero(low < high)
            if not len(free):
                break
            # What is left costs a whole number in the end: better to have its room at once.
            value = self.model.value(point.hosts)
            self.model.least = self._whole(value - _EPS)
            whole = np.rint(point.hosts)
            off = np.abs(point.hosts - whole)[free]
            number = max(1, len(free) // batches)
            batch = free[np.argsort(off, kind="stable")[:number]]
            before = low[batch], high[batch]
            low[batch] = high[batch] = whole[batch]
            further = self._with_homes((low, high), "none")
            if further is None and len(batch) > 1:
                batches = self.problem.pools  # from here on one at a time
                low[batch], high[batch] = before
                continue
            if further is None:
                low[batch] = np.ceil(point.hosts[batch])
                high[batch] = before[1]
                further = self._with_homes((low, high), "none")
            point = further
        self._raise(self.bound)
        found = None if point is None else self.room_for(rounded(point.hosts))
        self.model.floor = None
        return found

    def _settle_sizes(self) -> None:
        """Choose, near the reference, where sites that are kept together find their room; the model keeps to it."""
        if not self.model.kept_together:
            return
        point, _bound = self._solve("sizes")
        if point is not None:
            room = point.room[: self.problem.pools]
            floor = np.zeros(self.problem.pools)
            for wish in self.model.kept_together:
                best = wish.standbys[np.argmax(room[wish.standbys])]
                floor[best] = max(floor[best], wish.clusters)
            self.model.floor = np.minimum(floor, room + _EPS)

    def _with_homes(self, box: Box, whole: Whole) -> Point | None:
        """Return the cheapest point with homes whose hosts are in ``box``, or None."""
        scale = 1 if whole == "all" else _SCALE
        for _ in range(_MOST_ROUNDS):
            point, _bound = self._solve(whole, box)
            if point is None or self.budget.spent:
                return None
            missing, added = self._learn(point, point, scale)
            if not missing:
                return point
            if not added:
                return None
        return None

    def _whole(self, value: float) -> float:
        least = float(np.ceil(value - _EPS))
        return value if self.problem.objective == "cost" else least

    def _at_level(self, least: float, tries: int) -> Point | None:
        """Return a point with homes that costs at least ``least``; at the bound, what is learned may raise it."""
        seen: set[bytes] = set()
        for _ in range(tries):
            at_bound = least <= self.bound
            self.model.least = max(self.bound, least)
            point, bound = self._solve("hosts")
            again = point is not None and point.hosts.tobytes() in seen
            if again:
                point, bound = self._solve("all")
            if at_bound:
                self._raise(bound)
                least = self.bound
            if point is None or self.budget.spent:
                break
            self.budget.tell("cover", None, self.bound)
            seen.add(point.hosts.tobytes())
            if again:
                missing, added = self._learn(point, point, 1)
                if not missing:
                    return point
                if not added:
                    break
            else:
                found = self.room_for(rounded(point.hosts))
                if found is not None:
                    return found
        self._raise(self.bound)
        return None
