"""How many hosts of each pool survive the loss of any one host, when sites may be divided: a mixed integer program.

Sets and data as in `primal_search.pool_relaxation`; price_p(k) what k hosts of pool p cost, and R_p less a slack
Variables
    z_pk           1 where k hosts of pool p run, k = 0 .. M_p
    f_cpq >= 0     units of class c at home in pool p with standby in pool q, or with none
    s_pqk >= 0     clusters at home in pool p with standby in q, while k hosts of p run
Minimise sum_pk price_p(k) z_pk, subject to
    (1) sum_pq f_cpq = d_c
    (2) sum_k z_pk = 1
    (3) sum_cq k_c f_cpq <= C_p n_p, n_p = sum_k k z_pk; and how many large units go into a host, see `model_builder`
    (4) sum_q s_pqk <= C_p k z_pk
    (5) sum_c k_c f_cpq = sum_k s_pqk
    (6) sum_cp' k_c f_cqp' + sum_k s_pqk / k <= R_q n_q, and s_qqk / (k - 1) where p = q
    (7) sum_pk min(a_rp k - e_rp (k >= 1), b_r) z_pk >= b_r for the conditions on host counts that are known
    (8) limits on hubs and zones, and on hosts of several pools
Every plan that covers everybody is a point of it: average over the hosts of p that may be lost. So its optimum is a
bound. Of s_pqk / n_p the rows keep the convex hull for each pool (R. G. Jeroslow, J. K. Lowe, Mathematical
Programming Study 22 (1984) 167-184); coefficients in (7) are cut at b_r, since only one z_pk of a pool is 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, int_array, trues
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram
from planner.sizing.cover.primal_search.prices import Prices
from planner.sizing.host_counts.certificate import Inequality
from planner.sizing.solvers.highs import LinearProgram
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Terms,
    add_capacity,
    add_host_limits,
    add_place_limits,
)


@dataclass(frozen=True)
class Window:
    """From ``low`` to ``high`` (P,) hosts may run in each pool; together they cost ``most`` at most."""

    low: Ints
    high: Ints
    most: float = np.inf


@dataclass(frozen=True)
class Conditions:
    """Conditions ``room @ n - less @ (n >= 1) >= demand`` on host counts, shapes (R, P), (R, P) and (R,)."""

    room: Ints
    less: Ints
    demand: Ints

    @classmethod
    def of(cls, rows: Sequence[Inequality], pools: int) -> Conditions:
        """Return those of a search for counts."""
        room = int_array([row.room for row in rows]).reshape(-1, pools)
        less = np.zeros_like(room)
        for at, row in enumerate(rows):
            less[at, row.lost] = row.less
        return cls(room, less, int_array([row.demand for row in rows]))

    def some(self, chosen: Ints) -> Conditions:
        """Return the conditions by number."""
        return Conditions(self.room[chosen], self.less[chosen], self.demand[chosen])


@dataclass(frozen=True)
class Beside:
    """What stays as it is: ``moving`` (X,) marks the choices that are open, the rest takes room.

    ``load`` (P,): clusters at home in each pool; ``sent`` (P, P): those that one host of the first pool sends to the
    second when it is lost.
    """

    moving: Bools
    load: Floats
    sent: Floats

    @classmethod
    def nothing(cls, choices: PoolProgram) -> Beside:
        """Return that all choices are open."""
        pools = choices.ground.problem.pools
        return cls(trues(len(choices.kind)), np.zeros(pools), np.zeros((pools, pools)))


class LevelProgram:
    """The program within a window; ``pool`` and ``hosts`` (Z,) are the pool and the count of each column z.

    ``slack``: clusters that each host keeps free during a loss.
    """

    def __init__(
        self, choices: PoolProgram, prices: Prices, window: Window, slack: float = 0.0, beside: Beside | None = None
    ) -> None:
        self.choices = choices
        self.prices = prices
        self.window = window
        self.beside = Beside.nothing(choices) if beside is None else beside
        self.problem = choices.ground.problem
        self.room = np.maximum(0.0, choices.ground.room - slack)
        counts = window.high - window.low + 1
        self.pool = np.repeat(np.arange(len(counts)), counts)
        before = np.cumsum(counts) - counts
        offset = np.arange(len(self.pool)) - np.repeat(before, counts)
        self.hosts = window.low[self.pool] + offset
        self.model = ModelBuilder()
        self.level = self.model.block(len(self.pool), self._price(), 1.0, True)
        self.live = np.flatnonzero(self._possible())
        self.flow = self.model.block(len(self.live))
        self._rows()

    def _price(self) -> Floats:
        prices = self.prices
        old = np.minimum(self.hosts, prices.existing[self.pool])
        of_old = prices.first[self.pool] * old
        price: Floats = of_old + prices.further[self.pool] * (self.hosts - old)
        return price

    def _possible(self) -> Bools:
        """Mark the open choices whose pools may run, and two hosts where home and standby are one pool, shape (X,)."""
        most = self.window.high
        home = self.choices.home
        standby = self.choices.standby
        enough = np.where(home == standby, 2, 1)
        followed = (standby < 0) | (most[standby] >= enough)
        may: Bools = self.beside.moving & (most[home] >= 1) & followed
        return may

    def _rows(self) -> None:
        choices = self.choices
        model = self.model
        problem = self.problem
        kind, home = choices.kind[self.live], choices.home[self.live]
        standby = choices.standby[self.live]
        moving = np.unique(choices.kind[self.beside.moving])
        demand = as_floats(choices.classes.demand[moving])
        served: Terms = np.searchsorted(moving, kind), self.flow, 1.0
        model.add([served], len(moving), demand, demand)
        running = model.block(problem.pools)
        load = model.block(problem.pools)
        self._hosts(home, choices.classes.items[kind], running, load)
        self._losses(home, standby, running, load)
        amounts = {measure: each[kind] for measure, each in choices.classes.amounts.items()}
        add_place_limits(model, problem, home, self.flow, amounts)
        if np.isfinite(self.window.most):
            model.at_most([(self.level, self._price())], self.window.most)

    def _hosts(self, home: Ints, items: Ints, running: Ints, load: Ints) -> None:
        """Add (2) and (3); ``running`` and ``load`` (P,) are the columns of hosts and of clusters at home."""
        model, problem = self.model, self.problem
        here, pools = np.arange(problem.pools), problem.pools
        one_level: Terms = self.pool, self.level, 1.0
        model.add([one_level], pools, 1.0, 1.0)
        at_level: Terms = self.pool, self.level, as_floats(self.hosts)
        model.add([at_level, (here, running, -1.0)], pools, 0.0, 0.0)
        taken = model.block(pools, lower=self.beside.load, upper=self.beside.load)
        brought: Terms = home, self.flow, as_floats(items)
        there: Terms = here, taken, 1.0
        model.add([brought, there, (here, load, -1.0)], pools, 0.0, 0.0)
        moving, staying = Loads(home, self.flow, items), Loads(here, taken, np.ones(pools))
        add_capacity(model, problem.caps, running, [moving, staying])
        add_host_limits(model, problem, running)

    def _losses(self, home: Ints, standby: Ints, running: Ints, load: Ints) -> None:
        """Add (4), (5) and (6); ``running`` and ``load`` (P,) are the columns of hosts and of clusters at home."""
        model, pools = self.model, self.problem.pools
        behind = np.flatnonzero(standby >= 0)
        used = home[behind] * pools + standby[behind]
        pairs = np.union1d(used, np.flatnonzero(self.beside.sent.ravel()))
        lost, to = np.divmod(pairs, pools)
        # A pool that stands by for itself shares out over the other hosts.
        itself = lost == to
        of_pool = lost[:, None] == self.pool
        pair, level = np.nonzero(of_pool & (self.hosts > itself[:, None]))
        sent = model.block(len(pair))
        kind = self.choices.kind[self.live[behind]]
        caps = as_floats(self.problem.caps[self.pool]) * self.hosts
        each, at = np.arange(len(self.pool)), np.arange(len(pairs))
        carried: Terms = each, self.level, -caps
        model.add([(level, sent, 1.0), carried], len(each), -np.inf, 0.0)
        items = as_floats(self.choices.classes.items[kind])
        brought: Terms = np.searchsorted(pairs, used), self.flow[behind], items
        model.add([brought, (pair, sent, -1.0)], len(pairs), 0.0, 0.0)
        others = self.hosts[level] - itself[pair]
        living: Terms = at, load[to], 1.0
        shared: Terms = pair, sent, 1.0 / others
        room: Terms = at, running[to], -self.room[to]
        model.add([living, shared, room], len(pairs), -np.inf, -self.beside.sent[lost, to])

    def met_by(self, conditions: Conditions) -> Floats:
        """Return the coefficients of ``conditions`` as in (7), shape (R, Z)."""
        of_hosts = conditions.room[:, self.pool] * self.hosts
        less = conditions.less[:, self.pool] * (self.hosts > 0)
        counted = np.minimum(of_hosts - less, conditions.demand[:, None])
        return np.asarray(counted, dtype=np.float64)

    def require(self, conditions: Conditions) -> None:
        """Add (7) for ``conditions``."""
        for row, demand in zip(self.met_by(conditions), conditions.demand.tolist(), strict=True):
            used = np.flatnonzero(row)
            self.model.row([(self.level[used], row[used])], float(demand), np.inf)

    def program(self) -> LinearProgram:
        """Return it as arrays."""
        return self.model.program()

    def counts(self, x: Floats) -> Floats:
        """Return the hosts of each pool at the values ``x`` of all columns, shape (P,)."""
        running = x[self.level] * self.hosts
        hosts = np.bincount(self.pool, weights=running, minlength=self.problem.pools)
        return np.asarray(hosts, dtype=np.float64)
