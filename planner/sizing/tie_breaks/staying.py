"""Fewest moves over all counts of as many hosts: who can stay, exactly, by one mixed-integer program.

Sets and data
    c in K     classes of sites, d_c of them, k_c clusters each; arcs (c, p) as in `assignment.flow_model`
    j in J     pairs that keep a site on its pool of today: site s_j of class c_j, pool p_j
    h in H     hosts of today that sites name: pool p_h, the pairs J_h that keep a site on it
    p in P     pools: cap C_p, at most M_p hosts; N hosts in all
Variables
    n_p whole, 0..M_p      hosts
    y_j in {0, 1}          the site stays
    r_h in {0, 1}          the host runs on
    f_cp >= 0              sites of class c that do not stay and go to pool p, whole where k_c > 1
Constraints
    (1) sum_p f_cp + sum_{j: c_j = c} y_j = d_c
    (2) sum_c k_c f_cp + sum_{j: p_j = p} k y_j <= C_p n_p
    (3) the same for sites of t clusters or more, which count one each: at most floor(C_p / t) n_p
    (4) y_j <= r_h for j in J_h, else y_j <= n_p; sum_{j in J_h} k y_j <= C_p r_h; sum_{h: p_h = p} r_h <= n_p
    (5) sum_p n_p <= N
    (6) Hall's conditions of the host counts, and each divided by the largest room in it and rounded up (Chvatal)
    (7) sum y_j <= 1 over the pairs of a site, where it may stay on several pools
Maximise sum y.

(4) makes the relaxation far stronger than (2) alone, see `branch_and_bound`. Only who stays has rows of its own:
whoever moves is one of a class. That is why it closes in seconds where the location model with a row for each pair
leaves a gap; with (6) in a fifth of the time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.classes import arc_of_pair
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Sized
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, add_capacity

_MOST_PAIRS = 40_000  # beyond, the first relaxation alone takes longer than people wait
_WHOLE = 1e-6
_SECONDS = 60.0  # at most; fleets of 1,000 sites take one to ten
_OPTIONS = {"mip_heuristic_effort": 0.01, "mip_allow_restart": False}  # the first plan is good, the bound is what lacks


@dataclass(frozen=True, slots=True)
class Staying:
    """Host counts ``hosts`` (P,) on which most sites stay; ``flow`` (A,): sites of several clusters on each arc.

    ``keeps`` (E,) marks the pairs that keep a site on a host that runs on. ``bound``: no plan of as many hosts sends
    fewer sites to another host than today's. ``hosts`` is None where no plan was found.
    """

    bound: float
    hosts: Ints | None
    flow: Ints
    keeps: Bools


def most_staying(
    problem: Problem, sized: Sized, incumbent: Bools, host: Ints | None, budget: SolveBudget
) -> Staying | None:
    """Return the counts of as many hosts as ``sized`` has on which most sites stay; None where it is not modelled.

    ``incumbent`` (E,) marks the pairs that keep a site, ``host`` (S,) numbers the hosts of today, -1 for none that is
    named; where it is None, whoever stays in a pool stays. Sites are not split, all are served, and no limit on hubs,
    zones or weight is there; nor are there more pairs than close in the time that people wait.
    """
    modelled = incumbent.any() and not problem.split and not problem.limited and len(problem.pool) <= _MOST_PAIRS
    if not modelled or budget.spent:
        return None
    model = _Model(problem, sized, incumbent, np.full(problem.sites, -1) if host is None else host)
    answer = solve_arrays(model.program(), budget.within(_SECONDS), options=_OPTIONS)
    if answer.outcome.state == "unsolved" or not np.isfinite(answer.outcome.bound):
        return None
    bound = problem.sites - float(np.floor(-answer.outcome.bound + _WHOLE))
    if not answer.outcome.has_solution:
        return Staying(bound, None, np.zeros(0, dtype=np.int64), incumbent)
    return Staying(bound, *model.read(answer.x))


class _Model:
    """The rows, as they are numbered above; ``pairs`` (J,) are those that keep a site, ``host`` (J,) on which host."""

    def __init__(self, problem: Problem, sized: Sized, incumbent: Bools, host: Ints) -> None:
        self.problem, self.classes, self.cuts = problem, sized.classes, sized.cuts or ()
        self.hosts = int(sized.counts.hosts.sum())
        self.incumbent, pairs = incumbent, np.flatnonzero(incumbent)
        self.pairs, self.site, self.pool = pairs, problem.site[pairs], problem.pool[pairs]
        self.named = np.flatnonzero(host[self.site] >= 0)
        names, first, of_named = np.unique(host[self.site[self.named]], return_index=True, return_inverse=True)
        self.host = np.full(len(pairs), -1)
        self.host[self.named] = of_named
        self.pool_of_host = self.pool[self.named][first]
        self.hosts_today = len(names)
        self._build()

    def _build(self) -> None:
        problem, classes, model = self.problem, self.classes, ModelBuilder()
        demand = classes.demand[classes.of_arc].astype(np.float64)
        self.n = model.block(problem.pools, upper=problem.max_hosts.astype(np.float64), whole=True)
        self.y = model.block(len(self.pairs), -1.0, upper=1.0, whole=True)
        self.f = model.block(len(classes.pool), upper=demand, whole=classes.items[classes.of_arc] > 1)
        self.r = model.block(self.hosts_today, upper=1.0, whole=True)
        self.model = model
        self._everybody()
        going = Loads(classes.pool, self.f, classes.items[classes.of_arc])
        staying = Loads(self.pool, self.y, problem.items[self.site])
        add_capacity(model, problem.caps, self.n, [going, staying])
        self._opened()
        self._totals()

    def program(self) -> LinearProgram:
        """Return it as arrays."""
        return self.model.program()

    def _everybody(self) -> None:
        """Add (1)."""
        classes = self.classes
        demand = classes.demand.astype(np.float64)
        terms = [(classes.of_arc, self.f, 1.0), (classes.of_site[self.site], self.y, 1.0)]
        self.model.add(terms, classes.count, demand, demand)

    def _opened(self) -> None:
        """Add (4)."""
        every, pools = np.arange(len(self.y)), self.problem.pools
        opened = self.n[self.pool]
        opened[self.named] = self.r[self.host[self.named]]
        self.model.add([(every, self.y, 1.0), (every, opened, -1.0)], len(self.y), -np.inf, 0.0)
        items = self.problem.items[self.site[self.named]].astype(np.float64)
        caps = -self.problem.caps[self.pool_of_host].astype(np.float64)
        on_host = (self.host[self.named], self.y[self.named], items)
        self.model.add([on_host, (np.arange(self.hosts_today), self.r, caps)], self.hosts_today, -np.inf, 0.0)
        self.model.add([(self.pool_of_host, self.r, 1.0), (np.arange(pools), self.n, -1.0)], pools, -np.inf, 0.0)

    def _totals(self) -> None:
        """Add (5), (6) and (7)."""
        self.model.row([(self.n, 1.0)], 0.0, float(self.hosts))
        for cut in self.cuts:
            inside = np.flatnonzero(cut.room)
            for divisor in {1, int(cut.room.max(initial=1))}:
                room = -(-cut.room[inside] // divisor)
                self.model.row([(inside, room.astype(np.float64))], float(-(-cut.demand // divisor)), np.inf)
        sites, at, copies = np.unique(self.site, return_inverse=True, return_counts=True)
        if (copies > 1).any():
            self.model.add([(at, self.y, 1.0)], len(sites), 0.0, 1.0)

    def read(self, x: Floats) -> tuple[Ints, Ints, Bools]:
        """Return host counts, how many sites of several clusters are on each arc, and the pairs whose host runs on."""
        hosts = np.rint(x[self.n]).astype(np.int64)
        spare = self.hosts - int(hosts.sum())
        for p in np.argsort(-self.problem.caps, kind="stable").tolist():  # hosts that nobody needs
            more = min(spare, int(self.problem.max_hosts[p] - hosts[p]))
            hosts[p] += more
            spare -= more
        stays = arc_of_pair(self.problem, self.classes)[self.pairs]
        flow = x[self.f] + np.bincount(stays, weights=x[self.y], minlength=len(self.f))
        whole = np.where(self.classes.multi_cluster[self.classes.of_arc], np.rint(flow), 0).astype(np.int64)
        keeps = self.incumbent.copy()
        keeps[self.pairs[self.named]] = x[self.r][self.host[self.named]] > 0.5
        return hosts, whole, keeps
