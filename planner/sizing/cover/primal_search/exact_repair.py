"""Room that single moves do not find: all sites on a few hosts are put anew at once, by an integer program.

Large neighbourhood search (P. Shaw, CP 1998, LNCS 1520, 417-431) after `repair`. Sets and data as in `state`; of the
sites that live on one of a few hosts or rely on it
Variables
    x_igh         0 or 1: site i lives on host g with standby h; each of both is one of the few, or as before
    a_h           clusters at home on host h
    w_lh >= 0     clusters above the room of host h during loss l, the ordinary day included
Minimise sum w, subject to
    (1) sum_gh x_igh = 1
    (2) the clusters of all other sites on h + sum_ig k_i x_ihg = a_h
    (3) a_h + what loss l sends to h of all other sites + sum_i,g in l k_i x_igh - w_lh <= R_h
    (4) what homes count in limits on hubs, zones and hosts, no more than before where that is more than is allowed
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.arrays import falses
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import ModelBuilder, Terms

_HOSTS = 4  # at a time; one more after so many attempts that helped nothing
_PATIENCE = 4
_NODES = 200  # of branch and bound
_WHOLE = 0.999  # clusters are whole, and so is what is broken
_CLOSE = 1e-9


def exact_repair(state: State, bare: Bools, most: int, rng: np.random.Generator, budget: SolveBudget) -> State:
    """Return ``state`` with less broken, until nothing is or ``most`` attempts one after the other help nothing.

    ``bare`` (S,) marks sites that may do without a standby.
    """
    fails = 0
    while fails < most and state.violation() > _CLOSE and not budget.spent:
        trial = _Around(state, bare, _some_hosts(state, _HOSTS + fails // _PATIENCE, rng)).solved(budget)
        gain = -np.inf if trial is None else state.violation() - trial.violation()
        fails = 0 if gain > _CLOSE else fails + 1
        if trial is not None and gain >= -_CLOSE:
            state = trial
    return state


def _some_hosts(state: State, most: int, rng: np.random.Generator) -> Bools:
    """Mark ``most`` hosts (M,): one that is overfull, and some that share sites with it, by chance."""
    over = state.over().sum(axis=0)
    near = np.zeros(state.hosts)
    if over.any():
        first = int(rng.choice(np.flatnonzero(over)))
        hosts, _ = state.candidates(np.flatnonzero((state.home == first) | (state.standby == first)))
        near += np.bincount(hosts[hosts >= 0], minlength=state.hosts)
        near[first] = np.inf
    order = np.argsort(-near * rng.uniform(0.3, 1.7, state.hosts), kind="stable")
    some = falses(state.hosts)
    some[order[:most]] = True
    return some


@dataclass(frozen=True)
class _Around:
    """The program of the hosts that ``some`` (M,) marks."""

    state: State
    bare: Bools
    some: Bools

    @cached_property
    def sites(self) -> Ints:
        """The sites that live on one of the hosts or rely on it, shape (n,)."""
        state = self.state
        mine: Ints = np.flatnonzero(self.some[state.home] | ((state.standby >= 0) & self.some[state.standby]))
        return mine

    @cached_property
    def ways(self) -> tuple[Ints, Ints, Ints]:
        """Site by its position in ``sites``, home and standby of each x, all shapes (X,)."""
        state, sites = self.state, self.sites
        ground = state.ground
        hosts, pairs = state.candidates(sites)
        home = (hosts >= 0) & (self.some[hosts] | (hosts == state.home[sites][:, None]))
        standby = (hosts >= 0) & (self.some[hosts] | (hosts == state.standby[sites][:, None]))
        last = self.bare[sites][:, None]  # for no standby at all
        site, first, second = np.nonzero(home[:, :, None] & np.hstack((standby, last))[:, None, :])
        h, g = hosts[site, first], np.hstack((hosts, np.full_like(last, NOWHERE, dtype=np.int64)))[site, second]
        follows = ground.follows[state.pool[h], state.pool[g]] & (h != g)
        may = ground.problem.homes[pairs[site, first]] & (follows | (g == NOWHERE))
        return site[may], h[may], g[may]

    @cached_property
    def rest(self) -> State:
        """The state without the sites."""
        rest = self.state.copy()
        for s in self.sites.tolist():
            rest.take_out(s)
        return rest

    def solved(self, budget: SolveBudget) -> State | None:
        """Return the state in which least is broken, of those that the program has; None where none is found."""
        site, home, standby = self.ways
        model = ModelBuilder()
        put = model.block(len(site), upper=1.0, whole=True)
        model.add([(site, put, 1.0)], len(self.sites), 1.0, 1.0)
        load = self._loads(model, put)
        over = self._losses(model, put, load)
        self._limits(model, put)
        start = np.zeros(model.columns)
        now = (home == self.state.home[self.sites][site]) & (standby == self.state.standby[self.sites][site])
        start[put] = now
        start[load] = self.state.load
        row, host = self._pairs
        start[over] = self.state.over()[row, host]
        answer = solve_arrays(
            model.program(), budget, start=start, options={"mip_max_nodes": _NODES, "mip_abs_gap": _WHOLE}
        )
        if not answer.outcome.has_solution:
            return None
        chosen = np.flatnonzero(answer.x[put] > 0.5)
        state = self.rest.copy()
        for at in chosen.tolist():
            state.put(int(self.sites[site[at]]), int(home[at]), int(standby[at]))
        return state

    def _loads(self, model: ModelBuilder, put: Ints) -> Ints:
        """Add (2) and return the columns a_h, shape (M,)."""
        site, home, _ = self.ways
        hosts = self.state.hosts
        load = model.block(hosts)
        there = -self.rest.load.astype(np.float64)
        brought: Terms = (home, put, self._clusters[site])
        model.add([brought, (np.arange(hosts), load, -1.0)], hosts, there, there)
        return load

    @cached_property
    def _clusters(self) -> Floats:
        return self.state.ground.problem.clusters[self.sites].astype(np.float64)

    @cached_property
    def _sent(self) -> tuple[Ints, Ints, Ints]:
        """Each x with a loss that sends its site to its standby: x, row of ``extra`` and host, shapes (Y,)."""
        _, home, standby = self.ways
        behind = np.flatnonzero(standby != NOWHERE)
        rows = self.state.lost_with(home[behind])
        at = np.repeat(behind, rows.shape[1])
        row = rows.ravel()
        real = row < len(self.state.extra) - 1
        return at[real], row[real], standby[at[real]]

    @cached_property
    def _pairs(self) -> tuple[Ints, Ints]:
        """Row of ``extra`` and host of each w: all that may be above their room."""
        rest = self.rest
        site, home, standby = self.ways
        hosts = rest.hosts
        may = np.zeros((len(self.sites), hosts + 1), dtype=np.bool_)  # the last for no standby
        may[site, home] = may[site, standby] = True
        comes = self._clusters @ may[:, :hosts]
        row, host = np.nonzero(rest.load + rest.extra[:-1] + comes > rest.room)
        return row, host

    def _losses(self, model: ModelBuilder, put: Ints, load: Ints) -> Ints:
        """Add (3) and return the columns w."""
        site, *_ = self.ways
        at, row, host = self._sent
        of_row, of_host = self._pairs
        hosts, count = self.state.hosts, len(of_row)
        over = model.block(count, 1.0)
        pairs, sent = of_row * hosts + of_host, row * hosts + host
        counts = np.isin(sent, pairs)
        number, at = np.searchsorted(pairs, sent[counts]), at[counts]
        every = np.arange(count)
        terms: list[Terms] = [(every, load[of_host], 1.0), (every, over, -1.0)]
        terms.append((number, put[at], self._clusters[site[at]]))
        room = self.state.room[of_host] - self.rest.extra[of_row, of_host]
        model.add(terms, count, -np.inf, room.astype(np.float64))
        return over

    def _limits(self, model: ModelBuilder, put: Ints) -> None:
        """Add (4)."""
        ground, state = self.state.ground, self.state
        site, home, _ = self.ways
        limits = ground.limits_of[state.pool[home]]
        at, column = np.nonzero(limits >= 0)
        if len(at):
            limit = limits[at, column]
            allowed = np.maximum(ground.most, state.used)[:-1] - self.rest.used[:-1]
            brought = ground.brings[limit, self.sites[site[at]]]
            model.add([(limit, put[at], brought)], len(allowed), -np.inf, allowed)
        if np.isfinite(ground.host_weight):
            free = np.maximum(ground.host_weight, state.carried) - self.rest.carried
            model.add([(home, put, ground.weights[self.sites[site]])], state.hosts, -np.inf, free)
