"""Why a plan needs so many hosts against the loss of hubs and zones (of a host: `host_loss_cuts`): sets of sites,
and what each forces of hosts and of the room they leave.

A cut of `cover.reserve_model` is an inequality in host counts n and kept room s. Its shares t of the room of q
are replaced by s_q, once for all pools of a group that is lost together: what stands ready for them is s_q at most.
With 0 <= s_p <= R_p n_p, any multipliers y >= 0 give a lower bound on the price of every plan,

    sum_r y_r b_r + sum_p min over n in 0..M_p of (price_p(n) - (w_p + R_p max(0, v_p)) n),

w and v being the weighed sums of what the rows count of n and of s; compare `host_counts.certificate`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from planner.arrays import falses, indices, int_array, int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.cover.loss_conditions import OneHostLost
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_terms import CoverSet
from planner.sizing.host_counts.certificate import least_over_counts, rounded_up, simple_multipliers
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.prices import prices_of
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Term, add_new_hosts, add_room

_SEARCH_SECONDS = 30.0  # for choosing a few sets out of many
_LITTLE_SECONDS = 0.5
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


FindEvidence = Callable[[float, SolveBudget], Evidence | None]  # of sets that force so much


def of_cut(network: PairNetwork, losses: Losses, cut: Cut, loss: int | None) -> CoverSet:
    """Return the set of a cut of the search over counts, for what ``loss`` (None: no loss) leaves."""
    member = falses(network.classes.count)
    member[cut.classes] = True
    min_cut = network.min_cut(member, network.demand)
    homes = min_cut.pairs.any(axis=1) | min_cut.homes
    nothing = falses(network.pools)
    demand = min_cut.demand
    if loss is None:
        return CoverSet(cut.classes, demand, homes, nothing, min_cut.pairs & nothing)
    hit = losses.pools[loss] & ~min_cut.homes
    ready = min_cut.pairs & hit[:, None]
    return CoverSet(cut.classes, demand, nothing, homes & ~hit, ready)


def sets_of(network: PairNetwork, losses: Losses, cuts: Sequence[Cut], plain: int) -> list[CoverSet]:
    """Return what the cuts of a search say: ``plain`` conditions of the ordinary day first, then one for each loss."""
    found = []
    for cut in cuts:
        if cut.size == 1 and not isinstance(cut, OneHostLost):
            loss = None if cut.condition < plain else cut.condition - plain
            found.append(of_cut(network, losses, cut, loss))
    return found


def find_evidence(
    problem: Problem, classes: Classes, losses: Losses, sets: Sequence[CoverSet], target: float, budget: SolveBudget
) -> Evidence | None:
    """Return sets that force ``target``, by adding up or by a search over whole counts; None where they do not."""
    proof = _Proof(problem, losses, sets)
    found = simple_multipliers(problem, proof.duals(budget), target, proof.added_up)
    if found is not None:
        multipliers, bound = found
        used = tuple(itertools.compress(sets, multipliers))
        return Evidence(classes, used, tuple(filter(None, multipliers)), bound)
    goal = rounded_up(problem, Fraction(target))
    few = proof.enough(float(goal), _short(budget))
    if few is None:
        return None
    none = (Fraction(0),) * len(few)
    forcing = tuple(sets[r] for r in few)
    return Evidence(classes, forcing, none, goal)


def _short(budget: SolveBudget) -> SolveBudget:
    """Return a budget for the proof after the plan is made: what is left, but a little even if nothing is."""
    left = np.inf if budget.left is None else budget.left
    return SolveBudget(seed=budget.seed, seconds=float(np.clip(left, _LITTLE_SECONDS, _SEARCH_SECONDS)))


class _Proof:
    """Sets as rows over n and s: ``on_hosts``, ``on_room`` (R, P) and ``needs`` (R,)."""

    def __init__(self, problem: Problem, losses: Losses, sets: Sequence[CoverSet]) -> None:
        self.problem, self.room = problem, losses.room
        # Losses come largest first.
        group = np.argmax(losses.pools, axis=0)
        members = int_zeros(losses.pools.shape)
        members[group, indices(group)] = 1
        shape = len(sets), problem.pools
        self.on_hosts = int_zeros(shape)
        self.on_room = int_zeros(shape)
        for r, each in enumerate(sets):
            self.on_hosts[r] = problem.caps * each.full
            self.on_hosts[r] += losses.room * each.kept
            groups_ready = members @ each.ready > 0
            self.on_room[r] = groups_ready.sum(axis=0) - each.kept
        self.needs = int_array([each.demand for each in sets])

    def program(self, rows: Ints, *, whole: bool) -> LinearProgram:
        """Return the model of some rows: columns n, then s, then hosts to add; the rows, then s <= R n."""
        problem, model = self.problem, ModelBuilder()
        n = model.block(problem.pools, prices_of(problem).first, problem.max_hosts, whole)
        s = model.block(problem.pools, whole=whole)
        for r in rows.tolist():
            on_hosts: Term = n, self.on_hosts[r]
            on_room: Term = s, self.on_room[r]
            model.at_least([on_hosts, on_room], self.needs[r])
        one_each = np.ones(len(s))
        kept = Loads(indices(s), s, one_each)
        add_room(model, self.room, n, [kept])
        if problem.objective == "new_hosts":
            add_new_hosts(model, problem.existing, n, 1.0)
        return model.program()

    def duals(self, budget: SolveBudget) -> list[float]:
        """Return the dual value of each row in the relaxation."""
        rows = indices(self.needs)
        answer = solve_arrays(self.program(rows, whole=False), _short(budget))
        optimal = answer.outcome.state == "optimal"
        found = answer.dual if optimal else np.zeros(len(rows))
        duals: list[float] = found[: len(rows)].tolist()
        return duals

    def added_up(self, multipliers: Sequence[Fraction]) -> Fraction:
        """Return the lower bound that the rows add up to, exactly."""
        rows = [r for r, y in enumerate(multipliers) if y]
        used = np.array(multipliers, dtype=object)[rows]
        total = sum(used * self.needs[rows], Fraction(0))
        of_row = used[:, None]
        hosts = (of_row * self.on_hosts[rows]).sum(axis=0)
        room = (of_row * self.on_room[rows]).sum(axis=0)
        weights = hosts + self.room * np.maximum(room, 0)
        return total + least_over_counts(self.problem, map(Fraction, weights))

    def enough(self, target: float, budget: SolveBudget) -> list[int] | None:
        """Return a few rows that force ``target`` on whole counts: those that the best counts so far fail worst."""
        taken: list[int] = []
        while not budget.spent:
            outcome, x = self._solved(taken, budget)
            forced = outcome.bound >= target * (1 - 1e-9) - 1e-6
            if forced or outcome.state == "infeasible":
                return taken
            if not outcome.has_solution:
                return None
            hosts, room = np.split(np.rint(x), 2)
            met = self.on_hosts @ hosts + self.on_room @ room
            lacking = self.needs - met
            short = lacking / np.maximum(1, self.needs)
            short[taken] = 0.0
            worst = np.argsort(-short, kind="stable")[:_AT_A_TIME]
            worst = worst[short[worst] > 0]
            if not len(worst):
                return None
            taken += worst.tolist()
        return None

    def _solved(self, rows: list[int], budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return how the model of some rows on whole counts ended, and the columns n and s."""
        answer = solve_arrays(self.program(int_array(rows), whole=True), budget)
        columns = 2 * self.problem.pools
        return answer.outcome, answer.x[:columns]
