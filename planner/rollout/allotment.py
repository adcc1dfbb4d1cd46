"""Which job in which night, where the nights are given: a linear program, so that places are handed on in time.

x_jw is the share of job j that is done in night w, s_rw what is free of room r after it, m the sites of the largest
night. c_jw is larger for later nights, most so for urgent jobs, and drawn by chance a little, so that one solution is
best and its shares are nearly all whole. v is above all c_jw, so that as much as can be is done; an urgent job a night
earlier is worth more than a smaller m, and that more than any other job a night earlier.

    least  sum_jw (c_jw - v) x_jw + e m         e = 0 where waves need not be even
    (1)  sum_w x_jw <= 1
    (2)  s_rw = s_r,w-1 + sum_j (gives_jr - takes_jr) x_jw,  s_rw >= 0
    (3)  z = s_r,w-1 + sum_(j of E) gives_jr x_jw - sum_(j of B) takes_jr x_jw,  z >= 0     at moments of night w: B are
                                the jobs whose last start has come, E those that can have ended in good time by then
    (4)  sum_j a_jk x_jw <= b_kw               each row k of the night's kind: crews, free places, quotas
    (5)  sum_j x_jw <= size_w, and <= m        jobs at sites
    (6)  |I| y_jw <= Y_Iw                      I: one of needs(j); the same with Y_I,w-1 for one of earlier(j)
         Y_Iw = Y_I,w-1 + sum_(i of I) x_iw    what of I is done, y_jw that of j; in large programs I are all of
                                               needs(j) or earlier(j), which filling keeps to one by one all the same
    (7)  x_jw + sum_(v near w) x_iv <= 1       (i, d) in apart(j); near: fewer than d nights

What is free and what is done is added up from moment to moment and from night to night: sums written out would make
programs of many nights dense, which take ten times as long.

What happens inside a night is found out by filling it (`planner.rollout.filling`).
Solved by the interior point method of HiGHS with crossover (J. Schork, J. Gondzio, Mathematical Programming Computation
12 (2020) 603-635): these programs are degenerate, and the simplex method takes ten times as long.
"""

from __future__ import annotations

import random
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from planner.errors import SolverError
from planner.fleet import Ints
from planner.rollout.filling import ANY_NIGHT, Filling
from planner.rollout.night_kinds import NightKinds
from planner.sizing import LinearProgram, SolveBudget, solve_arrays

_NOISE, _EARLY, _URGENT = 1e-3, 5e-3, 1.0  # of c: by chance, for each night, and for each where the job is urgent
_EVEN = 0.3  # e
_DAY = 24 * 60
_SOLVER: Mapping[str, float | str] = {"solver": "ipm", "ipm_iteration_limit": 5_000}  # it takes some 40
_MANY = 25_000  # columns of a large program
_SOME = 1e-3  # share of a job that counts
_MOSTLY = 0.5  # share of a job from which on it is allotted: to the night of its largest one

Terms = Iterable[tuple[int, float]]  # column, coefficient


@dataclass(frozen=True)
class Asked:
    """What is asked of an allotment: of solutions that are as good ``chance`` draws one; ``even``: waves of even size.

    ``spare`` are the minutes for which a place is free within the night before others count on it. ``left`` are the
    seconds that the program may take, None for no limit.
    """

    chance: random.Random
    even: bool = False
    spare: int = 0
    left: Callable[[], float | None] = lambda: None


def allot(kinds: NightKinds, state: Filling, nights: Sequence[int], asked: Asked) -> Ints:
    """Return the night of each job, one of ``nights``; `ANY_NIGHT` for what is done, or finds none."""
    found = np.full(len(state.night), ANY_NIGHT, dtype=np.int64)
    program = _Program(kinds, state, nights, asked)
    if not program.columns:
        return found
    most_of = np.zeros(len(found))
    done = np.zeros(len(found))
    for (job, w), share in zip(program.columns, program.solve(), strict=False):
        done[job] += share
        # Of what waits for others a share is allowed as soon as some of them are done.
        last = share > _SOME and program.large and program.waits(job)
        if last or share > most_of[job]:
            found[job], most_of[job] = nights[w], share
    found[done < _MOSTLY] = ANY_NIGHT
    return found


