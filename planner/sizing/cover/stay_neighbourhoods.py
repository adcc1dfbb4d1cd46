"""Fewer moves under cover, on given hosts: all sites of a few hosts are put anew at once, by an integer program.

Large neighbourhood search (P. Shaw, CP 1998, LNCS 1520, 417-431) from a plan near a point of `stay_with_standbys`, or
from one that is known. Each time a site that is away is taken, its host of today, the one that it has, and some that
share sites with these; all sites on them choose again so that fewer move, with nothing broken, see `exact_repair`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, falses, inverse, minus_ones, offsets
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.drafts import names_of
from planner.sizing.cover.primal_search.exact_repair import Around, exact_repair
from planner.sizing.cover.primal_search.repair import repair
from planner.sizing.cover.primal_search.rounding import Wishes, choice_of_site, dealt
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.cover.stay_seats import Point
from planner.sizing.instance.case import Case
from planner.sizing.solvers.budget import SolveBudget

_STEPS = 2_000  # of repair
_ATTEMPTS = 12  # of exact repair, one after the other, that may help nothing
_NEARLY = 10.0  # clusters too many: beyond, exact repair takes long and seldom ends
_HOSTS = 5  # at a time; one more after so many attempts that helped nothing
_PATIENCE = 20
_FAILS = 80  # attempts one after the other that end the search
_CLOSE = 1e-6


def state_near(point: Point, bare: Bools, budget: SolveBudget) -> State | None:
    """Return a plan on the hosts of ``point``, in which sites are near where it has them; None where none is found.

    ``bare`` (S,) marks sites that may do without a standby. Knows of nobody who is left out.
    """
    program = point.program
    ground = program.ground
    hosts = np.bincount(point.pool, minlength=program.problem.pools)
    state = dealt(ground, hosts, _wishes(point, hosts), bare)
    if state is None:
        return None
    rng = np.random.default_rng(budget.seed)
    repair(state, bare, _STEPS, rng, budget)
    if state.violation() <= _NEARLY:
        state = exact_repair(state, bare, _ATTEMPTS, rng, budget)
    return state if state.violation() <= _CLOSE else None


def _wishes(point: Point, hosts: Ints) -> Wishes:
    """Return home, pool of the standby, and host of today, where they stay, that sites have in ``point``."""
    program = point.program
    by_class = np.argsort(program.kind, kind="stable")
    kind, units = program.kind[by_class], point.units[by_class]
    chosen = choice_of_site(program.classes, kind, units)
    sites = np.flatnonzero(chosen >= 0)
    choice = by_class[chosen[sites]]
    home, standby = program.home[choice], program.standby[choice]
    in_order = np.argsort(point.pool, kind="stable")
    number = inverse(in_order, len(in_order))
    place = number - offsets(hosts)[point.pool]
    at_home = point.pool == home[:, None]
    may_stay = point.stays[sites] & at_home
    stays = program.stays[choice] & may_stay.any(axis=1)
    on = may_stay[stays].argmax(axis=1)
    host = minus_ones(len(choice))
    host[stays] = place[on]
    return Wishes(sites, home, standby, host)


@dataclass
class Neighbourhoods:
    """Looks for fewer moves of plans on the same hosts that cost no more by ``kept``, costs of pairs (E,).

    ``bare`` (S,) marks sites that may do without a standby.
    """

    case: Case
    bare: Bools
    kept: Sequence[Floats]

    def better(self, state: State, least: float, budget: SolveBudget) -> State:
        """Return a state with no more moves than ``state``, which breaks nothing; ``least``: no plan has fewer."""
        state = state.copy()
        state.close_idle()
        rng = np.random.default_rng(budget.seed)
        moved = self._moved(state)
        moves = _moves_of(moved, state).sum()
        fails = 0
        while fails < _FAILS and moves > least and not budget.spent:
            number = _HOSTS + fails // _PATIENCE
            some = self._some_hosts(state, moved, number, rng)
            around = Around(state, self.bare, some, self.kept)
            trial = around.solved(budget, moved)
            fails += 1
            if trial is None or trial.violation() > _CLOSE:
                continue
            now = _moves_of(moved, trial).sum()
            if now < moves:
                fails = 0
            if now <= moves:
                state, moves = trial, now
        return state

    def _moved(self, state: State) -> Floats:
        """Return 1 where a home is a move, else 0, shape (S, M)."""
        today = self.case.in_force
        name = names_of(self.case, state)
        names = [name[h] for h in range(state.hosts)]
        stays = today.staying_on(state.pool, names)
        return as_floats(~stays & ~today.nowhere[:, None])

    def _some_hosts(self, state: State, moved: Floats, most: int, rng: np.random.Generator) -> Bools:
        """Mark ``most`` hosts (M,) around a site that is away, by chance, and could be on its host of today."""
        could_stay = (moved == 0).any(axis=1)
        candidates = np.flatnonzero(_moves_of(moved, state) * could_stay)
        near = np.zeros(state.hosts)
        some = falses(state.hosts)
        if len(candidates):
            s = int(rng.choice(candidates))
            both = int(moved[s].argmin()), int(state.home[s])
            for h in both:
                hosts, _ = state.candidates(state.users(h))
                running = hosts[hosts >= 0]
                near += np.bincount(running, minlength=state.hosts)
            near[list(both)] = np.inf
        chance = rng.uniform(0.2, 1.8, state.hosts)
        order = np.argsort(-near * chance, kind="stable")
        some[order[:most]] = True
        return some


def _moves_of(moved: Floats, state: State) -> Floats:
    """Return 1 for each site that moves in ``state``, else 0, shape (S,)."""
    sites = np.arange(len(moved))
    found: Floats = moved[sites, state.home] * (state.home != NOWHERE)
    return found
