"""The class flow model with cover: rows for losses are added when a solution lacks them.

On top of `assignment.flow_model`
    w_cp whole, >= 0       sites of class c whose home is pool p and that have no standby
    (7) w_cp <= f_cp       and equal where no eligible pool may follow p
    (8) the rows of `cover.loss_rows`; against the loss of one host they hold where exactly m hosts run:
        l_pm binary, n_p = sum_m m l_pm, and the row is void unless l_pm = 1
"""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.cover.loss_rows import Row, first_rows, missing_rows
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Aim, Counts
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.pulp_models import linear, solve_model


class CoverModel(FlowModel):
    """One class flow model with cover. ``hosts`` (P,) fixes the counts; ``cover_all``: who can have cover has it."""

    def __init__(
        self,
        problem: Problem,
        classes: Classes,
        losses: Losses,
        *,
        serve_all: bool,
        cover_all: bool,
        hosts: Ints | None = None,
    ) -> None:
        super().__init__(problem, classes, serve_all=serve_all)
        self.losses, self.hosts = losses, hosts
        self.coverable = losses.coverable(classes.indptr, classes.pool, problem.max_hosts)
        self.w: dict[int, Any] = {}
        self.exactly: dict[tuple[int, int], Any] = {}
        self.known: set[tuple[int, int, bytes]] = set()
        self.uncovered: Floats = np.zeros(len(classes.pool))
        for p, most in enumerate(hosts.tolist() if hosts is not None else ()):
            self._add(1 * self.n[p] == most, f"given{p}")
        self._add_uncovered(cover_all)
        for row in first_rows(classes, losses, np.flatnonzero(self.coverable)):
            self._require(row)

    def _add_uncovered(self, cover_all: bool) -> None:
        classes = self.classes
        for c in np.flatnonzero(self.coverable).tolist():
            arcs = np.arange(classes.indptr[c], classes.indptr[c + 1])
            followed = self.losses.partners(classes.pool[arcs], self.problem.max_hosts).sum(axis=1) > 0
            for a, can in zip(arcs.tolist(), followed.tolist(), strict=True):
                if cover_all:
                    if not can:
                        self._add(1 * self.f[a] <= 0, f"follow{a}")
                    continue
                self.w[a] = self._whole(f"w{a}", int(classes.demand[c]))
                row = self.w[a] - self.f[a] <= 0 if can else self.w[a] - self.f[a] == 0
                self._add(row, f"uncovered{a}")

    def _require(self, row: Row) -> None:
        """Add the row, once."""
        if row.key in self.known:
            return
        self.known.add(row.key)
        classes, losses, items = self.classes, self.losses, self.classes.items
        m = max(1, row.hosts)
        each = items[classes.of_arc].astype(np.float64)
        displaced = np.isin(classes.of_arc, row.inside) & losses.pools[row.loss][classes.pool]
        weight = each * row.counted(classes, losses)
        terms = [(self.f[a], float(weight[a])) for a in np.flatnonzero(weight)]
        terms += [(self.w[a], -float(each[a])) for a in np.flatnonzero(displaced).tolist() if a in self.w]
        terms += [(self.n[q], -m * float(losses.room[q])) for q in row.pools]
        most = 0.0
        if row.hosts:
            p = int(np.flatnonzero(losses.pools[row.loss])[0])
            most = float(losses.room[p]) * m * (m - 1)
            if self.hosts is None:
                void = float(2 * m + 1) * float((classes.demand * items).sum())
                terms.append((self._exactly(p, m), void))
                most += void
        self._add(linear(terms) <= most, f"loss{len(self.known)}")

    def _exactly(self, p: int, m: int) -> Any:
        """Return the binary that says that pool ``p`` runs exactly ``m`` hosts."""
        if (p, m) not in self.exactly:
            steps = range(1, int(self.problem.max_hosts[p]) + 1)
            for k in steps:
                self.exactly[p, k] = self._whole(f"x{p}_{k}", 1)
            self._add(linear([(self.n[p], 1), *((self.exactly[p, k], -k) for k in steps)]) == 0, f"steps{p}")
            self._add(linear([(self.exactly[p, k], 1) for k in steps]) <= 1, f"step{p}")
        return self.exactly[p, m]

    def expression(self, aim: Aim) -> Any:
        """Return what ``aim`` makes small."""
        if aim == "uncovered_weight":
            weight = self.classes.weight[self.classes.of_arc]
            never = np.flatnonzero(~self.coverable[self.classes.of_arc])
            terms = [(w, int(weight[a])) for a, w in self.w.items()]
            return linear([*terms, *((self.f[a], int(weight[a])) for a in never)])
        return super().expression(aim)

    def uncovered_weight(self, counts: Counts) -> float:
        """Return the weight of sites without standby in the last solution."""
        return float(self._uncovered(counts) @ self.classes.weight[self.classes.of_arc])

    def choose_spread(self, hosts: Ints, budget: SolveBudget) -> Counts | None:
        """Keep ``hosts`` (P,) and minimise the largest mean load of a pool's hosts; None when time ends before."""
        classes, load = self.classes, self.model.add_variable("load", 0, int(self.problem.caps.max(initial=0)))
        for p, running in enumerate(hosts.tolist()):
            self._add(1 * self.n[p] == running, f"kept{p}")
            arcs = np.flatnonzero(classes.pool == p)
            terms = [(self.f[a], int(classes.items[classes.of_arc[a]])) for a in arcs]
            if running and terms:
                self._add(linear([*terms, (load, -running)]) <= 0, f"load{p}")
        self.model.setObjective(1 * load)
        _, counts = self._solve("later aims", budget)
        if counts is not None:
            self._add(1 * load <= load.value() + 1e-6, "settled_load")
        return counts

    def _solve(self, stage: str, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Solve, adding rows until every loss finds room; the counts are None when no plan was found."""
        while True:
            outcome = solve_model(self.model, budget, stage)
            if not outcome.has_solution:
                return outcome, None
            counts = self._counts()
            self.uncovered = self._uncovered(counts)
            rows = list(
                missing_rows(self.problem, self.classes, self.losses, counts.hosts, counts.flow, self.uncovered)
            )
            if not rows:
                return outcome, counts
            before = len(self.known)
            for row in rows:
                self._require(row)
            if budget.spent or len(self.known) == before:
                # What was solved is a relaxation: a bound, not a plan.
                return Outcome("unsolved", outcome.word, bound=outcome.bound), None

    def _uncovered(self, counts: Counts) -> Floats:
        """Return the sites without standby on each arc, shape (A,): those that the model chose, and all that cannot."""
        found = np.where(self.coverable[self.classes.of_arc], 0.0, counts.flow)
        for a, w in self.w.items():
            found[a] = round(w.value())
        return found
