"""The fewest nights by a mixed-integer program: how many nights of each kind, and how many of which jobs in them.

A column c is a kind of nights at one place among the waves: the pilot, each wave of its growth, the waves after it, and
nights in which no site changes. n_c counts its nights, x_gc the jobs of class g that are done in them.

    least  sum_c n_c
    (1)  sum_c x_gc = n_g                       all n_g jobs of each class g are done
    (2)  x_gc <= n_g n_c                        in nights that are worked
    (3)  sum_g a_gr x_gc <= b_rc n_c            each row r of the kind of nights: crews, free places, quotas
    (4)  sum_g x_gc <= size_c n_c               one job of each site counts
    (5)  1 >= sum_(c of s) n_c >= sum_(c of s+1) n_c    waves s of the pilot and its growth come one after the other,
                                                        as many as all sites need, and before the waves after them
    (6)  sum_(c of P) n_c >= 2                  P: the nights that one or the other of two jobs could use that may not
                                                share one

n is whole, x need not be. What is left out (order inside a night, whole jobs, nights between) would only make it
larger, so its bound holds for every schedule. Solved by HiGHS (Q. Huangfu, J. A. J. Hall, Mathematical Programming
Computation 10 (2018) 119-142).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from planner.errors import SolverError
from planner.rollout.night_kinds import LIMITS, NightKinds, Row
from planner.sizing import LinearProgram, SolveBudget, solve_arrays

_NODES = 200  # most nodes of branch and bound: nearly all end at the first
_CELLS = 12_000  # most columns times classes; where there are more, limits that are felt least are left out
_LEAST_SECONDS = 2.0  # that a program has, though no time is left
_GAP = 1e-4  # relative, at which branch and bound ends
_SLACK = 1e-5  # of the solver's bound, before it is rounded up
PILOT = "the pilot and the limits that grow after it"


@dataclass(frozen=True, slots=True)
class Fewest:
    """No schedule has fewer ``nights``.

    The best choice that was found, each night by the kinds of jobs that it is open to: ``pilot`` has the nights of the
    pilot and its growth in order, ``others`` all further ones.
    """

    nights: int
    pilot: tuple[frozenset[int], ...] = ()
    others: tuple[frozenset[int], ...] = ()

    def __len__(self) -> int:
        return len(self.pilot) + len(self.others)


@dataclass(frozen=True, slots=True)
class _Column:
    """Nights of ``kind`` in which at most ``size`` sites change, at place ``stage`` of the growth; -1 for no place."""

    kind: int
    size: int
    stage: int = -1


def fewest_nights(
    kinds: NightKinds, members: Collection[int], without: Collection[str] = (), seconds: float | None = None
) -> Fewest:
    """Return the fewest nights for the jobs ``members``; the limits of the families ``without`` are left out.

    Families are those of the rows, and `PILOT`. The program ends by the work that it has done, and after about so many
    ``seconds``, None for no limit.
    """
    program = _Program(kinds, sorted(members), without, seconds)
    return program.solve() if program.members else Fewest(0)


@dataclass
class _Program:
    kinds: NightKinds
    members: Sequence[int]
    without: Collection[str]
    seconds: float | None
    rows: list[tuple[dict[int, float], float]] = field(default_factory=list)  # sum of coefficients <= right side

    @cached_property
    def firsts(self) -> set[int]:
        """One job of each site."""
        found: dict[str, int] = {}
        for at in self.members:
            owner = self.kinds.sheet.jobs[at].owner
            if owner:
                found.setdefault(owner, at)
        return set(found.values())

    @cached_property
    def sizes(self) -> Sequence[int]:
        """Most sites of each wave; the last of all later ones."""
        sizes = self.kinds.sheet.project.sizes or (len(self.firsts),)
        return sizes[-1:] if PILOT in self.without else sizes

    @cached_property
    def columns(self) -> list[_Column]:
        """All columns."""
        stages = [(size, stage) for stage, size in enumerate(self.sizes[:-1])]
        found = [(size, stage) for size, stage in (*stages, (self.sizes[-1], -1)) if self.firsts]
        found += [(0, -1)] if len(self.firsts) < len(self.members) else []
        return [_Column(kind, size, stage) for size, stage in found for kind in range(len(self.kinds.kinds))]

    @cached_property
    def limits(self) -> list[list[Row]]:
        """The rows (3) of each kind of nights; in a large program without those limits that are felt least."""
        found = [(*kind.rows, *self.kinds.quotas(kind, self.firsts)) for kind in self.kinds.kinds]
        rows = [[row for row in rows if row.family not in self.without] for rows in found]
        felt = sorted(len(row.jobs) / row.most for rows in found for row in rows if row.family == LIMITS)
        while felt and len(self._classes(rows)) * len(self.columns) > _CELLS:
            least, felt = felt[len(felt) // 2], felt[len(felt) // 2 + 1 :]
            rows = [[r for r in here if r.family != LIMITS or len(r.jobs) / r.most > least] for here in rows]
        return rows

    @cached_property
    def classes(self) -> list[list[int]]:
        """Jobs that no row tells apart."""
        return self._classes(self.limits)

    def _classes(self, limits: Sequence[Sequence[Row]]) -> list[list[int]]:
        kind = self.kinds.sheet.kind
        signature: dict[int, list[object]] = {at: [int(kind[at]), at in self.firsts] for at in self.members}
        for k, rows in enumerate(limits):
            for n, row in enumerate(rows):
                for at, amount in zip(row.jobs, row.amounts, strict=True):
                    if at in signature:
                        signature[at].append((k, n, amount))
        grouped: dict[tuple[object, ...], list[int]] = {}
        for at, found in signature.items():
            grouped.setdefault(tuple(found), []).append(at)
        return list(grouped.values())

    @cached_property
    def shares(self) -> dict[tuple[int, int], int]:
        """Position of x_gc for each class and column whose nights are open to it; those of n_c come before."""
        kinds = [int(self.kinds.sheet.kind[jobs[0]]) for jobs in self.classes]
        pairs = [
            (g, c)
            for c, column in enumerate(self.columns)
            for g, kind in enumerate(kinds)
            if kind in self.kinds.kinds[column.kind].opened and (column.size or self.classes[g][0] not in self.firsts)
        ]
        return {pair: len(self.columns) + at for at, pair in enumerate(pairs)}

    def solve(self) -> Fewest:
        """Build the program and solve it."""
        for (g, c), share in self.shares.items():
            self.rows.append(({share: 1.0, c: -float(len(self.classes[g]))}, 0.0))  # (2)
        class_of = {at: g for g, jobs in enumerate(self.classes) for at in jobs}
        for c, column in enumerate(self.columns):
            for row in self.limits[column.kind]:
                self._limit(
                    c,
                    {class_of[at]: n for at, n in zip(row.jobs, row.amounts, strict=True) if at in class_of},
                    row.most,
                )
            if column.size < len(self.firsts):
                self._limit(c, {class_of[at]: 1 for at in self.firsts}, column.size)
        self._in_order()
        self._apart()
        return self._solved()

    def _limit(self, c: int, amounts: dict[int, int], most: int) -> None:  # (3), (4)
        row = {self.shares[g, c]: float(n) for g, n in amounts.items() if (g, c) in self.shares}
        if row:
            self.rows.append(({**row, c: -float(most)}, 0.0))

    def _in_order(self) -> None:  # (5)
        stages = [[c for c, column in enumerate(self.columns) if column.stage == s] for s in range(len(self.sizes) - 1)]
        sites_before = 0
        for s, stage in enumerate(stages if self.firsts else ()):
            self.rows.append((dict.fromkeys(stage, 1.0), 1.0))
            if sites_before < len(self.firsts):
                self.rows.append((dict.fromkeys(stage, -1.0), -1.0))
            if s:
                self.rows.append((dict.fromkeys(stages[s - 1], -1.0) | dict.fromkeys(stage, 1.0), 0.0))
            sites_before += self.sizes[s]
        if stages and self.firsts:
            most = -float(len(self.members))
            after = [c for c, column in enumerate(self.columns) if column.stage < 0 and column.size]
            self.rows += [(dict.fromkeys(stages[-1], most) | {c: 1.0}, 0.0) for c in after]

    def _apart(self) -> None:  # (6)
        sheet, members = self.kinds.sheet, set(self.members)
        pairs = {
            tuple(sorted({int(sheet.kind[at]), int(sheet.kind[other])}))
            for at in self.members
            for other in (*sheet.project.apart(at), *sheet.jobs[at].earlier)
            if other in members
        }
        for pair in sorted(pairs):
            here = [c for c, column in enumerate(self.columns) if self.kinds.kinds[column.kind].opened & set(pair)]
            self.rows.append((dict.fromkeys(here, -1.0), -2.0))

    def _solved(self) -> Fewest:
        count, width = len(self.columns) + len(self.shares), len(self.columns)
        cost = np.zeros(count)
        cost[:width] = 1.0
        whole = cost > 0
        done: list[dict[int, float]] = [{} for _ in self.classes]
        for (g, _), share in self.shares.items():
            done[g][share] = 1.0
        sizes = np.array([len(jobs) for jobs in self.classes], dtype=float)
        matrix = _matrix([*(row for row, _ in self.rows), *done], count)
        most = np.array([*(most for _, most in self.rows), *sizes])
        least = np.concatenate((np.full(len(self.rows), -np.inf), sizes))  # (1)
        program = LinearProgram(cost, np.full(count, np.inf), matrix, least, most, whole)
        seconds = None if self.seconds is None else max(_LEAST_SECONDS, self.seconds)
        try:
            answer = solve_arrays(program, SolveBudget(seconds), gap=_GAP, options={"mip_max_nodes": _NODES})
        except SolverError:  # which proves nothing
            return Fewest(0)
        bound = answer.outcome.bound
        if not math.isfinite(bound):
            return Fewest(0)
        nights = math.ceil(bound - _SLACK)
        if not answer.outcome.has_solution:
            return Fewest(nights)
        return Fewest(nights, *self._chosen(np.round(answer.x[:width]).tolist()))

    def _chosen(self, counts: Sequence[float]) -> tuple[tuple[frozenset[int], ...], tuple[frozenset[int], ...]]:
        pilot: list[frozenset[int]] = []
        others: list[frozenset[int]] = []
        for column, n in zip(self.columns, counts, strict=True):
            opened = self.kinds.kinds[column.kind].opened
            (pilot if column.stage >= 0 else others).extend([opened] * int(n))
        return tuple(pilot), tuple(others)


def _matrix(rows: Sequence[dict[int, float]], count: int) -> sp.csc_array:
    at = [n for n, row in enumerate(rows) for _ in row]
    columns = [column for row in rows for column in row]
    values = [value for row in rows for value in row.values()]
    return sp.csc_array((values, (at, columns)), shape=(len(rows), count))
