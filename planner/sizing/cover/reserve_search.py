"""Homes for divisible sites at host counts and reserve: flows say which cuts the model of reserve lacks.

Every cut holds for all counts, so nothing learned is lost.
"""

from __future__ import annotations

import copy
import dataclasses

import numpy as np

from planner.arrays import as_floats
from planner.fleet import Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_model import ReserveModel, Whole
from planner.sizing.cover.reserve_program import Box
from planner.sizing.cover.reserve_terms import KnownConditions, Point, Taken, read_shares, wanted
from planner.sizing.host_counts.cut_master import in_unit
from planner.sizing.host_counts.cutting_planes import CutSearch
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget

SCALE = 1024  # parts of a cluster that fractions count to
_ENOUGH = 0.5  # clusters missing: rounding down to parts alone may lose as much
MOST_ROUNDS = 300  # of one search for cuts


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
        self.raise_bound(search.bound)

    @property
    def objective_bound(self) -> float:
        """The bound in the unit of the policy's objective: hosts, new hosts or money."""
        return in_unit(self.bound, self.model.extra)

    def room_for(self, hosts: Ints) -> Point | None:
        """Return whole room with which ``hosts`` (P,) have homes for divisible sites, or None; learns cuts."""
        fixed = as_floats(hosts), as_floats(hosts)
        if self.with_homes(fixed, "none") is None:
            return None
        return self.with_homes(fixed, "all")

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

    def raise_bound(self, bound: float) -> None:
        """Take in a ``bound`` on the price of all points, and let no later answer of the model cost less."""
        self.bound = max(self.bound, bound)
        self.model.least = self.bound if np.isfinite(self.bound) else 0.0

    def solve(self, whole: Whole, box: Box | None = None) -> tuple[Point | None, float]:
        """Solve the model, taking in those inequalities on host counts that its solutions fail."""
        while True:
            point, bound = self.model.solve(whole, self.budget, box)
            if point is None:
                return point, bound
            failed = self._conditions.failed_by(point.hosts)
            if not failed:
                return point, bound
            self.model.known += failed

    def learn(self, at: Point, outer: Point, scale: int) -> tuple[float, int]:
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
        new = [cut for cut in cuts if cut.fails(outer)]
        model.cuts += new
        return flow.missing, len(new)

    def with_homes(self, box: Box, whole: Whole) -> Point | None:
        """Return the cheapest point with homes whose hosts are in ``box``, or None."""
        scale = 1 if whole == "all" else SCALE
        for _ in range(MOST_ROUNDS):
            point, _bound = self.solve(whole, box)
            if point is None or self.budget.spent:
                return None
            missing, added = self.learn(point, point, scale)
            if not missing:
                return point
            if not added:
                return None
        return None
