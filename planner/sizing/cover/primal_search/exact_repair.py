"""Room that single moves do not find: all sites on a few hosts are put anew at once, by an integer program.

Large neighbourhood search (P. Shaw, CP 1998, LNCS 1520, 417-431) after `repair`. Sets and data as in `state`; of the
sites that live on one of a few hosts or rely on it
Variables
    x_igh         0 or 1: site i lives on host g with standby h; each of both is one of the few, or as before
    a_h           clusters at home on host h
    w_lh >= 0     clusters above the room of host h during loss l, the ordinary day included
Minimise sum w, or another cost of homes where w = 0, subject to
    (1) sum_gh x_igh = 1
    (2) the clusters of all other sites on h + sum_ig k_i x_ihg = a_h
    (3) a_h + what loss l sends to h of all other sites + sum_i,g in l k_i x_igh - w_lh <= R_h
    (4) what homes count in limits on hubs, zones and hosts, no more than before where that is more than is allowed
    (5) of each cost of pairs that is to be kept, no more than before
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from planner.arrays import as_floats, falses, indices, minus_ones
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import ModelBuilder, Terms, loosened

_HOSTS = 4  # at a time; one more after so many attempts that helped nothing
_PATIENCE = 4
# Nodes of branch and bound; clusters are whole, and so is what is broken.
_OPTIONS = {"mip_max_nodes": 200, "mip_abs_gap": 0.999}
_CLOSE = 1e-9


def exact_repair(state: State, bare: Bools, most: int, rng: np.random.Generator, budget: SolveBudget) -> State:
    """Return ``state`` with less broken, until nothing is or ``most`` attempts one after the other help nothing.

    ``bare`` (S,) marks sites that may do without a standby.
    """
    fails = 0
    while fails < most and state.violation() > _CLOSE and not budget.spent:
        number = _HOSTS + fails // _PATIENCE
        trial = Around(state, bare, _some_hosts(state, number, rng)).solved(budget)
        fails += 1
        if trial is None:
            continue
        gain = state.violation() - trial.violation()
        if gain > _CLOSE:
            fails = 0
        if gain >= -_CLOSE:
            state = trial
    return state


def _some_hosts(state: State, most: int, rng: np.random.Generator) -> Bools:
    """Mark ``most`` hosts (M,): one that is overfull, and some that share sites with it, by chance."""
    over = state.over().sum(axis=0)
    near = np.zeros(state.hosts)
    if over.any():
        first = int(rng.choice(np.flatnonzero(over)))
        hosts, _ = state.candidates(state.users(first))
        near += np.bincount(hosts[hosts >= 0], minlength=state.hosts)
        near[first] = np.inf
    chance = rng.uniform(0.3, 1.7, state.hosts)
    order = np.argsort(-near * chance, kind="stable")
    some = falses(state.hosts)
    some[order[:most]] = True
    return some


class Around:
    """The program of the hosts that ``some`` (M,) marks: ``sites`` (n,) live on one of them or rely on it.

    Of x, shapes (X,): ``row`` among the sites, ``site``, ``home``, the ``pair`` of both and ``standby``, and the
    ``clusters`` of the site. Of w, shapes (W,): the row ``loss`` of `State.extra` and the host ``to`` which it sends.
    ``kept``: costs of pairs (E,).
    """

    def __init__(self, state: State, bare: Bools, some: Bools, kept: Sequence[Floats] = ()) -> None:
        self.state = state
        self.some = np.append(some, False)  # the last for nowhere
        used = self.some[state.home] | self.some[state.standby]
        self.sites = np.flatnonzero(used)
        self.row, self.home, self.standby, self.pair = self._ways(bare)
        self.site = self.sites[self.row]
        self.clusters = as_floats(state.ground.problem.clusters[self.site])
        self.rest = state.copy()
        for s in self.sites.tolist():
            self.rest.take_out(s)
        self.loss, self.to = self._may_be_over()
        self.built = ModelBuilder()
        self.x = self.built.block(len(self.site), upper=1.0, whole=True)
        self.a = self.built.block(state.hosts)
        self.w = self.built.block(len(self.to), 1.0)
        self._homes()
        self._losses()
        self._limits()
        self._keep(kept)

    def _ways(self, bare: Bools) -> tuple[Ints, Ints, Ints, Ints]:
        """Return the site by its position in ``sites``, home, standby and pair of each x."""
        state, sites = self.state, self.sites
        hosts, pairs = state.candidates(sites)
        there = hosts >= 0
        home_now = state.home[sites][:, None]
        standby_now = state.standby[sites][:, None]
        may_live = there & (self.some[hosts] | (hosts == home_now))
        may_follow = there & (self.some[hosts] | (hosts == standby_now))
        with_none = np.hstack((may_follow, bare[sites][:, None]))
        row, first, second = np.nonzero(may_live[:, :, None] & with_none[:, None, :])
        none = minus_ones((len(sites), 1))
        home = hosts[row, first]
        standby = np.hstack((hosts, none))[row, second]
        pair = pairs[row, first]
        lives = state.ground.problem.homes[pair]
        may = lives & ((standby == NOWHERE) | state.may_follow(home, standby))
        return row[may], home[may], standby[may], pair[may]

    def _may_be_over(self) -> tuple[Ints, Ints]:
        """Return loss and host of each w: all that may be above their room."""
        rest = self.rest
        may_bring = falses((len(self.sites), rest.hosts + 1))  # the last for no standby
        may_bring[self.row, self.home] = True
        may_bring[self.row, self.standby] = True
        clusters = rest.ground.problem.clusters[self.sites]
        most_brought = clusters @ may_bring[:, :-1]
        full = rest.load + rest.extra[:-1] + most_brought
        loss, to = np.nonzero(full > rest.room)
        return loss, to

    def solved(self, budget: SolveBudget, cost: Floats | None = None) -> State | None:
        """Return the state in which least is broken, of those that the program has; None where none is found.

        With a ``cost`` of homes (S, M) it is the state of least cost in which nothing is.
        """
        program = self.built.program()
        if cost is not None:
            prices = np.zeros(self.built.columns)
            prices[self.x] = cost[self.site, self.home]
            nothing = np.zeros(len(self.w))
            program = program.fixed(self.w, nothing)
            program = dataclasses.replace(program, cost=prices)
        answer = solve_arrays(program, budget, start=self._as_now(), options=_OPTIONS)
        if not answer.outcome.has_solution:
            return None
        chosen = np.flatnonzero(answer.x[self.x] > 0.5)
        ways = np.column_stack((self.site, self.home, self.standby))
        state = self.rest.copy()
        for site, home, standby in ways[chosen].tolist():
            state.put(site, home, standby)
        return state

    def _as_now(self) -> Floats:
        """Return the values of the columns that say what is so in the state."""
        state = self.state
        values = np.zeros(self.built.columns)
        values[self.x] = self._now()
        values[self.a] = state.load
        values[self.w] = state.over()[self.loss, self.to]
        return values

    def _now(self) -> Bools:
        """Mark the x (X,) that say what is so in the state."""
        same_home = self.home == self.state.home[self.site]
        now: Bools = same_home & (self.standby == self.state.standby[self.site])
        return now

    def _homes(self) -> None:
        """Add (1) and (2)."""
        put: Terms = self.row, self.x, 1.0
        self.built.equal([put], len(self.sites), 1.0)
        brought: Terms = self.home, self.x, self.clusters
        load: Terms = indices(self.a), self.a, -1.0
        there = -as_floats(self.rest.load)
        self.built.equal([brought, load], len(self.a), there)

    def _losses(self) -> None:
        """Add (3)."""
        rest = self.rest
        row_of = minus_ones(rest.extra.shape)
        row_of[self.loss, self.to] = indices(self.w)
        followed = np.flatnonzero(self.standby != NOWHERE)
        losses = rest.lost_with(self.home[followed])
        x = np.repeat(followed, losses.shape[1])
        row = row_of[losses.ravel(), self.standby[x]]
        counted = row >= 0
        displaced = x[counted]
        each = indices(self.w)
        living: Terms = each, self.a[self.to], 1.0
        over: Terms = each, self.w, -1.0
        sent: Terms = row[counted], self.x[displaced], self.clusters[displaced]
        room = rest.room[self.to] - rest.extra[self.loss, self.to]
        self.built.below([living, over, sent], len(self.w), as_floats(room))

    def _limits(self) -> None:
        """Add (4)."""
        state, rest = self.state, self.rest
        ground = state.ground
        limits = ground.limits_of[state.pool[self.home]]
        x, column = np.nonzero(limits >= 0)
        if len(x):
            limit = limits[x, column]
            allowed = np.maximum(ground.most, state.used) - rest.used
            counted: Terms = limit, self.x[x], ground.brings[limit, self.site[x]]
            self.built.below([counted], len(allowed) - 1, allowed[:-1])
        if np.isfinite(ground.host_weight):
            free = np.maximum(ground.host_weight, state.carried) - rest.carried
            weight: Terms = self.home, self.x, ground.weights[self.site]
            self.built.below([weight], state.hosts, free)

    def _keep(self, kept: Sequence[Floats]) -> None:
        """Add (5)."""
        now = self._now()
        for cost in kept:
            each = cost[self.pair]
            most = float(each[now].sum())
            self.built.at_most([(self.x, each)], loosened(most, _CLOSE))
