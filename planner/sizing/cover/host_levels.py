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

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import indices, int_array, runs, trues
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram
from planner.sizing.host_counts.certificate import Inequality
from planner.sizing.solution.prices import Prices
from planner.sizing.solvers.highs import LinearProgram
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Terms,
    add_capacity,
    add_host_limits,
    add_place_limits,
    add_room,
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
        """Return the ``rows`` of a search for counts of so many ``pools``."""
        room = int_array([row.room for row in rows]).reshape(-1, pools)
        less = np.zeros_like(room)
        for at, row in enumerate(rows):
            less[at, row.lost] = row.less
        return cls(room, less, int_array([row.demand for row in rows]))

    def some(self, chosen: Ints) -> Conditions:
        """Return the conditions ``chosen`` by number."""
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
        nothing = np.zeros((pools, pools))
        return cls(trues(len(choices.kind)), np.zeros(pools), nothing)


@dataclass(frozen=True)
class Running:
    """Pools in a program: the columns ``hosts`` n and ``load`` (P,), clusters at home; C and R (P,) of a host."""

    hosts: Ints
    load: Ints
    caps: Ints
    room: Ints | Floats


@dataclass(frozen=True)
class Levels:
    """Columns ``z`` (Z,): whether exactly so many ``hosts`` (Z,) of a ``pool`` (Z,) run."""

    pool: Ints
    hosts: Ints
    z: Ints

    @classmethod
    def between(cls, model: ModelBuilder, low: Ints, high: Ints, prices: Prices | None = None) -> Levels:
        """Add columns for ``low`` to ``high`` (P,) hosts; they cost nothing without ``prices``."""
        counts = high - low + 1
        pool = np.repeat(indices(counts), counts)
        hosts = runs(low, counts)
        cost = 0.0 if prices is None else _price(prices, pool, hosts)
        return cls(pool, hosts, model.block(len(pool), cost, upper=1.0, whole=True))

    def add_counts(self, model: ModelBuilder, hosts: Ints) -> None:
        """Add (2), and that they give the columns ``hosts`` (P,)."""
        one_level: Terms = self.pool, self.z, 1.0
        model.equal([one_level], len(hosts), 1.0)
        model.define(hosts, [(self.pool, self.z, self.hosts)])

    def add_losses(
        self, model: ModelBuilder, lost: Ints, to: Ints, flows: Loads, running: Running, beside: Floats | float = 0.0
    ) -> None:
        """Add (4), (5) and (6) for pairs of a pool that is ``lost`` and one that hosts stand by in, ``to``, (W,) each.

        ``flows``: what homes with standbys bring to each pair; ``beside`` (W,): what one loss sends beside them.
        """
        # A pool that stands by for itself shares out over the other hosts.
        itself = lost == to
        of_pool = lost[:, None] == self.pool
        enough = self.hosts > itself[:, None]
        pair, level = np.nonzero(of_pool & (enough))
        sent = model.block(len(pair))
        model.equal([flows.terms, (pair, sent, -1.0)], len(lost))
        caps = running.caps[self.pool] * self.hosts
        shares = Loads(level, sent, np.ones(len(sent)))
        add_room(model, caps, self.z, [shares])
        others = self.hosts[level] - itself[pair]
        each = indices(lost)
        living: Terms = each, running.load[to], 1.0
        shared: Terms = pair, sent, 1.0 / others
        room: Terms = each, running.hosts[to], -running.room[to]
        model.below([living, shared, room], len(lost), -beside)


def _price(prices: Prices, pool: Ints, hosts: Ints) -> Floats:
    """Return what so many ``hosts`` (Z,) of each ``pool`` (Z,) cost, shape (Z,)."""
    old = np.minimum(hosts, prices.existing[pool])
    of_old = prices.first[pool] * old
    price: Floats = of_old + prices.further[pool] * (hosts - old)
    return price


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
        self.model = ModelBuilder()
        self.levels = Levels.between(self.model, window.low, window.high, prices)
        self.level = self.levels.z
        self.pool = self.levels.pool
        self.hosts = self.levels.hosts
        self.live = np.flatnonzero(self._possible())
        self.flow = self.model.block(len(self.live))
        self._rows()

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
        kind = choices.kind[self.live]
        home = choices.home[self.live]
        moving = np.unique(choices.kind[self.beside.moving])
        served: Terms = np.searchsorted(moving, kind), self.flow, 1.0
        model.equal([served], len(moving), choices.classes.demand[moving])
        hosts = model.block(problem.pools)
        load = model.block(problem.pools)
        running = Running(hosts, load, problem.caps, self.room)
        flows = Loads(home, self.flow, choices.classes.items[kind])
        self._hosts(flows, running)
        self._losses(flows, running)
        add_place_limits(model, problem, home, self.flow, choices.classes.amounts, kind)
        if np.isfinite(self.window.most):
            price = _price(self.prices, self.pool, self.hosts)
            model.at_most([(self.level, price)], self.window.most)

    def _hosts(self, flows: Loads, running: Running) -> None:
        """Add (2) and (3)."""
        model, problem = self.model, self.problem
        self.levels.add_counts(model, running.hosts)
        taken = model.block(problem.pools, lower=self.beside.load, upper=self.beside.load)
        staying = Loads(indices(taken), taken, np.ones(problem.pools))
        model.define(running.load, [flows.terms, staying.terms])
        add_capacity(model, problem.caps, running.hosts, [flows, staying])
        add_host_limits(model, problem.host_limits, running.hosts)

    def _losses(self, flows: Loads, running: Running) -> None:
        """Add (4), (5) and (6)."""
        standby = self.choices.standby[self.live]
        behind = np.flatnonzero(standby >= 0)
        pools = self.problem.pools
        used = flows.pool[behind] * pools + standby[behind]
        pairs = np.union1d(used, np.flatnonzero(self.beside.sent.ravel()))
        lost, to = np.divmod(pairs, pools)
        brought = dataclasses.replace(flows.some(behind), pool=np.searchsorted(pairs, used))
        already = self.beside.sent[lost, to]
        self.levels.add_losses(self.model, lost, to, brought, running, already)

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
            counted = self.level[used], row[used]
            self.model.row([counted], float(demand), np.inf)

    def program(self) -> LinearProgram:
        """Return it as arrays."""
        return self.model.program()

    def counts(self, x: Floats) -> Floats:
        """Return the hosts of each pool at the values ``x`` of all columns, shape (P,)."""
        running = x[self.level] * self.hosts
        hosts = np.bincount(self.pool, weights=running, minlength=self.problem.pools)
        return np.asarray(hosts, dtype=np.float64)
