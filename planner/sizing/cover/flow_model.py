"""The class flow model with cover: rows for losses are added when a solution lacks them.

On top of `assignment.flow_model`
    w_cp whole, >= 0       sites of class c whose home is pool p and that have no standby
    (7) w_cp <= f_cp       and equal where no eligible pool may follow p
    (8) the rows of `cover.loss_rows`; against the loss of one host they hold where exactly m hosts run:
        l_pm binary, n_p = sum_m m l_pm, and the row is void unless l_pm = 1
"""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, falses, indices
from planner.fleet import Bools, Floats, Ints
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.cover.loss_rows import Row, first_rows, missing_rows
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Aim, Counts
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.model_builder import Term, Terms


class CoverModel(FlowModel):
    """One class flow model with cover. ``cover_all``: who can have cover has it.

    ``w`` are the columns w of the arcs ``bare_on``.
    """

    def __init__(self, problem: Problem, classes: Classes, losses: Losses, *, serve_all: bool, cover_all: bool) -> None:
        super().__init__(problem, classes, serve_all=serve_all)
        self.losses = losses
        self.coverable = losses.coverable(classes.indptr, classes.pool, problem.max_hosts)
        self.exactly: dict[int, Ints] = {}
        self.known: set[tuple[int, int, bytes]] = set()
        self.uncovered: Floats = np.zeros(len(classes.pool))
        self._add_uncovered(cover_all)
        for row in first_rows(classes, losses, np.flatnonzero(self.coverable)):
            self._require(row)

    def _add_uncovered(self, cover_all: bool) -> None:
        """Add (7), or that nobody who can have a standby is where he has none."""
        arcs = np.flatnonzero(self.coverable[self.classes.of_arc])
        can = self._followed()[arcs]
        self.bare_on = arcs[:0] if cover_all else arcs
        most = self.classes.arc_demand[self.bare_on]
        self.w = self.rows.block(len(most), upper=most, whole=True)
        if cover_all:
            never = self.f[arcs[~can]]
            barred: Terms = indices(never), never, 1.0
            self.rows.below([barred], len(never))
            return
        each = indices(arcs)
        served: Terms = each, self.f[arcs], -1.0
        all_bare = np.where(can, -np.inf, 0.0)
        bare: Terms = each, self.w, 1.0
        self.rows.add([bare, served], len(arcs), all_bare, 0.0)

    def _followed(self) -> Bools:
        """Say on which arcs some eligible pool may follow, shape (A,)."""
        classes = self.classes
        found = falses(len(self.classes.pool))
        for c in range(classes.count):
            mine = classes.arcs_of(c)
            may = self.losses.partners(classes.pool[mine], self.problem.max_hosts)
            found[mine] = may.any(axis=1)
        return found

    def _require(self, row: Row) -> None:
        """Add the row (8), once."""
        if row.key in self.known:
            return
        self.known.add(row.key)
        classes, losses = self.classes, self.losses
        m = max(1, row.hosts)
        each = as_floats(classes.arc_items)
        counted = each * row.counted(classes, losses)
        on = np.flatnonzero(counted)
        lost = losses.pools[row.loss][classes.pool]
        displaced = np.isin(classes.of_arc, row.inside) & lost
        bare = displaced[self.bare_on]
        living: Term = self.f[on], counted[on]
        sites = self.bare_on[bare]
        without: Term = self.w[bare], -each[sites]
        of_host = m * losses.room[row.pools]
        room: Term = self.n[row.pools], -of_host
        terms = [living, without, room]
        most = 0.0
        if row.hosts:
            p = int(np.argmax(losses.pools[row.loss]))
            all_clusters = float(classes.demand @ classes.items)
            void = (2 * m + 1) * all_clusters
            exactly = self._exactly(p)[m - 1 : m]
            terms.append((exactly, void))
            pairs = m * (m - 1)
            most = float(losses.room[p]) * pairs + void
        self.rows.at_most(terms, most)

    def _exactly(self, p: int) -> Ints:
        """Return the binaries that say that pool ``p`` runs exactly 1, 2, … hosts."""
        if p not in self.exactly:
            steps = np.arange(1.0, self.problem.max_hosts[p] + 1)
            exactly = self.rows.block(len(steps), upper=1.0, whole=True)
            hosts: Term = self.n[[p]], 1.0
            self.rows.row([hosts, (exactly, -steps)], 0.0, 0.0)
            self.rows.at_most([(exactly, 1.0)], 1.0)
            self.exactly[p] = exactly
        return self.exactly[p]

    def costs(self, aim: Aim) -> Floats:
        """Return what ``aim`` makes small, shape (columns,)."""
        if aim != "uncovered_weight":
            return super().costs(aim)
        cost = np.zeros(self.rows.columns)
        weight = as_floats(self.classes.arc_weight)
        cost[self.w] = weight[self.bare_on]
        coverable = self.coverable[self.classes.of_arc]
        cost[self.f] = np.where(coverable, 0.0, weight)
        return cost

    def uncovered_weight(self, counts: Counts) -> float:
        """Return the weight of sites without standby in the last solution."""
        return float(self._uncovered(counts) @ self.classes.arc_weight)

    def choose_spread(self, hosts: Ints, budget: SolveBudget) -> Counts | None:
        """Keep ``hosts`` (P,) and minimise the largest mean load of a pool's hosts; None when time ends before."""
        classes, rows = self.classes, self.rows
        largest_cap = float(self.problem.caps.max(initial=0))
        load = rows.block(1, upper=largest_cap)
        self.give(hosts)
        arcs = np.bincount(classes.pool, minlength=len(hosts))
        running = np.flatnonzero((hosts > 0) & (arcs > 0))
        number = np.full(len(hosts), -1)
        number[running] = indices(running)
        on = np.flatnonzero(number[classes.pool] >= 0)
        pool = number[classes.pool[on]]
        clusters: Terms = pool, self.f[on], classes.arc_items[on]
        each = indices(running)
        same = np.repeat(load, len(running))
        mean: Terms = each, same, -as_floats(hosts[running])
        rows.below([clusters, mean], len(running))
        cost = np.zeros(rows.columns)
        cost[load] = 1.0
        _, counts = self._solve(cost, "moves and round trips", budget)
        if counts is not None:
            reached = float(self._values[load[0]])
            rows.at_most([(load, 1.0)], reached + 1e-6)
        return counts

    def _solve(self, cost: Floats, stage: str, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Solve, adding rows until every loss finds room; the counts are None when no plan was found."""
        while True:
            outcome, counts = super()._solve(cost, stage, budget)
            if counts is None:
                return outcome, None
            self.uncovered = self._uncovered(counts)
            case = self.problem, self.classes, self.losses
            before, lacks = len(self.known), False
            for row in missing_rows(*case, counts.hosts, counts.flow, self.uncovered):
                lacks = True
                self._require(row)
            if not lacks:
                return outcome, counts
            if budget.spent or len(self.known) == before:
                # What was solved is a relaxation: a bound, not a plan.
                return Outcome("unsolved", outcome.word, bound=outcome.bound), None

    def _uncovered(self, counts: Counts) -> Floats:
        """Return the sites without standby on each arc, shape (A,): those that the model chose, and all that cannot."""
        can = self.coverable[self.classes.of_arc]
        found = np.where(can, 0.0, counts.flow)
        chosen = self._values[self.w]
        found[self.bare_on] = np.rint(chosen)
        return found
