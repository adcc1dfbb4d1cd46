"""What homes and standbys lack at given host counts, when sites may be divided: a linear program over pools.

Sets and data as in `assignment.flow_model`; losses l, R_p the clusters that a host of pool p may carry
during a loss, and n_p the hosts of each pool, which are given
Variables, all >= 0
    f_cpq          units of class c at home in pool p with standby in pool q
    a_p, e_lq      clusters at home in pool p; and those that loss l sends to pool q
    u_p, v_lq, w_i what is above the room of pool p, above that of pool q during loss l, above limit i
Minimise sum u + sum v + sum w, subject to
    (1) sum_pq f_cpq = d_c
    (2) sum_cq k_c f_cpq <= a_p, and a_p - u_p <= C_p n_p
    (3) sum_c,p in l k_c f_cpq <= e_lq; against the loss of a host, of each pool p one:
        sum_c k_c f_cpq <= n_p e_pq, and n_p - 1 where q = p
    (4) a_q + e_lq - v_lq <= R_q n_q
    (5) sum_c,q,p in i b_ci f_cpq - w_i <= B_i
The value is 0 for every plan that covers everybody: average (4) over the hosts of p that may be lost.
In turn, homes and standbys at value 0 that are shared out evenly over equal hosts need only be made whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import Ground
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.problem import Problem, restrict
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import GrowingProgram

_MOST_TRIPLES = 80_000  # beyond, a class chooses among fewer pools, drawn at random
_FEWEST = 3


@dataclass(frozen=True)
class Shares:
    """Homes and standbys in fractions: ``lacking`` clusters in all, ``flow`` (X,) of each triple of the program.

    ``worth`` (P,): by how much one more host of each pool would lower what is lacking, at first; ``load`` (P,).
    """

    lacking: float
    flow: Floats
    worth: Floats
    load: Floats


class PoolProgram:
    """The program of the sites that ``keep`` (S,) marks, solved again and again for other counts.

    Its triples are ``kind``, ``home`` and ``standby``, -1 for classes that can have none. ``slack``: clusters that each
    host shall keep free during a loss.
    """

    def __init__(self, ground: Ground, keep: Bools, seed: int, slack: float = 0.0) -> None:
        self.ground, self.seed, self.slack = ground, seed, slack
        self.sites = np.flatnonzero(keep)
        kept = restrict(ground.problem, keep)
        self.classes = classes = group(kept, by_weight=False)
        self.kind, self.home, self.standby = _triples(ground, kept, classes)
        pools = ground.problem.pools
        each = classes.items[self.kind].astype(np.float64)
        losses = np.eye(pools, dtype=np.bool_) if ground.by_host else self._hit()
        self._each = each
        behind = self.standby >= 0
        lost, triple = np.nonzero(losses[:, self.home] & behind)
        key = lost * pools + self.standby[triple]
        found, at = np.unique(key, return_inverse=True)
        self.lost, self.to = found // pools, found % pools
        self._build(each, triple, at)

    def _hit(self) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
        losses = self.ground.losses
        return np.zeros((0, self.ground.problem.pools), dtype=np.bool_) if losses is None else losses.pools

    def _build(self, each: Floats, triple: Ints, at: Ints) -> None:
        """Hand the program to the solver, with no hosts yet; ``triple`` and ``at`` tell which pairs (3) join."""
        ground, classes = self.ground, self.classes
        triples, pools, sent, limits = len(self.kind), ground.problem.pools, len(self.lost), len(ground.problem.limits)
        every, pool, pair, limit_at = (np.arange(size) for size in (triples, pools, sent, limits))
        self._load_column = triples
        self._sent_column = triples + pools
        over_pool = self._sent_column + sent
        over_loss, over_limit = over_pool + pools, over_pool + pools + sent
        load_row = classes.count
        self._room_row = load_row + pools
        self._sent_row = self._room_row + pools
        self._loss_row = self._sent_row + sent
        limit_row = self._loss_row + sent
        blocks = [
            (self.kind, every, np.ones(triples)),
            (load_row + self.home, every, each),
            (load_row + pool, self._load_column + pool, -np.ones(pools)),
            (self._room_row + pool, self._load_column + pool, np.ones(pools)),
            (self._room_row + pool, over_pool + pool, -np.ones(pools)),
            (self._sent_row + at, triple, each[triple]),
            (self._loss_row + pair, self._load_column + self.to, np.ones(sent)),
            (self._loss_row + pair, self._sent_column + pair, np.ones(sent)),
            (self._loss_row + pair, over_loss + pair, -np.ones(sent)),
            (limit_row + limit_at, over_limit + limit_at, -np.ones(limits)),
        ]
        for i, limit in enumerate(ground.problem.limits):
            mine = np.flatnonzero(limit.pools[self.home])
            brings = classes.amounts[limit.measure][self.kind[mine]] * ground.scale(limit.measure)
            blocks.append((np.full(len(mine), limit_row + i), mine, brings))
        row, column, value = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
        columns = over_limit + limits
        matrix = sp.csr_array(sp.coo_array((value, (row, column)), shape=(limit_row + limits, columns)))
        demand = classes.demand.astype(np.float64)
        cost = np.concatenate((np.zeros(over_pool), np.ones(columns - over_pool)))
        self._program = GrowingProgram(cost, np.full(columns, np.inf), seed=self.seed)
        lower = np.concatenate((demand, np.full(matrix.shape[0] - classes.count, -np.inf)))
        upper = np.concatenate((demand, np.zeros(2 * pools + 2 * sent), ground.most[:-1]))
        self._program.add(matrix, lower, upper)
        self._shared = np.zeros(sent, dtype=np.int64)

    def solve(self, hosts: Ints, budget: SolveBudget) -> Shares | None:
        """Return the shares that lack least with ``hosts`` (P,); None where time ends before."""
        ground, pools = self.ground, len(hosts)
        room = np.maximum(0, ground.room - self.slack)
        self._program.limit(self._room_row + np.arange(pools), (ground.problem.caps * hosts).astype(np.float64))
        rows = self._loss_row + np.arange(len(self.to))
        self._program.limit(rows, (room * hosts)[self.to].astype(np.float64))
        for r, (p, q) in enumerate(zip(self.lost.tolist(), self.to.tolist(), strict=True)):
            value = max(0, int(hosts[p]) - (p == q)) if ground.by_host else 1
            if value != self._shared[r]:
                self._program.change(self._sent_row + r, self._sent_column + r, -float(value))
                self._shared[r] = value
        answer = self._program.solve(budget)
        if not answer.outcome.has_solution:
            return None
        flow = answer.x[: len(self.kind)]
        load = np.bincount(self.home, weights=flow * self._each, minlength=pools).astype(np.float64)
        return Shares(float(answer.outcome.objective), flow, self._worth(answer.x, answer.dual), load)

    def _worth(self, x: Floats, dual: Floats) -> Floats:
        ground, sent = self.ground, len(self.lost)
        pools = ground.problem.pools
        worth = -ground.problem.caps * dual[self._room_row : self._room_row + pools]
        by_loss = -dual[self._loss_row : self._loss_row + sent]
        worth = worth + ground.room * np.bincount(self.to, weights=by_loss, minlength=pools)
        if ground.by_host:
            shared = -dual[self._sent_row : self._sent_row + sent] * x[self._sent_column : self._sent_column + sent]
            worth += np.bincount(self.lost, weights=shared, minlength=pools)
        return np.asarray(worth, dtype=np.float64)


def _triples(ground: Ground, problem: Problem, classes: Classes) -> tuple[Ints, Ints, Ints]:
    """Return class, home and standby pool of all choices of a class; in large problems, among some of its pools."""
    rng = np.random.Generator(np.random.PCG64(0))
    kinds, homes, standbys = [], [], []
    wide = max(_FEWEST, int(np.sqrt(_MOST_TRIPLES / max(1, classes.count))))
    member = np.zeros(classes.count, dtype=np.int64)
    member[classes.of_site] = np.arange(len(classes.of_site))
    for c in range(classes.count):
        pools = classes.pool[classes.indptr[c] : classes.indptr[c + 1]]
        first = problem.indptr[member[c]]
        may_live = problem.homes[first : first + len(pools)]
        if len(pools) > wide:
            some = np.sort(rng.permutation(len(pools))[:wide])
            pools, may_live = pools[some], may_live[some]
        home = np.flatnonzero(may_live)
        standby = np.full(len(home), -1)
        if ground.losses is not None:
            may = ground.losses.partners(pools, problem.max_hosts) & may_live[:, None]
            if may.any():
                home, other = np.nonzero(may)
                standby = pools[other]
        kinds.append(np.full(len(home), c))
        homes.append(pools[home])
        standbys.append(standby)
    if not kinds:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none
    return np.concatenate(kinds), np.concatenate(homes), np.concatenate(standbys)
