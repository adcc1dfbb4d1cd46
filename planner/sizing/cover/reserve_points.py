"""The cheapest points that have homes: the relaxation first, from there a dive, then whole counts level by level.

Cuts are looked for half way between the relaxation's solution and a point that is known to have homes, where they are
deep (W. Ben-Ameur, J. Neto, Networks 49 (2007) 3-17). In the dive, hosts become whole a few pools at a time. Where it
costs more than the bound, the model with whole hosts is asked for other counts.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from planner.arrays import as_floats, rounded
from planner.sizing.cover.reserve_search import MOST_ROUNDS, SCALE, ReserveSearch
from planner.sizing.cover.reserve_terms import Point

_HALF_WAY = 0.5
_FEW_TRIES = 4  # counts tried above the bound
_ARC_TRIES = 500_000  # by arcs: counts tried at the bound, if those are more
_MOST_ADDED = 12  # hosts
_NEAR = 0.1  # of a host: a point in fractions that costs so little more than the bound is as good as at it
_BATCHES = 8  # pools are made whole by as large a part of those left
_EPS = 1e-6


class ReservePoints(ReserveSearch):
    """The search for points one after the other; what each of them teaches stays."""

    def cheapest(self) -> Iterator[Point]:
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
        enough = np.ceil(core.hosts - _EPS)
        hosts = np.minimum(enough, self.problem.max_hosts)
        whole = Point(hosts, np.floor(core.room + _EPS))
        return None if self.learn(whole, whole, 1)[0] else whole

    def _relax(self) -> Point | None:
        """Raise the bound by the relaxation; return a point in fractions that has homes and costs about the bound."""
        core = self._plenty()
        for _ in range(MOST_ROUNDS):
            point, bound = self.solve("none")
            self.raise_bound(bound)
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
            missing, added = self.learn(between, point, SCALE)
            if not missing and core is None:
                return between
            if not missing:
                core = between
            elif not added:
                missing, added = self.learn(point, point, SCALE)
                if not added:
                    return core if missing else point
        return core

    def _plenty(self) -> Point | None:
        """Return a point with more hosts than are needed and homes for everybody; None where none was met."""
        model = self.model
        pools = self.problem.pools
        most = self.problem.max_hosts
        for hosts in (self.start + 1, 2 * self.start + 2, most):
            running = np.minimum(most, hosts)
            has = self.losses.room * running
            room = np.zeros(pools + model.shares.count)
            full = self.demand / max(1, has.sum())
            room[:pools] = has * max(0.0, 1.0 - full) / 2.0
            point = Point(as_floats(running), model.shared_out(room))
            if not self.learn(point, point, SCALE)[0]:
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
            further = self.with_homes((low, high), "none")
            if further is None and len(batch) > 1:
                batches = self.problem.pools  # from here on one at a time
                low[batch], high[batch] = before
                continue
            if further is None:
                low[batch] = np.ceil(point.hosts[batch])
                high[batch] = before[1]
                further = self.with_homes((low, high), "none")
            point = further
        self.raise_bound(self.bound)
        found = None if point is None else self.room_for(rounded(point.hosts))
        self.model.floor = None
        return found

    def _settle_sizes(self) -> None:
        """Choose, near the reference, where sites that are kept together find their room; the model keeps to it."""
        if not self.model.kept_together:
            return
        point, _bound = self.solve("sizes")
        if point is not None:
            room = point.room[: self.problem.pools]
            floor = np.zeros(self.problem.pools)
            for wish in self.model.kept_together:
                best = wish.standbys[np.argmax(room[wish.standbys])]
                floor[best] = max(floor[best], wish.clusters)
            self.model.floor = np.minimum(floor, room + _EPS)

    def _at_level(self, least: float, tries: int) -> Point | None:
        """Return a point with homes that costs at least ``least``; at the bound, what is learned may raise it."""
        seen: set[bytes] = set()
        for _ in range(tries):
            at_bound = least <= self.bound
            self.model.least = max(self.bound, least)
            point, bound = self.solve("hosts")
            again = point is not None and point.hosts.tobytes() in seen
            if again:
                point, bound = self.solve("all")
            if at_bound:
                self.raise_bound(bound)
                least = self.bound
            if point is None or self.budget.spent:
                break
            self.budget.tell("cover", None, self.bound)
            seen.add(point.hosts.tobytes())
            if again:
                missing, added = self.learn(point, point, 1)
                if not missing:
                    return point
                if not added:
                    break
            else:
                found = self.room_for(rounded(point.hosts))
                if found is not None:
                    return found
        self.raise_bound(self.bound)
        return None

    def _whole(self, value: float) -> float:
        least = float(np.ceil(value - _EPS))
        return value if self.problem.objective == "cost" else least
