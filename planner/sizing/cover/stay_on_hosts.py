"""Fewest moves against the loss of a host, host by host: which hosts run, and whose move lets all others stay.

Sets and data as in `tie_breaks.stay_program`; sites i of k_i clusters, hosts j, g, h that may run; f_h the room that a
loss finds on h today, and of a size t of sites
    G(a) = floor(a / t) + max(0, frac(a / t) - frac(f_h / t)) / (1 - frac(f_h / t))
Variables
    r_j in {0, 1}       the host j runs on
    y_ih in [0, 1]      site i stays on its host, and h stands by for it, or nobody where nobody can
    m_ij in [0, 1]      it moves to host j, where it asks for no standby
    e_ht                what moves make free on h for sites of t clusters
Minimise sum of m_ij over sites that have a host today, subject to
    (1) sum_h y_ih + sum_j m_ij = 1
    (2) sum of k_i over all who live on j <= C_j r_j, and sum_h y_ih <= r_j for the host j of i
    (3) sum of k_i y_ih over sites of the host g + sum of k_i over all who live on h <= R_h r_h
    (4) sum of G(k_i) y_ih over sites of the host g <= floor(f_h / t) + e_ht
    (5) e_ht = - sum of G(-k_i) m_ij over sites of h - sum of G(k_i) m_ih - G(R_h) (1 - r_h)
    (6) what plans keep that are as good on all aims before
Every plan as good in which nobody goes without a standby who can have one is a point of it. (4) is (3) divided by t and
rounded for whole sites (H. Marchand, L. A. Wolsey, Operations Research 49 (2001) 363-371): a host with less room than t
takes nobody of t clusters until somebody leaves it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from planner.arrays import as_floats, falses, indices, minus_ones, totals
from planner.fleet import Floats, Ints
from planner.sizing.cover.stay_with_standbys import StayWithStandbys
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Term, Terms, add_host_limits, add_room

# Few nodes decide which hosts run: what HiGHS does before it branches takes longer.
OPTIONS: Mapping[str, float | bool] = {
    "mip_heuristic_effort": 0.0,
    "mip_heuristic_run_feasibility_jump": False,
    "mip_heuristic_run_rens": False,
    "mip_heuristic_run_rins": False,
    "mip_heuristic_run_root_reduced_cost": False,
    "mip_allow_restart": False,
    "mip_detect_symmetry": False,
    "mip_pscost_minreliable": 0,
}
_MOST_COLUMNS = 30_000
_MOST_HOSTS = 100


class StayOnHosts:
    """The program of the hosts that ``program`` lists, J of them; nobody is left out there, or goes without a standby.

    ``now`` (S,): the host on which a site stays, -1 for none. Of y: ``stays`` and ``standby`` (Y,), site and host, -1
    for none. Of m: ``moves`` and ``to`` (X,), site and host. ``eligible`` (S, P): pools that a site may use.
    """

    whole = False  # homes
    seconds = 15.0
    options = OPTIONS

    def __init__(self, program: StayWithStandbys) -> None:
        self.program, self.problem = program, program.problem
        self.ground, self.pool = program.ground, program.host_pool
        self._choose()

    @property
    def small(self) -> bool:
        """Whether it is solved in seconds."""
        columns = len(self.stays) + len(self.moves)
        return columns <= _MOST_COLUMNS and len(self.pool) <= _MOST_HOSTS

    def solved(self, running: Floats, budget: SolveBudget) -> Answer:
        """Return the answer, in which hosts run or do not, and sites may be divided unless homes are ``whole``.

        The hosts ``running`` (J,), 1 for each that runs, are tried first where homes are not whole.
        """
        self.built = ModelBuilder()
        block = self.built.block
        self.r = block(len(self.pool), upper=1.0, whole=True)
        self.y = block(len(self.stays), upper=1.0, whole=self.whole)
        self.m = block(len(self.moves), self.cost, upper=1.0, whole=self.whole)
        self._homes()
        self._losses()
        self._as_good()
        program = self.built.program()
        start = None if self.whole else self._start(program, running, budget)
        return solve_arrays(program, budget, start=start, options=self.options)

    def _start(self, program: LinearProgram, running: Floats, budget: SolveBudget) -> Floats | None:
        """Return the point of fewest moves where the hosts ``running`` (J,) run; None where none is found."""
        first = solve_arrays(program.fixed(self.r, running), budget, options=self.options)
        return first.x if first.outcome.has_solution else None

    def _choose(self) -> None:
        """Find who may stay, with which standby, and who may move where."""
        problem, today = self.problem, self.program.case.in_force
        by_pool = falses((3, problem.sites, problem.pools))
        marks = np.ones_like(problem.homes), problem.homes, today.incumbent
        for table, mark in zip(by_pool, marks, strict=True):
            table[problem.site, problem.pool] = mark
        self.eligible = by_pool[0]
        there, homes, incumbent = by_pool[:, :, self.pool]
        mine = np.array(today.host)[:, None]
        same = mine == np.array(self.program.host_name)
        named = same & incumbent & homes
        has_one = named.any(axis=1)
        self.now = np.where(has_one, named.argmax(axis=1), -1)
        apart = self.ground.follows[np.ix_(self.pool, self.pool)]
        np.fill_diagonal(apart, False)
        staying = self.now >= 0
        may_follow = there & apart[self.now]
        may_follow[~staying] = False
        followed, standby = np.nonzero(may_follow)
        alone = np.flatnonzero(staying & ~self.ground.coverable)
        self.stays = np.concatenate((followed, alone))
        self.standby = np.concatenate((standby, minus_ones(len(alone))))
        elsewhere = indices(self.pool) != self.now[:, None]
        self.moves, self.to = np.nonzero(homes & elsewhere)
        # Who has a host that nobody named may stay on any in its pool.
        anywhere = (mine == "") & incumbent
        anywhere |= today.nowhere[:, None]
        self.cost = as_floats(~anywhere[self.moves, self.to])

    def _homes(self) -> None:
        """Add (1) and (2)."""
        built, sites = self.built, self.problem.sites
        clusters = self.problem.clusters
        self.staying = clusters[self.stays]
        self.moving = clusters[self.moves]
        stay: Terms = self.stays, self.y, 1.0
        move: Terms = self.moves, self.m, 1.0
        built.equal([stay, move], sites, 1.0)
        self.lives_on = self.now[self.stays]
        staying = Loads(self.lives_on, self.y, self.staying)
        arriving = Loads(self.to, self.m, self.moving)
        self.living = [staying, arriving]
        caps = self.problem.caps[self.pool]
        add_room(built, caps, self.r, self.living)
        self.with_host = np.flatnonzero(self.now >= 0)
        of_today = self.r[self.now[self.with_host]]
        runs: Terms = self.with_host, of_today, -1.0
        built.below([stay, runs], sites)

    def _losses(self) -> None:
        """Add (3), and (4) and (5) for each size of sites."""
        built, hosts = self.built, len(self.pool)
        self.behind = np.flatnonzero(self.standby >= 0)
        self.relying_on = self.standby[self.behind]
        ways = self.lives_on[self.behind] * hosts + self.relying_on
        lost_to, self.way = np.unique(ways, return_inverse=True)
        self.onto = lost_to % hosts
        self.sent = self.y[self.behind]
        self.units = self.staying[self.behind]
        load = built.block(hosts)
        at_home = [living.terms for living in self.living]
        built.define(load, at_home)
        room = self.ground.room[self.pool]
        each = indices(self.onto)
        sent: Terms = self.way, self.sent, self.units
        there: Terms = each, load[self.onto], 1.0
        most = -room[self.onto]
        running: Terms = each, self.r[self.onto], most
        built.below([sent, there, running], len(each))
        clusters = self.problem.clusters[self.with_host]
        carried = totals(self.now[self.with_host], clusters, hosts)
        for size in np.unique(clusters).tolist():
            if size > 1:
                self._rounded(size, room, room - carried)

    def _rounded(self, size: int, room: Ints, free: Floats) -> None:
        """Add (4) and (5) for t = ``size``; ``room`` and ``free`` (J,) are R and f."""
        built = self.built
        whole = np.floor(free / size)
        part = free / size - whole

        def rounded(amount: Ints, host: Ints) -> Floats:
            units = amount / size
            number = np.floor(units)
            beyond = units - number - part[host]
            more = np.maximum(0.0, beyond)
            found: Floats = number + more / (1.0 - part[host])
            return found

        made_free = built.block(len(free), lower=-np.inf)
        every, each = indices(free), indices(self.onto)
        origin = self.now[self.moves]
        leaving = np.flatnonzero(origin >= 0)
        host = origin[leaving]
        given_up = rounded(-self.moving[leaving], host)
        left: Terms = host, self.m[leaving], given_up
        taken = rounded(self.moving, self.to)
        arrived: Terms = self.to, self.m, taken
        closed = rounded(room, every)
        running: Terms = every, self.r, -closed
        itself: Terms = every, made_free, 1.0
        built.equal([left, arrived, running, itself], len(every), -closed)
        units = rounded(self.units, self.relying_on)
        sent: Terms = self.way, self.sent, units
        gained: Terms = each, made_free[self.onto], -1.0
        fit = whole[self.onto]
        built.below([sent, gained], len(each), fit)

    def _as_good(self) -> None:
        """Add (6)."""
        built, problem = self.built, self.problem
        n = built.block(problem.pools, upper=problem.max_hosts)
        listed: Terms = self.pool, self.r, 1.0
        built.define(n, [listed])
        add_host_limits(built, problem.host_limits, n)
        before, after = np.nonzero(self.program.in_order())
        built.no_more(self.r[after], self.r[before])
        nothing: Term = self.m[:0], 0.0
        self.program.good.add(built, problem, n, [], nothing)
