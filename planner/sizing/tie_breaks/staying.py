"""Fewest moves over all counts as good: who can stay, exactly, by one mixed-integer program.

Sets and data
    c in K     classes of sites, s_c of them, k_c clusters that share a host, d_c units a site; arcs (c, p) as in
               `assignment.flow_model`
    j in J     pairs that keep a site on its pool of today: site s_j of class c_j, pool p_j
    h in H     hosts of today that sites name: pool p_h, the pairs J_h that keep a site on it
    p in P     pools: cap C_p, at most M_p hosts
Variables
    n_p whole, 0..M_p      hosts
    y_j in {0, 1}          the site stays
    r_h in {0, 1}          the host runs on
    f_cp >= 0              units of class c that do not stay and go to pool p, whole where k_c > 1
    u_c, o_c whole, >= 0   sites of c left out, and with their own tie-breaker
Constraints
    (1) sum_p f_cp + d_c (sum_{j: c_j = c} y_j + u_c + o_c) = d_c s_c
    (2) sum_c k_c f_cp + sum_{j: p_j = p} k y_j <= C_p n_p, and limits on hubs, zones and weight as in the flow model
    (3) the same for sites of t clusters or more, which count one each: at most floor(C_p / t) n_p
    (4) y_j <= r_h for j in J_h, else y_j <= n_p; sum_{j in J_h} k y_j <= C_p r_h; sum_{h: p_h = p} r_h <= n_p
    (5) what plans keep that are as good on all aims before, see `as_good`
    (6) Hall's conditions of the host counts, and each divided by each room in it and rounded (mixed-integer rounding,
        G. L. Nemhauser, L. A. Wolsey, Mathematical Programming 46 (1990) 379-390)
    (7) sum y_j <= 1 over the pairs of a site, where it may stay on several pools
Maximise sum y + sum of u over sites that have a host today: to be left out is no move.

(4) makes the relaxation far stronger than (2) alone, see `branch_and_bound`. Only who stays has rows of its own:
whoever moves is one of a class. With n and r whole, y and f of single clusters are those of a flow, and whole.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, falses, int_zeros, rounded, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.classes import Classes, arc_of_pair
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Term,
    Terms,
    add_capacity,
    add_host_limits,
    add_place_limits,
    add_room,
    add_weight_on_hosts,
)
from planner.sizing.tie_breaks.as_good import AsGood
from planner.sizing.tie_breaks.whole_search import WholeSearch

_MOST_PAIRS = 40_000  # beyond, the first relaxation alone takes longer than people wait
_WHOLE = 1e-6
_STEPS = 25_000  # of the simplex method; a thousand take a fifth of a second at 1,000 sites
_NODES = 100  # for whole sites on given hosts
_NO_EXTRAS = {"mip_heuristic_effort": 0.01, "mip_allow_restart": False, "mip_max_nodes": _NODES}


@dataclass(frozen=True)
class Today:
    """``incumbent`` (E,) marks the pairs that keep a site, ``host`` (S,) numbers its host of today, -1 for none named.

    ``nowhere`` (S,): sites without a host today. Where ``host`` is all -1, whoever stays in a pool stays.
    """

    incumbent: Bools
    host: Ints
    nowhere: Bools


@dataclass(frozen=True, slots=True)
class Staying:
    """Counts on which most sites stay; the flow of classes of single clusters is not whole, see `Counts`.

    ``keeps`` (E,) marks the pairs that keep a site on a host that runs on. ``moves``: no plan as good sends fewer sites
    to another host than today's. ``counts`` is None where no plan was found.
    """

    moves: float
    counts: Counts | None
    keeps: Bools


def most_staying(
    problem: Problem,
    classes: Classes,
    as_good: AsGood,
    today: Today,
    cuts: tuple[Cut, ...],
    budget: SolveBudget,
) -> Staying | None:
    """Return the counts of plans ``as_good`` on which most sites stay; None where it is not modelled, or not in time.

    ``classes`` must not mix sites with and without a host today where weight is left out. ``cuts`` are Hall conditions
    of plans that serve everybody. With more pairs than `_MOST_PAIRS` nothing is modelled.
    """
    if not today.incumbent.any() or len(problem.pool) > _MOST_PAIRS or budget.spent:
        return None
    model = _Model(problem, classes, as_good, today)
    for cut in cuts:
        model.hold(cut)
    program = model.program()
    search = WholeSearch(program, [model.n, model.r], budget)
    found = search.search(_STEPS)
    if found is None:
        return None
    moves = float((~today.nowhere).sum()) + found.bound
    whole = None
    if found.x is not None:
        given = np.concatenate((model.n, model.r))
        whole = _whole(program, given, found.x, budget)
    if whole is None:
        return Staying(moves, None, today.incumbent)
    return Staying(moves, *model.read(whole))


def _whole(program: LinearProgram, given: Ints, x: Floats, budget: SolveBudget) -> Floats | None:
    """Return the answer with ``given`` columns as in ``x``, in which all that must be is whole; None for none."""
    distance = np.abs(x - np.rint(x))
    if not (distance[program.whole] > _WHOLE).any():
        return x
    lower = np.zeros(len(x))
    upper = program.upper.copy()
    values = np.rint(x[given])
    lower[given] = upper[given] = values
    fixed = dataclasses.replace(program, lower=lower, upper=upper)
    answer = solve_arrays(fixed, budget, options=_NO_EXTRAS)
    return answer.x if answer.outcome.has_solution else None


class _Model:
    """The rows, as they are numbered above; ``pairs`` (J,) are those that keep a site, ``host`` (J,) on which host."""

    def __init__(self, problem: Problem, classes: Classes, as_good: AsGood, today: Today) -> None:
        self.problem = problem
        self.classes = classes
        self.today = today
        self.pairs = np.flatnonzero(today.incumbent)
        self.site = problem.site[self.pairs]
        self.pool = problem.pool[self.pairs]
        host = today.host[self.site]
        self.named = np.flatnonzero(host >= 0)
        names, first, of_named = np.unique(host[self.named], return_index=True, return_inverse=True)
        self.host = np.full(len(self.pairs), -1)
        self.host[self.named] = of_named
        self.pool_of_host = self.pool[self.named][first]
        self.hosts_today = len(names)
        self.built = ModelBuilder()
        self._columns(as_good)
        self._everybody()
        self._room()
        self._opened()
        self._as_good(as_good)

    def _columns(self, as_good: AsGood) -> None:
        problem = self.problem
        classes = self.classes
        built = self.built
        demand = as_floats(classes.arc_demand)
        fixed = classes.arc_fixed
        self.n = built.block(problem.pools, upper=problem.max_hosts, whole=True)
        self.y = built.block(len(self.pairs), -1.0, upper=1.0, whole=True)
        self.f = built.block(len(classes.pool), upper=demand, whole=fixed)
        self.r = built.block(self.hosts_today, upper=1.0, whole=True)
        somewhere = falses(classes.count)
        somewhere[classes.of_site[~self.today.nowhere]] = True
        self.out = np.arange(classes.count if as_good.weight else 0)
        no_move = as_floats(somewhere[self.out])
        size = classes.size[self.out]
        self.u = built.block(len(self.out), -no_move, size, whole=True)
        self.with_own = np.flatnonzero(classes.may_own)
        most_own = classes.size[self.with_own]
        self.o = built.block(len(self.with_own), upper=most_own, whole=True)

    def _everybody(self) -> None:
        """Add (1) and (7)."""
        classes = self.classes
        units = as_floats(self.classes.unit_demand)
        mine = classes.of_site[self.site]
        demand = as_floats(classes.demand)
        moving: Terms = classes.of_arc, self.f, 1.0
        staying: Terms = mine, self.y, units[mine]
        left_out: Terms = self.out, self.u, units[self.out]
        with_own: Terms = self.with_own, self.o, units[self.with_own]
        self.built.equal([moving, staying, left_out, with_own], classes.count, demand)
        sites, at, copies = np.unique(self.site, return_inverse=True, return_counts=True)
        if (copies > 1).any():
            stays: Terms = at, self.y, 1.0
            self.built.add([stays], len(sites), 0.0, 1.0)

    def _room(self) -> None:
        """Add (2) and (3)."""
        problem = self.problem
        classes = self.classes
        built = self.built
        of_class = classes.arc_items
        of_site = problem.clusters[self.site]
        going = Loads(classes.pool, self.f, of_class)
        staying = Loads(self.pool, self.y, of_site)
        add_carried = add_room if problem.split else add_capacity
        add_carried(built, problem.caps, self.n, [going, staying])
        add_host_limits(built, problem.host_limits, self.n)
        pool = np.concatenate((classes.pool, self.pool))
        column = np.concatenate((self.f, self.y))
        brought = {}
        for measure, each in classes.amounts.items():
            brought[measure] = np.concatenate((each, problem.amounts[measure]))
        # First the amounts of classes, then those of sites.
        of = np.concatenate((classes.of_arc, classes.count + self.site))
        add_place_limits(built, problem, pool, column, brought, of)
        weight = np.concatenate((classes.arc_item_weight, as_floats(problem.weights[self.site])))
        add_weight_on_hosts(built, problem.host_weight, self.n, Loads(pool, column, weight))

    def _opened(self) -> None:
        """Add (4)."""
        named_host = self.host[self.named]
        opened = self.n[self.pool]
        opened[self.named] = self.r[named_host]
        self.built.no_more(self.y, opened)
        clusters = self.problem.clusters[self.site[self.named]]
        on_host = Loads(named_host, self.y[self.named], clusters)
        caps = self.problem.caps[self.pool_of_host]
        add_room(self.built, caps, self.r, [on_host])
        one = np.ones(len(self.n))
        run_on = Loads(self.pool_of_host, self.r, np.ones(len(self.r)))
        add_room(self.built, one, self.n, [run_on])

    def _as_good(self, as_good: AsGood) -> None:
        """Add (5)."""
        problem, classes = self.problem, self.classes
        moving: Term = self.f, classes.cost
        staying: Term = self.y, problem.pair_cost[self.pairs]
        own: Term = self.o, classes.own_cost[self.with_own]
        as_good.add(self.built, problem, self.n, [moving, staying], own)
        weight = classes.weight[self.out]
        of_kept = weight * classes.kept[self.out]
        as_good.add_weight(self.built, self.u, weight, of_kept)

    def hold(self, cut: Cut) -> None:
        """Add (6) of one condition."""
        inside = np.flatnonzero(cut.room)
        hosts = self.n[inside]
        room = cut.room[inside]
        demand = int(cut.demand)
        self.built.at_least([(hosts, as_floats(room))], demand)
        for divisor in sorted({*room.tolist(), *(room // 2).tolist()} - {0, 1}):
            part = (demand % divisor or divisor) / divisor
            rest = room % divisor / divisor
            each = room // divisor + np.minimum(1.0, rest / part)
            rounded_up = -(-demand // divisor)
            self.built.at_least([(hosts, each)], rounded_up)

    def program(self) -> LinearProgram:
        """Return it as arrays."""
        return self.built.program()

    def read(self, x: Floats) -> tuple[Counts, Bools]:
        """Return the counts, and the pairs whose host runs on."""
        classes = self.classes
        stays = arc_of_pair(self.problem, classes)[self.pairs]
        units = classes.unit_demand[classes.of_site[self.site]]
        units_on = x[self.y] * units
        staying = totals(stays, units_on, len(self.f))
        flow = x[self.f] + staying
        unserved = int_zeros(classes.count)
        own = int_zeros(classes.count)
        unserved[self.out] = np.rint(x[self.u])
        own[self.with_own] = np.rint(x[self.o])
        keeps = self.today.incumbent.copy()
        runs_on = x[self.r] > 0.5
        named = self.pairs[self.named]
        keeps[named] = runs_on[self.host[self.named]]
        hosts = rounded(x[self.n])
        whole = classes.arc_fixed
        flow = np.where(whole, np.rint(flow), flow)
        return Counts(hosts, flow, unserved, own), keeps
