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
class Found:
    """``homes`` (A,) that every loss leaves room for, or None; ``near`` are the best that leave some without a standby.

    ``short`` (P,): the clusters of room that were lacking in each pool, added up over losses.
    """

    homes: Floats | None
    near: Floats | None
    short: Floats


@dataclass(frozen=True)
class HomeSearch:
    """Looks for homes of every class with ``hosts`` (P,) running; everybody is served, and covered who can be."""

    problem: Problem
    classes: Classes
    losses: Losses
    hosts: Ints
    effort: Effort

    def run(self) -> Found:
        """Return homes that every loss leaves room for, or the nearest there are; no homes is no proof of none."""
        nothing = np.zeros(self.problem.pools)
        start = realise(self.problem, self.classes, self.hosts)
        if start is None:
            return Found(None, None, nothing)
        together = np.where(self._light, 0.0, start.flow)
        flow, gaps = self._fractions(together)
        if flow is None:
            return Found(None, None, nothing)
        near = self._nearest(flow)
        if near is None or sum(gap for _, gap in gaps) >= _ENOUGH:
            return Found(None, near, self._short_room(gaps))
        near, left = self._mend(near, together)
        return Found(None if left else near, near, self._short_room(left or gaps))

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

    def _fractions(self, together: Floats) -> tuple[Floats | None, Gaps]:
        """Return homes in fractions and the gaps that they leave; None where the hosts do not carry everybody."""
        never = self._never
        flow = self._cheapest(together, np.zeros(len(together)))
        gaps: Gaps = []
        least, waited, spare = np.inf, 0, _SPARE if len(together) <= _MANY_ARCS else 0.0
        for step in range(_MOST_STEPS):
            if flow is None:
                break
            gaps = self._gaps(flow, never, _SCALE, spare)
            total = sum(gap for _, gap in gaps)
            waited = 0 if total < 0.98 * least else waited + 1
            least = min(least, total)
            if total < _ENOUGH or self.effort.spent or (waited == _PATIENCE and not spare):
                break
            if waited == _PATIENCE:
                least, waited, spare = np.inf, 0, 0.0
                continue
            self.effort.tell("cover", float(self.hosts.sum()), None)
            target = self._cheapest(together, self._counted(gaps))
            flow = None if target is None else flow + (target - flow) * 2.0 / (step + 3.0)
        return flow, gaps

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

    def _nearest(self, flow: Floats) -> Floats | None:
        """Return whole homes near ``flow`` (A,): every arc carries its whole part, and the rest is shared out."""
        floor = np.floor(flow + 1e-6)
        split = np.flatnonzero(flow - floor > 1e-6)
        one = np.ones(len(split), dtype=np.int64)
        return self._flow(floor, split, [Cost(1.0 - (flow - floor)[split], 1e-3)], one)

    def _mend(self, best: Floats, together: Floats) -> tuple[Floats, Gaps]:
        """Return whole homes with smaller gaps than ``best`` (A,), and the gaps that are left."""
        never, light = self._never, np.flatnonzero(self._light)
        gaps = self._gaps(best, never)
        price, raise_by, rng = np.zeros(len(best)), 4.0, np.random.default_rng(self.effort.seed)
        inertia = rng.integers(1, 1000, len(best)).astype(np.float64)
        waited = 0
        for _ in range(_MOST_MENDS):
            if not gaps or self.effort.spent or waited == _MEND_PATIENCE:
                break
            price = price * _FADE + raise_by * self._counted(gaps)
            trial = self._mended(best, together, light, price, inertia)
            now = gaps if trial is None else self._gaps(trial, never)
            before, after = (sum(gap for _, gap in found) for found in (gaps, now))
            waited = 0 if after < before else waited + 1
            if trial is not None and after <= before:
                best, gaps = trial, now
            else:
                raise_by, price = raise_by / 2.0, price / 2.0
                inertia = rng.integers(1, 1000, len(best)).astype(np.float64)
        return best, gaps

    def _mended(self, now: Floats, together: Floats, light: Ints, price: Floats, inertia: Floats) -> Floats | None:
        """Return the cheapest flow when staying costs the price of an arc, and coming to it the inertia on top."""
        stay = light[now[light] > 0]
        cost = np.concatenate((price[stay], price[light] + inertia[light]))
        most = np.concatenate((now[stay].astype(np.int64), self.classes.demand[self.classes.of_arc[light]]))
        return self._flow(together, np.concatenate((stay, light)), [Cost(cost, 1.0)], most)
