"""Few moves where hosts are nearly full: whole sites stay, or go to a host that has room, by constraint programming.

Hosts j, g, h that run, those with room marked; sites i of k_i clusters
Variables
    w_igh in {0, 1}  site i lives on g, its host of today or one with room, and h stands by for it, or nobody can
    x_ig  in {0, 1}  the same for all h
Minimise the moves, subject to
    (1) sum_g x_ig = 1
    (2) sum of k_i over all who live on g <= C_g
    (3) sum of k_i w_igh over sites of the host g + sum of k_i over all who live on h <= R_h
Who may go anywhere makes far larger programs, and little is gained where few hosts have room. Integer programs find no
plan of this kind for minutes: their relaxations know nothing of whole sites that fit into the rest of a host.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from ortools.sat.python import cp_model

from planner.arrays import indices, int_zeros, inverse, rounded, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.cover.stay_on_hosts import StayOnHosts
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.cp_sat import solve_model

_WORK = 6.0  # units of the solver
_WAYS = 0, 5_000, 15_000, 45_000  # columns w of those who go to hosts in use: more where there is no plan with fewer


class StayOrGo:
    """The program of the hosts that ``running`` (J,) marks of those that ``on_hosts`` has.

    Of w, shapes (W,): ``site``, ``home`` and ``standby``, -1 for nobody.
    """

    def __init__(self, on_hosts: StayOnHosts, running: Bools) -> None:
        self.on_hosts, self.running = on_hosts, running
        self.problem, self.ground = on_hosts.problem, on_hosts.ground

    def best(self, budget: SolveBudget) -> State | None:
        """Return the state of fewest moves that is found; None where none is."""
        for most in _WAYS:
            self._choose(most)
            found = solve_model(self._model(), self.w, _WORK, budget)
            if not found.impossible:
                break
        return None if found.chosen is None else self._state(found.chosen)

    def _state(self, chosen: Bools) -> State:
        """Return the state of the w that are ``chosen`` (W,)."""
        state = State(self.ground)
        on = np.flatnonzero(self.running)
        for p in self.on_hosts.pool[on].tolist():
            state.open(p)
        number = np.append(inverse(on, len(self.running)), NOWHERE)  # the last for nobody
        at = np.flatnonzero(chosen)
        ways = np.column_stack((self.site, number[self.home], number[self.standby]))
        for site, home, standby in ways[at].tolist():
            state.put(site, home, standby)
        return state

    def _choose(self, most: int) -> None:
        """Find who may live where, with which standby, in about ``most`` ways for those who go."""
        on_hosts = self.on_hosts
        now = on_hosts.now
        homeless = (now < 0) | ~self.running[now]
        stays = np.flatnonzero(~homeless)
        going = np.flatnonzero(self.running[on_hosts.to])
        site, home = on_hosts.moves[going], on_hosts.to[going]
        ways = self._may_follow(site, home).sum(axis=1)
        has_to = homeless[site]
        to_each = totals(home[~has_to], ways[~has_to], len(self.running))
        left = most - int(ways[has_to].sum())
        has_room = self._with_room(stays, to_each, left)
        may_go = has_room[home] | has_to
        going = going[may_go]
        self.lives = np.concatenate((stays, site[may_go]))
        self.lives_on = np.concatenate((now[stays], home[may_go]))
        costs = rounded(on_hosts.cost[going])
        self.cost = np.concatenate((int_zeros(len(stays)), costs))
        row, standby = np.nonzero(self._may_follow(self.lives, self.lives_on))
        alone = np.flatnonzero(~self.ground.coverable[self.lives])
        self.row = np.concatenate((row, alone))
        self.standby = np.concatenate((standby, np.full(len(alone), NOWHERE)))
        self.site, self.home = self.lives[self.row], self.lives_on[self.row]

    def _with_room(self, stays: Ints, ways: Floats, most: int) -> Bools:
        """Mark the hosts (J,) with the most room, as many as have ``most`` of their ``ways`` (J,) together.

        ``stays``: who has a host today that runs. Hosts where nobody is are marked in any case.
        """
        carried = totals(self.on_hosts.now[stays], self.problem.clusters[stays], len(self.running))
        room = self.problem.caps[self.on_hosts.pool] - carried
        by_room = np.argsort(-room, kind="stable")
        found: Bools = carried == 0
        few_enough = np.cumsum(ways[by_room]) <= most
        found[by_room[few_enough]] = True
        return found

    def _may_follow(self, site: Ints, home: Ints) -> Bools:
        """Mark the hosts (n, J) that may stand by for each of ``site`` (n,) that lives on ``home`` (n,)."""
        pool = self.on_hosts.pool
        eligible = self.on_hosts.eligible[:, pool]
        apart = self.ground.follows[np.ix_(pool, pool)]
        itself = home[:, None] == indices(pool)
        found: Bools = eligible[site] & apart[home] & self.running & ~itself
        return found

    def _model(self) -> cp_model.CpModel:
        """Return the program."""
        model = cp_model.CpModel()
        self.w = [model.new_bool_var("") for _ in self.site.tolist()]
        x = [model.new_bool_var("") for _ in self.lives.tolist()]
        for lives, ways in zip(x, _groups(self.row, len(x)), strict=True):
            model.add_exactly_one([*(self.w[at] for at in ways), lives.negated()])
        for homes in _groups(self.lives, self.problem.sites):
            model.add_exactly_one(x[at] for at in homes)
        by_host = _groups(self.lives_on, len(self.running))
        for h in np.flatnonzero(self.running).tolist():
            living = [x[at] for at in by_host[h]]
            load = _weighted(living, self._clusters(self.lives[by_host[h]]))
            self._room(model, h, load)
        model.minimize(_weighted(x, self.cost))
        return model

    def _room(self, model: cp_model.CpModel, h: int, load: cp_model.LinearExpr) -> None:
        """Add (2) and (3) of the host ``h``, which carries ``load``."""
        p = self.on_hosts.pool[h]
        model.add(load <= int(self.problem.caps[p]))
        relying = np.flatnonzero(self.standby == h)
        for ways in _groups(self.home[relying], len(self.running)):
            behind = relying[ways]
            sent = [self.w[at] for at in behind]
            lost = _weighted(sent, self._clusters(self.site[behind]))
            model.add(load + lost <= int(self.ground.room[p]))

    def _clusters(self, site: Ints) -> Ints:
        return self.problem.clusters[site]


def _weighted(variables: Sequence[cp_model.IntVar], by: Ints) -> cp_model.LinearExpr:
    """Return the sum of ``variables`` (n,), each ``by`` times."""
    return cp_model.LinearExpr.weighted_sum(variables, by.tolist())


def _groups(key: Ints, number: int) -> list[Ints]:
    """Return for each of the ``number`` keys where it stands in ``key`` (n,)."""
    order = np.argsort(key, kind="stable")
    ends = np.cumsum(np.bincount(key, minlength=number))
    return np.split(order, ends[:-1])
