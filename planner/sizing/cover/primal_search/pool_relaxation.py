"""What homes and standbys lack at given host counts, when sites may be divided: a linear program over pools.

Sets and data as in `assignment.flow_model`; losses l, R_p the clusters that a host of pool p may carry
during a loss, and n_p the hosts of each pool, which are given
Variables, all >= 0
    f_cpq          units of class c at home in pool p with standby in pool q
    a_p, e_lq      clusters at home in pool p; and those that loss l sends to pool q
    u_p, v_lq, w_i what is above the room of pool p, above that of pool q during loss l, above limit i
    t_lq           what loss l sends to pool q although no host runs there, or none that it could come from
Minimise sum u + sum v + sum w + sum t, subject to
    (1) sum_pq f_cpq = d_c
    (2) sum_cq k_c f_cpq <= a_p, and a_p - u_p <= C_p n_p
    (3) sum_c,p in l k_c f_cpq - t_lq <= e_lq; against the loss of a host, of each pool p one:
        sum_c k_c f_cpq - t_pq <= n_p e_pq, and n_p - 1 where q = p
    (4) a_q + e_lq - v_lq <= R_q n_q
    (5) sum_c,q,p in i b_ci f_cpq - w_i <= B_i
The value is 0 for every plan that covers everybody: average (4) over the hosts of p that may be lost.
In turn, homes and standbys at value 0 that are shared out evenly over equal hosts need only be made whole.

A large program begins with some of its columns f. Those whose reduced cost is negative come in where it lacks something
(column generation, G. B. Dantzig, P. Wolfe, Operations Research 8 (1960) 101-111), so that its value is that of all.
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
from planner.sizing.solvers.highs import Answer, GrowingProgram
from planner.sizing.solvers.model_builder import ModelBuilder, Terms

_MOST_COLUMNS = 80_000  # up to here all choices are columns from the start
_FIRST = 10  # choices of a class that are columns from the start in larger programs, drawn at random
_GAIN = 0.005  # of the value; columns that gained less are the last
_EPS = 1e-6


@dataclass(frozen=True)
class Shares:
    """Homes and standbys in fractions: ``lacking`` clusters in all, ``flow`` (X,) of each choice of the program.

    ``worth`` (P,): by how much one more host of each pool would lower what is lacking, at first; ``load`` (P,).
    """

    lacking: float
    flow: Floats
    worth: Floats
    load: Floats


class PoolProgram:
    """The program of the sites that ``keep`` (S,) marks, solved again and again for other counts.

    Its choices are ``kind``, ``home`` and ``standby`` (X,), -1 for classes that can have none. ``slack``: clusters that
    each host shall keep free during a loss.
    """

    def __init__(self, ground: Ground, keep: Bools, seed: int) -> None:
        self.ground, self.seed, self.slack = ground, seed, 0.0
        self.sites = np.flatnonzero(keep)
        kept = restrict(ground.problem, keep)
        self.classes = group(kept, by_weight=False)
        self.kind, self.home, self.standby = _choices(ground, kept, self.classes)
        self._each = self.classes.items[self.kind].astype(np.float64)
        pools = ground.problem.pools
        self._losses = np.eye(pools, dtype=np.bool_) if ground.by_host else self._hit()
        self.lost, self.to = self._sent()
        self._shared = np.zeros(len(self.lost), dtype=np.int64)
        self._room = np.zeros(pools)  # what the rows say that a host may carry during a loss
        self._program = self._empty()
        self._columns = np.zeros(0, dtype=np.int64)  # choices that are columns, in their order
        self._out = np.ones(len(self.kind), dtype=np.bool_)
        self._take(self._first_choices())

    def _hit(self) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
        losses = self.ground.losses
        return np.zeros((0, self.ground.problem.pools), dtype=np.bool_) if losses is None else losses.pools

    def _sent(self) -> tuple[Ints, Ints]:
        """Return loss and pool of every pair (l, q) for which there is e_lq."""
        pools = self.ground.problem.pools
        behind = self.standby >= 0
        used = np.unique(self.home[behind] * pools + self.standby[behind])
        lost, at = np.nonzero(self._losses[:, used // pools])
        pair = np.unique(lost * pools + (used % pools)[at])
        return pair // pools, pair % pools

    def _first_choices(self) -> Ints:
        every = np.arange(len(self.kind))
        if len(every) <= _MOST_COLUMNS:
            return every
        rng = np.random.Generator(np.random.PCG64(self.seed))
        return _first_of_each(every, self.kind, rng.random(len(every)), _FIRST)

    def _empty(self) -> GrowingProgram:
        """Return the program without any f, and with no hosts yet."""
        ground, classes = self.ground, self.classes
        pools, sent, limits = ground.problem.pools, len(self.lost), len(ground.problem.limits)
        model = ModelBuilder()
        load, self._sent_at = model.block(pools), model.block(sent)
        over_pool, over_loss, over_sent = (model.block(size, 1.0) for size in (pools, sent, sent))
        over_limit = model.block(limits, 1.0)
        self._hosts_at = model.block(pools)
        self._choice_column = model.columns
        pool, pair, limit = (np.arange(size) for size in (pools, sent, limits))
        model.add([], classes.count, classes.demand, classes.demand)
        self._load_row = model.add([(pool, load, -1.0)], pools, -np.inf, 0.0)
        caps = -ground.problem.caps.astype(np.float64)
        in_room: list[Terms] = [(pool, load, 1.0), (pool, over_pool, -1.0), (pool, self._hosts_at, caps)]
        self._room_row = model.add(in_room, pools, -np.inf, 0.0)
        self._sent_row = model.add([(pair, over_sent, -1.0)], sent, -np.inf, 0.0)
        in_loss: list[Terms] = [(pair, load[self.to], 1.0), (pair, self._sent_at, 1.0), (pair, over_loss, -1.0)]
        self._loss_row = model.add(in_loss, sent, -np.inf, 0.0)
        self._limit_row = model.add([(limit, over_limit, -1.0)], limits, -np.inf, ground.most[:-1])
        self._rows = model.rows
        return GrowingProgram(model.program(), self.seed)

    def _take(self, chosen: Ints) -> None:
        """Make columns of the choices ``chosen`` (n,)."""
        every, home, each = np.arange(len(chosen)), self.home[chosen], self._each[chosen]
        blocks = [(self.kind[chosen], every, np.ones(len(chosen))), (self._load_row[home], every, each)]
        lost, at = np.nonzero(self._losses[:, home] & (self.standby[chosen] >= 0))
        pools = self.ground.problem.pools
        pair = np.searchsorted(self.lost * pools + self.to, lost * pools + self.standby[chosen][at])
        blocks.append((self._sent_row[pair], at, each[at]))
        for i, limit in enumerate(self.ground.problem.limits):
            mine = np.flatnonzero(limit.pools[home])
            blocks.append((np.full(len(mine), self._limit_row[i]), mine, self._brings(i, chosen[mine])))
        row, column, value = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
        self._program.add_columns(sp.csc_array(sp.coo_array((value, (row, column)), shape=(self._rows, len(chosen)))))
        self._columns = np.concatenate((self._columns, chosen))
        self._out[chosen] = False

    def _brings(self, i: int, choices: Ints) -> Floats:
        """Return what a unit of each of ``choices`` (n,) counts in limit ``i``."""
        measure = self.ground.problem.limits[i].measure
        brings: Floats = self.classes.amounts[measure][self.kind[choices]] * self.ground.scale(measure)
        return brings

    @property
    def known(self) -> Bools:
        """The choices that are columns by now, shape (X,)."""
        return ~self._out

    @property
    def whole(self) -> bool:
        """Whether all choices are columns."""
        return not self._out.any()

    def solve(self, hosts: Ints, budget: SolveBudget) -> Shares | None:
        """Return the shares that lack least with ``hosts`` (P,); None where time ends before."""
        self._share_out(hosts)
        self._program.bound(self._hosts_at, hosts.astype(np.float64), hosts.astype(np.float64))
        answer = self._answer(budget)
        return self._shares(answer) if answer.outcome.has_solution else None

    def _shares(self, answer: Answer) -> Shares:
        flow = np.zeros(len(self.kind))
        flow[self._columns] = answer.x[self._choice_column :]
        load = np.bincount(self.home, weights=flow * self._each, minlength=self.ground.problem.pools)
        worth = self._worth(answer.x, answer.dual)
        return Shares(float(answer.outcome.objective), flow, worth, load.astype(np.float64))

    def fewest(
        self, near: Ints, price: Floats, least: Floats, most: Floats, budget: SolveBudget
    ) -> tuple[Floats, Shares] | None:
        """Return counts in fractions of least ``price`` from ``least`` to ``most``, and their shares; all shapes (P,).

        What a loss sends is shared out over as many hosts as ``near`` (P,) says, which should be near the answer. None
        where time ends before.
        """
        self._share_out(near)
        self._program.bound(self._hosts_at, least, most)
        self._program.price(self._hosts_at, price)
        answer = self._answer(budget)
        self._program.price(self._hosts_at, np.zeros_like(price))
        return (answer.x[self._hosts_at], self._shares(answer)) if answer.outcome.has_solution else None

    def _answer(self, budget: SolveBudget) -> Answer:
        """Solve, and take in columns as long as they help."""
        answer, before = self._program.solve(budget), np.inf
        while answer.outcome.state == "optimal" and _EPS < answer.outcome.objective < before * (1 - _GAIN):
            more = self._priced(answer.dual) if self._out.any() else self._columns[:0]
            if not len(more):
                break
            before = answer.outcome.objective
            self._take(more)
            answer = self._program.solve(budget)
        return answer

    def _share_out(self, hosts: Ints) -> None:
        """Write into the rows by how many of ``hosts`` (P,) a loss is shared out, and what each keeps free."""
        room = np.maximum(0, self.ground.room - self.slack)
        changed = np.flatnonzero((room != self._room)[self.to])
        for r in changed.tolist():
            q = int(self.to[r])
            self._program.change(int(self._loss_row[r]), int(self._hosts_at[q]), -float(room[q]))
        self._room = room
        for r, (p, q) in enumerate(zip(self.lost.tolist(), self.to.tolist(), strict=True)):
            value = max(0, int(hosts[p]) - (p == q)) if self.ground.by_host else 1
            if value != self._shared[r]:
                self._program.change(int(self._sent_row[r]), int(self._sent_at[r]), -float(value))
                self._shared[r] = value

    def _priced(self, dual: Floats) -> Ints:
        """Return the choices whose reduced cost is negative, the smallest of each class."""
        pools = self.ground.problem.pools
        of_pair = np.zeros((len(self._losses), pools + 1))  # the last for no standby
        of_pair[self.lost, self.to] = dual[self._sent_row]
        sent = self._losses.T.astype(np.float64) @ of_pair
        load = dual[self._load_row]
        reduced = -(dual[self.kind] + self._each * (load[self.home] + sent[self.home, self.standby]))
        for i, limit in enumerate(self.ground.problem.limits):
            mine = np.flatnonzero(limit.pools[self.home])
            reduced[mine] -= dual[self._limit_row[i]] * self._brings(i, mine)
        return _first_of_each(np.flatnonzero(self._out & (reduced < -_EPS)), self.kind, reduced, 1)

    def _worth(self, x: Floats, dual: Floats) -> Floats:
        ground, pools = self.ground, self.ground.problem.pools
        worth = -ground.problem.caps * dual[self._room_row]
        by_loss = -dual[self._loss_row]
        worth = worth + ground.room * np.bincount(self.to, weights=by_loss, minlength=pools)
        if ground.by_host:
            shared = -dual[self._sent_row] * x[self._sent_at]
            worth += np.bincount(self.lost, weights=shared, minlength=pools)
        return np.asarray(worth, dtype=np.float64)


def _first_of_each(choices: Ints, kind: Ints, order: Floats, most: int) -> Ints:
    """Return those of ``choices`` (n,) that are among the ``most`` of their class that come first in ``order`` (X,)."""
    ranked = choices[np.lexsort((order[choices], kind[choices]))]
    mine = kind[ranked]
    first = np.searchsorted(mine, mine)
    return ranked[np.arange(len(ranked)) - first < most]


def _choices(ground: Ground, problem: Problem, classes: Classes) -> tuple[Ints, Ints, Ints]:
    """Return class, home and standby pool of all choices of a class, class by class."""
    kinds, homes, standbys = [], [], []
    member = np.zeros(classes.count, dtype=np.int64)
    member[classes.of_site] = np.arange(len(classes.of_site))
    for c in range(classes.count):
        pools = classes.pool[classes.indptr[c] : classes.indptr[c + 1]]
        first = problem.indptr[member[c]]
        may_live = problem.homes[first : first + len(pools)]
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
