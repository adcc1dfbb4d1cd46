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

from planner.arrays import as_floats, falses, indices, int_zeros, inverse, places, totals, trues
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.home_choices import all_choices
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.load_limits import Measure
from planner.sizing.instance.problem import restrict
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, GrowingProgram
from planner.sizing.solvers.matrices import by_columns
from planner.sizing.solvers.model_builder import ModelBuilder, Terms

_MOST_COLUMNS = 40_000  # up to here all choices are columns from the start
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
    each host shall keep free during a loss. ``lost`` and ``to`` are loss and pool of every pair (l, q) of e_lq.
    """

    def __init__(self, ground: Ground, keep: Bools, seed: int) -> None:
        self.ground, self.seed, self.slack = ground, seed, 0.0
        self.sites = np.flatnonzero(keep)
        self.classes = group(restrict(ground.problem, keep), by_weight=False)
        self.kind, self.home, self.standby = _choices(ground, self.sites, self.classes)
        items = self.classes.items[self.kind]
        self._clusters = as_floats(items)
        pools = ground.problem.pools
        each_pool = np.eye(pools, dtype=np.bool_)
        self._losses = each_pool if ground.by_host else ground.losses.pools
        self.lost, self.to = self._sent_pairs()
        self._shared = int_zeros(len(self.lost))
        self._room = np.zeros(pools)  # what the rows say that a host may carry during a loss
        self._program = self._empty()
        self._columns = int_zeros(0)  # choices that are columns, in their order
        self._out = trues(len(self.kind))
        self._take(self._first_choices())

    def _sent_pairs(self) -> tuple[Ints, Ints]:
        """Return loss and pool of every pair (l, q) for which there is e_lq."""
        pools = self.ground.problem.pools
        used = falses((pools, pools))
        behind = self.standby >= 0
        used[self.home[behind], self.standby[behind]] = True
        lost, to = np.nonzero(self._losses @ used)
        return lost, to

    def _first_choices(self) -> Ints:
        every = indices(self.kind)
        if len(every) <= _MOST_COLUMNS:
            return every
        rng = np.random.Generator(np.random.PCG64(self.seed))
        by_chance = rng.random(len(every))
        return _first_of_each(every, self.kind, by_chance, _FIRST)

    def _empty(self) -> GrowingProgram:
        """Return the program without any f, and with no hosts yet."""
        problem, classes = self.ground.problem, self.classes
        pools, sent = problem.pools, len(self.lost)
        limits = len(problem.limits)
        model = ModelBuilder()
        load = model.block(pools)
        self._sent_at = model.block(sent)
        over_pool = model.block(pools, 1.0)
        over_loss = model.block(sent, 1.0)
        over_sent = model.block(sent, 1.0)
        over_limit = model.block(limits, 1.0)
        self._hosts_at = model.block(pools)
        self._choice_column = model.columns
        pool, pair = np.arange(pools), np.arange(sent)
        model.equal([], classes.count, classes.demand)
        living: Terms = pool, load, 1.0
        at_most: Terms = pool, load, -1.0
        full: Terms = pool, over_pool, -1.0
        in_hosts: Terms = pool, self._hosts_at, -problem.caps
        self._load_row = model.below([at_most], pools)
        self._room_row = model.below([living, full, in_hosts], pools)
        unsent: Terms = pair, over_sent, -1.0
        self._sent_row = model.below([unsent], sent)
        arriving: Terms = pair, self._sent_at, 1.0
        there: Terms = pair, load[self.to], 1.0
        lacking: Terms = pair, over_loss, -1.0
        self._loss_row = model.below([there, arriving, lacking], sent)
        beyond: Terms = np.arange(limits), over_limit, -1.0
        self._limit_row = model.below([beyond], limits, self.ground.most[:-1])
        self._rows = model.rows
        return GrowingProgram(model.program(), self.seed)

    def _take(self, chosen: Ints) -> None:
        """Make columns of the choices ``chosen`` (n,)."""
        home, standby = self.home[chosen], self.standby[chosen]
        clusters = self._clusters[chosen]
        every = indices(chosen)
        one = np.ones(len(chosen))
        entries = [(self.kind[chosen], every, one), (self._load_row[home], every, clusters)]
        number = int_zeros(self._losses.shape)
        number[self.lost, self.to] = self._sent_row
        followed = standby >= 0
        lost, at = np.nonzero(self._losses[:, home] & followed)
        sent = number[lost, standby[at]]
        entries.append((sent, at, clusters[at]))
        for limit, row in zip(self.ground.problem.limits, self._limit_row, strict=True):
            inside = np.flatnonzero(limit.pools[home])
            counted = self._brings(limit.measure)[chosen[inside]]
            of_limit = np.full(len(inside), row)
            entries.append((of_limit, inside, counted))
        row_of, column, value = map(np.concatenate, zip(*entries, strict=True))
        shape = self._rows, len(chosen)
        self._program.add_columns(by_columns(row_of, column, value, shape))
        self._columns = np.concatenate((self._columns, chosen))
        self._out[chosen] = False

    def _brings(self, measure: Measure) -> Floats:
        """Return what a unit of each choice counts in a limit on ``measure``, shape (X,)."""
        amounts = self.classes.amounts[measure] * self.ground.scale(measure)
        brings: Floats = amounts[self.kind]
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
        given = as_floats(hosts)
        self._program.bound(self._hosts_at, given, given)
        answer = self._answer(budget)
        return self._shares(answer) if answer.outcome.has_solution else None

    def _shares(self, answer: Answer) -> Shares:
        flow = np.zeros(len(self.kind))
        flow[self._columns] = answer.x[self._choice_column :]
        pools = self.ground.problem.pools
        load = totals(self.home, flow * self._clusters, pools)
        worth = self._worth(answer.x, answer.dual)
        return Shares(float(answer.outcome.objective), flow, worth, as_floats(load))

    def fewest(self, near: Ints, price: Floats, least: Floats, most: Floats, budget: SolveBudget) -> Floats | None:
        """Return counts in fractions of least ``price`` from ``least`` to ``most``; all shapes (P,).

        What a loss sends is shared out over as many hosts as ``near`` (P,) says, which should be near the answer. None
        where time ends before.
        """
        self._share_out(near)
        self._program.bound(self._hosts_at, least, most)
        self._program.price(self._hosts_at, price)
        self._program.forget()
        # Of a large program the simplex method takes several times as long; no vertex is needed for counts.
        answer = self._answer(budget, interior=not self.whole)
        self._program.price(self._hosts_at, np.zeros_like(price))
        self._program.forget()
        return answer.x[self._hosts_at] if answer.outcome.has_solution else None

    def _answer(self, budget: SolveBudget, *, interior: bool = False) -> Answer:
        """Solve, and take in columns as long as they help."""
        answer, before = self._program.solve(budget, interior=interior), np.inf
        while answer.outcome.state == "optimal" and _EPS < answer.outcome.objective < before * (1 - _GAIN):
            cheaper = self._cheaper(answer.dual)
            if not len(cheaper):
                break
            before = answer.outcome.objective
            self._take(cheaper)
            answer = self._program.solve(budget, interior=interior)
        return answer

    def _share_out(self, hosts: Ints) -> None:
        """Write into the rows by how many of ``hosts`` (P,) a loss is shared out, and what each keeps free."""
        room = np.maximum(0, self.ground.room - self.slack)
        changed = room != self._room
        self._room = room
        hosts_at = self._hosts_at[self.to]
        self._change(changed[self.to], self._loss_row, hosts_at, -room[self.to])
        shared = np.ones_like(self._shared)
        if self.ground.by_host:
            same_pool = self.lost == self.to
            shared = np.maximum(0, hosts[self.lost] - same_pool)
        changed = shared != self._shared
        self._change(changed, self._sent_row, self._sent_at, -as_floats(shared))
        self._shared = shared

    def _change(self, changed: Bools, rows: Ints, columns: Ints, values: Floats) -> None:
        """Set the coefficients at those places that are ``changed``; all shapes (n,)."""
        for at in np.flatnonzero(changed).tolist():
            row, column = int(rows[at]), int(columns[at])
            self._program.change(row, column, float(values[at]))

    def _cheaper(self, dual: Floats) -> Ints:
        """Return the choices outside whose reduced cost is negative, the smallest of each class."""
        if self.whole:
            return int_zeros(0)
        losses, pools = self._losses.shape
        of_sent = np.zeros((losses, pools + 1))  # the last for no standby
        of_sent[self.lost, self.to] = dual[self._sent_row]
        of_pair = as_floats(self._losses.T) @ of_sent
        of_load = dual[self._load_row]
        of_cluster = of_load[self.home]
        of_cluster += of_pair[self.home, self.standby]
        reduced = -(dual[self.kind] + self._clusters * of_cluster)
        for limit, price in zip(self.ground.problem.limits, dual[self._limit_row], strict=True):
            counted = limit.pools[self.home] * self._brings(limit.measure)
            reduced -= price * counted
        helping = self._out & (reduced < -_EPS)
        return _first_of_each(np.flatnonzero(helping), self.kind, reduced, 1)

    def _worth(self, x: Floats, dual: Floats) -> Floats:
        """Return by how much one more host of each pool would lower what is lacking, shape (P,)."""
        pools = self.ground.problem.pools
        of_losses = totals(self.to, dual[self._loss_row], pools)
        of_caps = self.ground.problem.caps * dual[self._room_row]
        worth = of_caps + self.ground.room * of_losses
        if self.ground.by_host:
            shared = dual[self._sent_row] * x[self._sent_at]
            worth += totals(self.lost, shared, pools)
        return as_floats(-worth)


def _first_of_each(choices: Ints, kind: Ints, order: Floats, most: int) -> Ints:
    """Return those of ``choices`` (n,) that are among the ``most`` of their class that come first in ``order`` (X,)."""
    by_class = np.lexsort((order[choices], kind[choices]))
    ranked = choices[by_class]
    mine = kind[ranked]
    return ranked[places(mine) < most]


def _choices(ground: Ground, sites: Ints, classes: Classes) -> tuple[Ints, Ints, Ints]:
    """Return class, home and standby pool of all choices of a class of the ``sites`` (n,), class by class."""
    _, first = np.unique(classes.of_site, return_index=True)
    one_each = falses(ground.problem.sites)
    one_each[sites[first]] = True
    found = all_choices(ground, one_each, bare=False)
    place = inverse(sites, ground.problem.sites)
    kind = classes.of_site[place[found.site]]
    order = np.argsort(kind, kind="stable")
    return kind[order], found.home[order], found.standby[order]