@dataclass
class _Program:
    kinds: NightKinds
    state: Filling
    nights: Sequence[int]
    asked: Asked

    def __post_init__(self) -> None:
        self._rows: list[list[tuple[int, float]]] = []
        self._most: list[float] = []
        self._balance: list[list[tuple[int, float]]] = []
        self._free: list[float] = []
        self._done_of: dict[tuple[int, ...], tuple[Sequence[int], Sequence[int]]] = {}

    @cached_property
    def columns(self) -> dict[tuple[int, int], int]:
        """Position of x_jw for each waiting job and night that is open to it."""
        kind, not_before = self.kinds.sheet.kind, self.state.not_before
        waiting = np.flatnonzero(self.state.waiting)
        pairs = [
            (int(job), w)
            for w, night in enumerate(self.nights)
            for job in waiting[np.isin(kind[waiting], self.kinds.sheet.opened(night)) & (not_before[waiting] <= night)]
        ]
        return {pair: at for at, pair in enumerate(sorted(pairs))}

    @property
    def large(self) -> bool:
        """Whether one row stands for all that a job waits for."""
        return len(self.columns) > _MANY

    def waits(self, job: int) -> bool:
        """Say whether ``job`` comes after others."""
        one = self.kinds.sheet.jobs[job]
        return bool(one.needs or one.earlier)

    @cached_property
    def when(self) -> dict[int, list[int]]:
        """The nights of each job."""
        found: dict[int, list[int]] = defaultdict(list)
        for job, w in self.columns:
            found[job].append(w)
        return found

    def solve(self) -> Sequence[float]:
        """Build the program and return the shares."""
        for job, nights in self.when.items():  # (1)
            self._at_most(((self.columns[job, w], 1.0) for w in nights), 1.0)
        self._rooms()
        for job in self.when:
            self._order(job)
            self._apart(job)
        for w, night in enumerate(self.nights):  # last, since m comes after all that is free or done
            self._night(w, night)
        return self._solved()

    def _at_most(self, terms: Terms, most: float) -> None:
        row = list(terms)
        if row:
            self._rows.append(row)
            self._most.append(most)

    @cached_property
    def users(self) -> dict[int, list[tuple[int, int]]]:
        """The jobs that take from each room (amount above 0) or give back (below 0)."""
        sheet = self.kinds.sheet
        found: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for job in self.when:
            for room, amount in sheet.takes[job]:
                found[room].append((job, amount))
            for room, amount in sheet.gives[job]:
                found[room].append((job, -amount))
        return found

    def _rooms(self) -> None:  # (2), (3)
        stock = len(self.columns)
        for room, changes in sorted(self.users.items()):
            before, free = list[tuple[int, float]](), float(self.state.levels.coming[room])
            for w in range(len(self.nights)):
                here = [(job, float(n)) for job, n in changes if (job, w) in self.columns]
                for change in self._changes(w, here):
                    self._balance.append([(stock, 1.0), *change, *before])
                    self._free.append(free)
                    before, free, stock = [(stock, -1.0)], 0.0, stock + 1

    def _changes(self, w: int, users: Sequence[tuple[int, float]]) -> Iterator[list[tuple[int, float]]]:
        """Yield what is taken and given back from one moment of (3) to the next, and then to the end of the night.

        Of all moments those are left out that others imply: it is enough to look just before more jobs can have ended.
        """
        first, last = self._moments[w]
        kind = self.kinds.sheet.kind
        begun = sorted((last[int(kind[job])], self.columns[job, w], n) for job, n in users if n > 0)
        ended = sorted((first[int(kind[job])], self.columns[job, w], n) for job, n in users if n < 0)
        row: list[tuple[int, float]] = []
        told = 0
        for at, (moment, column, n) in enumerate(begun):
            row.append((column, n))
            following = begun[at + 1][0] if at + 1 < len(begun) else None
            here = bisect_right(ended, moment - self.asked.spare, key=lambda one: one[0])
            if here == len(ended) or following == moment:
                continue
            if following is None or bisect_right(ended, following - self.asked.spare, key=lambda one: one[0]) > here:
                yield [*row, *((column, n) for _, column, n in ended[told:here])]
                row, told = [], here
        yield [*row, *((column, n) for _, column, n in ended[told:])]

    @cached_property
    def _moments(self) -> list[tuple[dict[int, int], dict[int, int]]]:
        """For each night when the first job of each kind can have ended, and when the last has to begin."""
        sheet, found = self.kinds.sheet, []
        for night in self.nights:
            spans = sheet.spans(night)
            first: dict[int, int] = {}
            last: dict[int, int] = {}
            for kind, begin, end in zip(spans.kind.tolist(), spans.first.tolist(), spans.last.tolist(), strict=True):
                first[kind] = min(begin + int(sheet.minutes[sheet.sample[kind]]), first.get(kind, begin + _DAY))
                last[kind] = max(end, last.get(kind, end))
            found.append((first, last))
        return found

    def _night(self, w: int, night: int) -> None:  # (4), (5)
        sheet, state = self.kinds.sheet, self.state
        for row in self.kinds.limits(night):
            here = [(job, n) for job, n in zip(row.jobs, row.amounts, strict=True) if (job, w) in self.columns]
            self._at_most(((self.columns[job, w], float(n)) for job, n in here), float(row.most))
        owned = [job for job in self.when if sheet.jobs[job].owner and (job, w) in self.columns]
        size = sheet.project.size(state.waves + w)
        if size < len(owned):
            self._at_most(((self.columns[job, w], 1.0) for job in owned), size)
        if owned and self.asked.even:
            self._at_most([(self._largest, -1.0), *((self.columns[job, w], 1.0) for job in owned)], 0.0)

    def _order(self, job: int) -> None:  # (6)
        one = self.kinds.sheet.jobs[job]
        for others, strict in ((one.needs, False), (one.earlier, True)):
            waited_for = tuple(sorted(other for other in others if other in self.when))
            together = [waited_for] if self.large else [(other,) for other in waited_for]
            for some in filter(None, together):
                self._after(job, some, strict=strict)

    def _after(self, job: int, others: tuple[int, ...], *, strict: bool) -> None:
        nights, done = self._done(others)
        for w, mine in zip(*self._done((job,)), strict=True):
            before = bisect_left(nights, w if strict else w + 1)
            self._at_most(((mine, float(len(others))), *((column, -1.0) for column in done[:before][-1:])), 0.0)

    def _done(self, jobs: tuple[int, ...]) -> tuple[Sequence[int], Sequence[int]]:
        """Return the nights of ``jobs`` and for each the position of what is done of them all by then, with its row."""
        if jobs not in self._done_of:
            nights = sorted({w for job in jobs for w in self.when[job]})
            first = self._largest
            for w in nights:
                done = self._largest
                here = [(self.columns[job, w], -1.0) for job in jobs if (job, w) in self.columns]
                before = [(done - 1, -1.0)] if done > first else []
                self._balance.append([(done, 1.0), *here, *before])
                self._free.append(0.0)
            self._done_of[jobs] = nights, range(first, self._largest)
        return self._done_of[jobs]

    def _apart(self, job: int) -> None:  # (7)
        for other, least in self.kinds.sheet.project.apart(job).items():
            for w in self.when[job] if other < job and other in self.when else ():
                near = [v for v in self.when[other] if abs(self.nights[v] - self.nights[w]) < least]
                if near:
                    self._at_most(((self.columns[job, w], 1.0), *((self.columns[other, v], 1.0) for v in near)), 1.0)

    @property
    def _largest(self) -> int:
        """Position of m, after the shares and all that is free or done so far."""
        return len(self.columns) + len(self._balance)

    def _solved(self) -> Sequence[float]:
        count, shares, chance = self._largest + 1, len(self.columns), self.asked.chance
        urgent = self.kinds.sheet.urgent.tolist()
        cost = np.zeros(count)
        cost[:shares] = [w * (_EARLY + _URGENT * urgent[job]) + _NOISE * chance.random() for job, w in self.columns]
        cost[:shares] -= 1.0 + cost.max()
        cost[-1] = _EVEN
        matrix = _matrix([*self._rows, *self._balance], count)
        most = np.array([*self._most, *self._free])
        least = np.concatenate((np.full(len(self._most), -np.inf), self._free))
        program = LinearProgram(cost, np.full(count, np.inf), matrix, least, most)
        try:
            answer = solve_arrays(program, SolveBudget(self.asked.left()), options=_SOLVER)
        except SolverError:  # a proposal less: the nights are filled all the same
            return ()
        return answer.x[:shares].tolist() if answer.outcome.state == "optimal" else ()


def _matrix(rows: Sequence[Sequence[tuple[int, float]]], count: int) -> sp.csc_array:
    at = [n for n, row in enumerate(rows) for _ in row]
    columns = [column for row in rows for column, _ in row]
    values = [value for row in rows for _, value in row]
    return sp.csc_array((values, (at, columns)), shape=(len(rows), count))
