"""Who lives where at least cost, among plans of as many hosts: a program over homes and standbys of single sites.

Sets and data as in `cover.primal_search.pool_relaxation`; sites s, with c_sp what the home of s in pool p costs,
w_s its weight, H the hosts of the plan at hand, and U the weight without standby there
Variables
    x_spq in [0, 1]    share of site s at home in pool p with standby in pool q, or with none
    n_p whole, >= 0    hosts of pool p
Minimise sum c_sp x_spq, subject to
    (1) sum_pq x_spq = 1
    (2) sum_sq k_s x_spq <= C_p n_p
    (3) sum_sr k_s x_sqr + g_pq sum_s k_s x_spq <= R_q n_q, summed over the pools p of each loss; g = 1, and
        against the loss of a host 1 / N_p, 1 / (N_p - 1) where q = p, for at most N_p hosts in pool p
    (4) sum_p n_p <= H, where hosts are the objective
    (5) sum_s,p in i b_si x_spq <= B_i
    (6) sum w_s x_sp without standby <= U, over sites that can have one
Every plan that serves and covers as much with as many hosts is a point of it, so that its value is a bound. With the
hosts that run for N_p it is none, but its shares are nearer to a plan. Average (4) of `pool_relaxation` over all
ordered pairs of a host that is lost and one that stays to have (3).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import Ground
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, LinearProgram, solve_arrays

_MOST_CHOICES = 150_000  # above, standbys are left out
_TIGHT = 1e-7
_PART = 0.02  # of the value: a gap that ends the search for whole host counts

Block = tuple[Ints, Ints, Floats]


@dataclass(frozen=True)
class Choices:
    """Homes that sites may have, with the standby: ``site``, ``pair``, ``home`` and ``standby`` (X,), -1 for none."""

    site: Ints
    pair: Ints
    home: Ints
    standby: Ints


def choices_of(ground: Ground, keep: Bools, *, bare: bool) -> Choices:
    """Return the choices of the sites that ``keep`` (S,) marks; ``bare``: sites may do without a standby."""
    with_standby = _paired(ground, keep, bare=bare)
    return with_standby if len(with_standby.site) <= _MOST_CHOICES else _homes_alone(ground, keep)


def _homes_alone(ground: Ground, keep: Bools) -> Choices:
    problem = ground.problem
    pair = np.flatnonzero(keep[problem.site] & problem.homes)
    return Choices(problem.site[pair], pair, problem.pool[pair], np.full(len(pair), -1))


def _paired(ground: Ground, keep: Bools, *, bare: bool) -> Choices:
    problem, losses = ground.problem, ground.losses
    alone = _homes_alone(ground, keep)
    without = bare | ~ground.coverable[alone.site]
    parts = [np.column_stack((alone.site, alone.pair, alone.home, alone.standby))[without]]
    known: dict[bytes, tuple[Ints, Ints]] = {}
    for s in np.flatnonzero(keep & ground.coverable).tolist():
        at = slice(int(problem.indptr[s]), int(problem.indptr[s + 1]))
        pools = problem.pool[at]
        key = pools.tobytes() + problem.homes[at].tobytes()
        if key not in known and losses is not None:
            first, second = np.nonzero(losses.partners(pools, problem.max_hosts) & problem.homes[at][:, None])
            known[key] = first.astype(np.int64), second.astype(np.int64)
        first, second = known[key]
        parts.append(np.column_stack((np.full(len(first), s), at.start + first, pools[first], pools[second])))
    return Choices(*np.concatenate(parts).astype(np.int64).T)


class HomeProgram:
    """The program of one plan: ``most_hosts`` is H or None, ``running`` (P,) N, ``uncovered`` U."""

    def __init__(
        self, ground: Ground, choices: Choices, most_hosts: int | None, running: Ints, uncovered: float
    ) -> None:
        self.ground, self.choices, self.running = ground, choices, running
        self.most_hosts, self.uncovered = most_hosts, uncovered
        self.kept: list[tuple[Floats, float]] = []

    def keep(self, cost: Floats, most: float) -> None:
        """Let no later answer cost more than ``most`` by ``cost`` (E,)."""
        self.kept.append((cost, most))

    def near(self, running: Ints) -> HomeProgram:
        """Return the program near plans in which the hosts ``running`` (P,) run, with all that is kept.

        It is another one only against the loss of a host, where what a loss brings hangs on how many there are.
        """
        if not self.ground.by_host:
            return self
        other = HomeProgram(self.ground, self.choices, self.most_hosts, running, self.uncovered)
        other.kept = list(self.kept)
        return other

    def least(self, cost: Floats, budget: SolveBudget) -> float | None:
        """Return the least total ``cost`` (E,) when hosts may be divided; None where time ends before."""
        outcome = self._solve(cost, self._free, budget).outcome
        return float(outcome.objective) if outcome.state == "optimal" else None

    def counts(self, cost: Floats, budget: SolveBudget) -> tuple[Ints | None, float]:
        """Return whole hosts (P,) of low total ``cost`` (E,), None where none are found, and a bound on the cost."""
        answer = self._solve(cost, self._free, budget, whole=True)
        if not answer.outcome.has_solution:
            return None, answer.outcome.bound
        return np.rint(answer.x[len(self.choices.site) :]).astype(np.int64), answer.outcome.bound

    def shares(self, hosts: Ints, cost: Floats, budget: SolveBudget) -> Floats | None:
        """Return the shares (X,) of least total ``cost`` (E,) with ``hosts`` (P,); None where there are none."""
        given = hosts.astype(np.float64)
        answer = self._solve(cost, (given, given), budget)
        return answer.x[: len(self.choices.site)] if answer.outcome.has_solution else None

    @property
    def _free(self) -> tuple[Floats, Floats]:
        most = self.ground.problem.max_hosts.astype(np.float64)
        return np.zeros_like(most), most

    def _solve(self, cost: Floats, hosts: tuple[Floats, Floats], budget: SolveBudget, *, whole: bool = False) -> Answer:
        choices, pools = self.choices, self.ground.problem.pools
        matrix, lower, upper = self._rows
        for kept, most in self.kept:
            row = sp.csr_array(np.concatenate((kept[choices.pair], np.zeros(pools)))[None, :])
            matrix, lower = sp.vstack((matrix, row), format="csr"), np.append(lower, -np.inf)
            upper = np.append(upper, most + _TIGHT * max(1.0, abs(most)))
        none = np.zeros(len(choices.site))
        program = LinearProgram(
            np.concatenate((cost[choices.pair], np.zeros(pools))),
            np.concatenate((np.ones_like(none), hosts[1])),
            sp.csc_array(matrix),
            lower,
            upper,
            np.arange(len(none) + pools) >= len(none) if whole else None,
            np.concatenate((none, hosts[0])),
        )
        return solve_arrays(program, budget, gap=_PART if whole else 0.0)

    @cached_property
    def _rows(self) -> tuple[sp.csr_array, Floats, Floats]:
        """The rows (1) to (6) over x and n, with their limits."""
        problem, choices = self.ground.problem, self.choices
        sites, every = np.unique(choices.site), np.arange(len(choices.site))
        row_of = np.searchsorted(sites, choices.site)
        clusters = problem.clusters[choices.site].astype(np.float64)
        column = len(every) + np.arange(problem.pools)
        matrices = [self._matrix(len(sites), [(row_of, every, np.ones(len(every)))])]
        pool = np.arange(problem.pools)
        caps = (pool, column, -problem.caps.astype(np.float64))
        matrices.append(self._matrix(problem.pools, [(choices.home, every, clusters), caps]))
        matrices += self._loss_rows(clusters)
        upper = [np.ones(len(sites)), np.zeros(sum(matrix.shape[0] for matrix in matrices[1:]))]
        for i, limit in enumerate(problem.limits):
            mine = np.flatnonzero(limit.pools[choices.home])
            brings = self.ground.brings[i, choices.site[mine]]
            matrices.append(self._matrix(1, [(np.zeros(len(mine), dtype=np.int64), mine, brings)]))
            upper.append(self.ground.most[i : i + 1])
        if self.most_hosts is not None:
            matrices.append(self._matrix(1, [(np.zeros_like(pool), column, np.ones(problem.pools))]))
            upper.append(np.array([float(self.most_hosts)]))
        alone = np.flatnonzero((choices.standby < 0) & self.ground.coverable[choices.site])
        if (choices.standby >= 0).any() and len(alone):
            weight = problem.weights[choices.site[alone]].astype(np.float64)
            matrices.append(self._matrix(1, [(np.zeros(len(alone), dtype=np.int64), alone, weight)]))
            upper.append(np.array([self.uncovered + _TIGHT]))
        high = np.concatenate(upper)
        low = np.concatenate((np.ones(len(sites)), np.full(len(high) - len(sites), -np.inf)))
        return sp.vstack(matrices, format="csr"), low, high

    def _matrix(self, rows: int, blocks: list[Block]) -> sp.csr_array:
        return _block(rows, len(self.choices.site) + self.ground.problem.pools, blocks)

    def _loss_rows(self, clusters: Floats) -> list[sp.csr_array]:
        """Return the rows (3), for each loss those of the pools that it sends somebody to."""
        ground, choices = self.ground, self.choices
        column, rows, blocks = len(choices.site), 0, list[Block]()
        at_home = [np.flatnonzero(choices.home == q) for q in range(ground.problem.pools)]
        for hit in ground.losses.pools if ground.losses is not None else ():
            sent = np.flatnonzero(hit[choices.home] & (choices.standby >= 0))
            for q in np.unique(choices.standby[sent]).tolist():
                arriving = sent[choices.standby[sent] == q]
                share = self._share(int(np.flatnonzero(hit)[0]), q)
                at = np.concatenate((at_home[q], arriving, [column + q]))
                value = np.concatenate((clusters[at_home[q]], clusters[arriving] * share, [-float(ground.room[q])]))
                blocks.append((np.full(len(at), rows), at, value))
                rows += 1
        return [self._matrix(rows, blocks)] if rows else []

    def _share(self, p: int, q: int) -> float:
        """Return the part of what pool ``p`` sends to ``q`` that one loss brings."""
        return 1.0 / max(1, int(self.running[p]) - (p == q)) if self.ground.by_host else 1.0


def _block(rows: int, wide: int, parts: list[Block]) -> sp.csr_array:
    row, column, value = (np.concatenate(part) for part in zip(*parts, strict=True))
    matrix: sp.csr_array = sp.csr_array(sp.coo_array((value, (row, column)), shape=(rows, wide)))
    return matrix
