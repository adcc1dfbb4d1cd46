"""Why a plan with cover needs so many hosts: sets of sites, and what each forces of hosts and of the room they leave.

A cut of `cover.reserve_model` is an inequality in host counts n and kept room s. Its shares t of the room of q
are replaced by s_q, once for all pools of a group that is lost together: what stands ready for them is s_q at most.
With 0 <= s_p <= R_p n_p, any multipliers y >= 0 give a lower bound on the price of every plan,

    sum_r y_r b_r + sum_p min over n in 0..M_p of (price_p(n) - (w_p + R_p max(0, v_p)) n),

w and v being the weighed sums of what the rows count of n and of s; compare `host_counts.certificate`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from planner.fleet import Ints
from planner.sizing.cover.loss_conditions import OneHostLost
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_terms import CoverSet
from planner.sizing.host_counts.certificate import DENOMINATORS, priced, prices
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, add_new_hosts, add_room

_SEARCH_SECONDS = 30.0  # for choosing a few sets out of many
_AT_A_TIME = 4  # sets


@dataclass(frozen=True)
class Evidence:
    """Sets of ``classes`` with their multipliers, and what they force.

    All multipliers are 0 where it takes a search over whole counts.
    """

    classes: Classes
    sets: tuple[CoverSet, ...]
    multipliers: tuple[Fraction, ...]
    bound: Fraction


def of_cut(network: PairNetwork, losses: Losses, cut: Cut, loss: int | None) -> CoverSet:
    """Return the set of a cut of the search over counts, for what ``loss`` (None: no loss) leaves."""
    member = np.zeros(network.classes.count, dtype=np.bool_)
    member[cut.classes] = True
    min_cut = network.min_cut(member, network.demand)
    homes = min_cut.pairs.any(axis=1) | min_cut.homes
    hit = np.zeros(network.pools, dtype=np.bool_) if loss is None else losses.pools[loss]
    hit = hit & ~min_cut.homes
    full = homes if loss is None else np.zeros_like(homes)
    kept = np.zeros_like(homes) if loss is None else homes & ~hit
    return CoverSet(cut.classes, min_cut.demand, full, kept, min_cut.pairs & hit[:, None])


def sets_of(network: PairNetwork, losses: Losses, cuts: Sequence[Cut], plain: int) -> list[CoverSet]:
    """Return what the cuts of a search say: ``plain`` conditions of the ordinary day first, then one for each loss."""
    told = [cut for cut in cuts if cut.size == 1 and not isinstance(cut, OneHostLost)]
    return [of_cut(network, losses, cut, cut.condition - plain if cut.condition >= plain else None) for cut in told]


def find_evidence(
    problem: Problem, classes: Classes, losses: Losses, sets: Sequence[CoverSet], target: float, budget: SolveBudget
) -> Evidence | None:
    """Return sets that force ``target``, by adding up or by a search over whole counts; None where they do not."""
    proof = _Proof(problem, losses, sets)
    goal = Fraction(target) if problem.objective == "cost" else Fraction(math.ceil(target))
    allowance = abs(goal) / 1_000_000 if problem.objective == "cost" else 0
    duals = proof.duals(budget)
    for most in DENOMINATORS:
        multipliers = [Fraction(max(0.0, y)).limit_denominator(most) for y in duals]
        bound = proof.added_up(multipliers)
        if bound >= goal - allowance:
            kept = [(chosen, y) for chosen, y in zip(sets, multipliers, strict=True) if y]
            return Evidence(classes, tuple(s for s, _ in kept), tuple(y for _, y in kept), min(bound, goal))
    few = proof.enough(float(goal), _short(budget))
    if few is None:
        return None
    return Evidence(classes, tuple(sets[r] for r in few), (Fraction(0),) * len(few), goal)


def _short(budget: SolveBudget) -> SolveBudget:
    """Return an effort for the proof after the plan is made: what is left, but a little even if nothing is."""
    left = _SEARCH_SECONDS if budget.left is None else max(0.5, min(_SEARCH_SECONDS, budget.left))
    return SolveBudget(seed=budget.seed, seconds=left)


class _Proof:
    """Sets as rows over n and s: ``on_hosts``, ``on_room`` (R, P) and ``needs`` (R,)."""

    def __init__(self, problem: Problem, losses: Losses, sets: Sequence[CoverSet]) -> None:
        self.problem, self.room = problem, losses.room
        # Losses come largest first.
        group = np.argmax(losses.pools, axis=0)
        members = np.zeros((len(losses.pools), problem.pools), dtype=np.int64)
        members[group, np.arange(problem.pools)] = 1
        shape = (len(sets), problem.pools)
        self.on_hosts, self.on_room = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
        for r, each in enumerate(sets):
            self.on_hosts[r] = problem.caps * each.full + losses.room * each.kept
            self.on_room[r] = (members @ each.ready > 0).sum(axis=0) - each.kept
        self.needs = np.array([each.demand for each in sets], dtype=np.int64)

    def program(self, rows: Ints, *, whole: bool) -> LinearProgram:
        """Return the model of some rows: columns n, then s, then hosts to add; the rows, then s <= R n."""
        problem, model = self.problem, ModelBuilder()
        n = model.block(problem.pools, prices(problem), problem.max_hosts, whole)
        s = model.block(problem.pools, whole=whole)
        for r in rows.tolist():
            model.row(
                [(n, self.on_hosts[r].astype(np.float64)), (s, self.on_room[r].astype(np.float64))],
                self.needs[r],
                np.inf,
            )
        add_room(model, self.room, n, [Loads(np.arange(problem.pools), s, np.ones(problem.pools))])
        if problem.objective == "new_hosts":
            add_new_hosts(model, problem.existing, n, 1.0)
        return model.program()

    def duals(self, budget: SolveBudget) -> list[float]:
        """Return the dual value of each row in the relaxation."""
        rows = np.arange(len(self.needs))
        answer = solve_arrays(self.program(rows, whole=False), _short(budget))
        found = answer.outcome.state == "optimal"
        return answer.dual[: len(rows)].tolist() if found else [0.0] * len(rows)

    def added_up(self, multipliers: Sequence[Fraction]) -> Fraction:
        """Return the lower bound that the rows add up to, exactly."""
        pools, problem = self.problem.pools, self.problem
        hosts, room = [Fraction(0)] * pools, [Fraction(0)] * pools
        total = Fraction(0)
        for r, y in enumerate(multipliers):
            if y:
                total += y * int(self.needs[r])
                for p in np.flatnonzero(self.on_hosts[r]).tolist():
                    hosts[p] += y * int(self.on_hosts[r, p])
                for p in np.flatnonzero(self.on_room[r]).tolist():
                    room[p] += y * int(self.on_room[r, p])
        for p in range(pools):
            weight = hosts[p] + int(self.room[p]) * max(Fraction(0), room[p])
            points = {0, int(problem.max_hosts[p]), min(int(problem.max_hosts[p]), int(problem.existing[p]))}
            total += min(priced(problem, p, n) - weight * n for n in points)
        return total if problem.objective == "cost" else Fraction(math.ceil(total))

    def enough(self, target: float, budget: SolveBudget) -> list[int] | None:
        """Return a few rows that force ``target`` on whole counts: those that the best counts so far fail worst."""
        taken: list[int] = []
        while not budget.spent:
            answer = solve_arrays(self.program(np.array(taken, dtype=np.int64), whole=True), budget)
            if answer.outcome.state == "infeasible" or answer.outcome.bound >= target * (1 - 1e-9) - 1e-6:
                return taken
            if not answer.outcome.has_solution:
                return None
            pools = self.problem.pools
            hosts, room = np.rint(answer.x[:pools]), np.rint(answer.x[pools : 2 * pools])
            short = (self.needs - self.on_hosts @ hosts - self.on_room @ room) / np.maximum(1, self.needs)
            short[taken] = 0.0
            worst = np.argsort(-short, kind="stable")[:_AT_A_TIME]
            worst = worst[short[worst] > 0]
            if not len(worst):
                return None
            taken += worst.tolist()
        return None
