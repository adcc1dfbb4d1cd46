"""Homes under given host counts that every loss leaves room for, without a model: flows with costs that learn.

First in fractions. The sum over losses of the squared shortfall is convex in the homes, and a step of Frank and Wolfe
(Naval Research Logistics Quarterly 3 (1956) 95-110) is a minimum-cost flow whose costs are what the failing rows
(`planner.sizing.cover.rows`) count. Then in whole sites: the nearest whole flow, mended by flows in which a class
leaves a pool only when the failing rows outweigh a cost of its own, drawn at random so that few move at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.rows import Row, largest_gaps
from planner.sizing.problem import Classes, Problem
from planner.sizing.realise import realise
from planner.sizing.solver import Effort
from planner.sizing.transport import Cost, Transport, least_cost_flow

_SCALE = 200  # parts of a cluster that fractions count to
_SPARE = 2.0  # clusters of each pool that fractions leave to the rounding, where they can
_ENOUGH = 1.0  # clusters short in all: rounding decides about these
_PATIENCE, _MOST_STEPS = 12, 200  # steps without 2 % less; steps
_MOST_MENDS, _MEND_PATIENCE = 100, 25  # and without any gain
_MANY_ARCS = 30_000  # no clusters are left to the rounding: half the steps
_FADE = 0.97  # of a price, each time

Gaps = list[tuple[Row, float]]


@dataclass(frozen=True)
class HomeSearch:
    """Looks for homes of every class with ``hosts`` (P,) running; everybody is served, and covered who can be."""

    problem: Problem
    classes: Classes
    losses: Losses
    hosts: Ints
    effort: Effort

    def run(self) -> tuple[Floats | None, Floats]:
        """Return whole homes (A,), and the clusters of room that each pool was short of (P,) where there are none.

        No homes is no proof that there are none.
        """
        short = np.zeros(self.problem.pools)
        start = realise(self.problem, self.classes, self.hosts)
        if start is None:
            return None, short
        together = np.where(self._light, 0.0, start.flow)
        flow, short = self._fractions(together)
        return (None if flow is None else self._whole(flow, together)), short

    @property
    def _light(self) -> Bools:
        return ~self.classes.heavy[self.classes.of_arc]

    @property
    def _never(self) -> Bools:
        """Arcs of classes that cannot have a standby, shape (A,)."""
        classes = self.classes
        return ~self.losses.coverable(classes.indptr, classes.pool, self.problem.max_hosts)[classes.of_arc]

    def _gaps(self, flow: Floats, never: Bools, scale: int = 1, spare: float = 0.0) -> Gaps:
        uncovered = np.where(never, flow, 0.0)
        args = (self.problem, self.classes, self.losses, self.hosts, flow, uncovered)
        return list(largest_gaps(*args, scale=scale, spare=spare))

    def _fractions(self, together: Floats) -> tuple[Floats | None, Floats]:
        """Return homes in fractions, or None and the room that was short."""
        never = self._never
        flow = self._cheapest(together, np.zeros(len(together)))
        least, waited, spare = np.inf, 0, _SPARE if len(together) <= _MANY_ARCS else 0.0
        for step in range(_MOST_STEPS):
            if flow is None or self.effort.spent:
                break
            gaps = self._gaps(flow, never, _SCALE, spare)
            total = sum(gap for _, gap in gaps)
            if total < _ENOUGH:
                return flow, self._short_room(gaps)
            waited = 0 if total < 0.98 * least else waited + 1
            least = min(least, total)
            if waited == _PATIENCE:
                if not spare:
                    return None, self._short_room(gaps)
                least, waited, spare = np.inf, 0, 0.0
                continue
            self.effort.tell("cover", float(self.hosts.sum()), None)
            target = self._cheapest(together, self._counted(gaps))
            flow = None if target is None else flow + (target - flow) * 2.0 / (step + 3.0)
        return None, np.zeros(self.problem.pools)

    def _counted(self, gaps: Gaps) -> Floats:
        """Return the gap of every row on the arcs that it counts, added up, shape (A,)."""
        return np.asarray(sum(gap * row.counted(self.classes, self.losses) for row, gap in gaps))

    def _short_room(self, gaps: Gaps) -> Floats:
        short = np.zeros(self.problem.pools)
        for row, gap in gaps:
            short[row.pools] += gap
        return short

    def _cheapest(self, together: Floats, cost: Floats) -> Floats | None:
        """Return the flow (A,) of least ``cost``; sites kept together stay where ``together`` (A,) says."""
        light = np.flatnonzero(self._light)
        return self._flow(together, light, [Cost(cost[light], 1e-2)], None)

    def _flow(self, settled: Floats, arcs: Ints, costs: Sequence[Cost], most: Ints | None) -> Floats | None:
        """Return ``settled`` (A,) plus the cheapest flow over ``arcs``, which may repeat, of all that is left."""
        classes = self.classes
        each = classes.items[classes.of_arc]
        served = np.bincount(classes.of_arc, weights=settled, minlength=classes.count)
        load = np.bincount(classes.pool, weights=settled * each, minlength=self.problem.pools)
        transport = Transport(
            tail=classes.of_arc[arcs],
            head=classes.pool[arcs],
            supply=classes.demand - np.rint(served).astype(np.int64),
            room=self.problem.caps * self.hosts - np.rint(load).astype(np.int64),
            most=most,
        )
        found = least_cost_flow(transport, costs)
        return None if found is None else settled + np.bincount(arcs, weights=found, minlength=len(settled))

    def _whole(self, flow: Floats, together: Floats) -> Floats | None:
        """Return whole homes near ``flow`` that every loss leaves room for; None where mending does not get there."""
        floor = np.floor(flow + 1e-6)
        split = np.flatnonzero(flow - floor > 1e-6)
        one = np.ones(len(split), dtype=np.int64)
        best = self._flow(floor, split, [Cost(1.0 - (flow - floor)[split], 1e-3)], one)
        never, light = self._never, np.flatnonzero(self._light)
        gaps = None if best is None else self._gaps(best, never)
        price, raise_by, rng = np.zeros(len(flow)), 4.0, np.random.default_rng(self.effort.seed)
        inertia = rng.integers(1, 1000, len(flow)).astype(np.float64)
        waited = 0
        for _ in range(_MOST_MENDS):
            if best is None or not gaps or self.effort.spent or waited == _MEND_PATIENCE:
                break
            price = price * _FADE + raise_by * self._counted(gaps)
            trial = self._mended(best, together, light, price, inertia)
            now = gaps if trial is None else self._gaps(trial, never)
            if trial is not None and (left := sum(gap for _, gap in now)) <= sum(gap for _, gap in gaps):
                waited = waited + 1 if left == sum(gap for _, gap in gaps) else 0
                best, gaps = trial, now
            else:
                waited += 1
                raise_by, price = raise_by / 2.0, price / 2.0
                inertia = rng.integers(1, 1000, len(flow)).astype(np.float64)
        return None if gaps else best

    def _mended(self, now: Floats, together: Floats, light: Ints, price: Floats, inertia: Floats) -> Floats | None:
        """Return the cheapest flow when staying costs the price of an arc, and coming to it the inertia on top."""
        stay = light[now[light] > 0]
        cost = np.concatenate((price[stay], price[light] + inertia[light]))
        most = np.concatenate((now[stay].astype(np.int64), self.classes.demand[self.classes.of_arc[light]]))
        return self._flow(together, np.concatenate((stay, light)), [Cost(cost, 1.0)], most)
