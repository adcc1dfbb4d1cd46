"""A lower bound that anyone can redo: sets of sites, the inequality each forces, and multipliers that add them up.

An inequality is a cut (see `host_counts.hall_conditions`) as it stands, or divided by a whole number with both sides
rounded up (V. Chvatal, Discrete Mathematics 4 (1973) 305-337):  sum_p ceil(room_p / d) n_p >= ceil(demand / d).
For any multipliers y >= 0 every plan costs at least

    sum_r y_r b_r + sum_p min over n in 0..M_p of (price_p(n) - w_p n),   w_p = sum_r y_r a_rp

(A. M. Geoffrion, Mathematical Programming Study 2 (1974) 82-114), and since the price of n hosts is linear on
either side of the existing ones, the minimum is at 0, e_p or M_p. Fractions make the sum exact.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from planner.arrays import int_array, rounded
from planner.fleet import Ints
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.prices import Prices, prices_of
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import ModelBuilder, Terms, add_new_hosts

_DENOMINATORS = (1, 2, 6, 12, 60, 420, 10_000, 10_000_000)  # simple multipliers first: people have to read them


@dataclass(frozen=True)
class Inequality:
    """``room @ n >= demand`` with room (P,) and demand already divided by ``divisor`` and rounded up.

    The first host of pool ``lost`` (-1: of none) counts ``less`` than the others.
    """

    cut: Cut
    divisor: int
    room: Ints
    demand: int
    lost: int = -1
    less: int = 0

    def shortfall(self, hosts: Ints) -> int:
        """Return by how much ``hosts`` (P,) fails it; 0 or less when it holds."""
        less = self.less if self.lost >= 0 and hosts[self.lost] else 0
        return self.demand + less - int(self.room @ hosts)


@dataclass(frozen=True)
class Forcing:
    """A few inequalities, and the ``bound`` on the objective that they force by a search over whole host counts."""

    rows: tuple[Inequality, ...]
    bound: float


@dataclass(frozen=True)
class Certificate:
    """Inequalities with their multipliers, and the bound they add up to; ``closed`` if that is the plan's value.

    Where it is not closed, the inequalities still force the value, but by a search over whole host counts;
    all multipliers are then 0.
    """

    inequalities: tuple[Inequality, ...]
    multipliers: tuple[Fraction, ...]
    bound: Fraction
    closed: bool


def inequalities(cut: Cut) -> list[Inequality]:
    """Return the cut divided by the largest room in it and, where rooms differ, as it stands."""
    largest = max(1, int(cut.room.max(initial=0)))
    room_up = -(-cut.room // largest)
    demand_up = -(-cut.demand // largest)
    rounded = Inequality(cut, largest, room_up, demand_up)
    plain = Inequality(cut, 1, cut.room, cut.demand)
    if (rounded.room * largest == cut.room).all():
        return [rounded]
    return [rounded, plain]


def certify(problem: Problem, cuts: Sequence[Cut], value: float, budget: SolveBudget) -> Certificate:
    """Return the certificate of ``value`` from ``cuts``, with as few inequalities as the multipliers leave."""
    rows = [row for cut in cuts for row in inequalities(cut)]
    unlimited = SolveBudget(seed=budget.seed)
    duals = _duals(problem, rows, unlimited) if rows else []
    of_rows = functools.partial(added_up, problem, rows)
    found = simple_multipliers(problem, duals, value, of_rows)
    if found is None:
        target = rounded_up(problem, Fraction(value))
        return searched(enough(problem, rows, float(target), unlimited))
    multipliers, bound = found
    kept = tuple(itertools.compress(rows, multipliers))
    return Certificate(kept, tuple(filter(None, multipliers)), bound, True)


def simple_multipliers(
    problem: Problem, duals: Sequence[float], value: float, added_up: Callable[[list[Fraction]], Fraction]
) -> tuple[list[Fraction], Fraction] | None:
    """Return multipliers near ``duals``, as simple as will do, and what rows are ``added_up`` to with them: ``value``.

    None where they do not add up to it.
    """
    target = rounded_up(problem, Fraction(value))
    # Money is compared to a millionth: prices and duals are binary fractions of decimal numbers.
    allowance = abs(target) / 1_000_000 if problem.objective == "cost" else 0
    exact = [Fraction(max(0.0, y)) for y in duals]
    for most in _DENOMINATORS:
        multipliers = [y.limit_denominator(most) for y in exact]
        bound = rounded_up(problem, added_up(multipliers))
        if bound >= target - allowance:
            return multipliers, min(bound, target)
    return None


def searched(rows: Sequence[Inequality]) -> Certificate:
    """Return the certificate of inequalities that force the value by a search over whole host counts."""
    nothing = Fraction(0)
    return Certificate(tuple(rows), (nothing,) * len(rows), nothing, False)


def added_up(problem: Problem, rows: Sequence[Inequality], multipliers: Sequence[Fraction]) -> Fraction:
    """Return the lower bound that the inequalities add up to with these multipliers, exactly."""
    weight = [Fraction(0)] * problem.pools
    total = Fraction(0)
    for row, y in zip(rows, multipliers, strict=True):
        if y:
            total += y * row.demand
            for p in np.flatnonzero(row.room).tolist():
                room = int(row.room[p])
                weight[p] += y * room
    return total + least_over_counts(problem, weight)


def least_over_counts(problem: Problem, weights: Iterable[Fraction]) -> Fraction:
    """Return the sum over pools p of the least price_p(n) - w_p n over all n in 0..M_p, exactly."""
    prices = prices_of(problem)
    total = Fraction(0)
    for p, weight in enumerate(weights):
        most = int(problem.max_hosts[p])
        existing = min(most, int(problem.existing[p]))
        corners = {0, most, existing}
        total += min(_priced(prices, p, n) - weight * n for n in corners)
    return total


def _priced(prices: Prices, p: int, hosts: int) -> Fraction:
    old = min(hosts, int(prices.existing[p]))
    of_old = Fraction(float(prices.first[p])) * old
    return of_old + Fraction(float(prices.further[p])) * (hosts - old)


def rounded_up(problem: Problem, bound: Fraction) -> Fraction:
    """Return a bound on the objective, rounded up where that is whole."""
    return bound if problem.objective == "cost" else Fraction(math.ceil(bound))


def enough(problem: Problem, rows: Sequence[Inequality], target: float, budget: SolveBudget) -> list[Inequality]:
    """Return a few of the inequalities that force ``target`` on whole host counts.

    Those that the best counts so far fail worst are taken in until the counts cost as much.
    """
    taken: list[int] = []
    while len(taken) < len(rows):
        model = host_model(problem, [rows[r] for r in taken], whole=True)
        answer = solve_arrays(model, budget)
        if answer.outcome.state == "unsolved":
            return list(rows)
        if not answer.outcome.has_solution or answer.outcome.objective >= target * (1 - 1e-9) - 1e-6:
            break
        hosts = rounded(answer.x[: problem.pools])
        lack = int_array([row.shortfall(hosts) for row in rows])
        short = lack / [max(1, row.demand) for row in rows]
        short[taken] = -np.inf
        taken.append(int(np.argmax(short)))
    return [rows[r] for r in taken]


def _duals(problem: Problem, rows: Sequence[Inequality], budget: SolveBudget) -> list[float]:
    """Return the dual value of each inequality in the linear relaxation over host counts."""
    answer = solve_arrays(host_model(problem, rows, whole=False), budget)
    if answer.outcome.state != "optimal":
        return [0.0] * len(rows)
    of_rows = answer.dual[: len(rows)]
    duals: list[float] = of_rows.tolist()
    return duals


def host_model(problem: Problem, rows: Sequence[Inequality], *, whole: bool) -> LinearProgram:
    """Return the model over host counts: columns n_p, then hosts to add a_p where they count; rows as given first."""
    model = ModelBuilder()
    n = model.block(problem.pools, prices_of(problem).first, problem.max_hosts, whole)
    lost = sorted({row.lost for row in rows} - {-1})
    runs = model.block(len(lost), 0.0, 1.0, whole)
    rooms = [row.room for row in rows]
    room = int_array(rooms).reshape(len(rows), problem.pools)
    of_room, inside = np.nonzero(room)
    lessening = [(r, row) for r, row in enumerate(rows) if row.less]
    lessened = [(r, lost.index(row.lost), row.less) for r, row in lessening]
    of_row, of_loss, less = int_array(lessened).reshape(-1, 3).T
    hosts: Terms = of_room, n[inside], room[of_room, inside]
    first: Terms = of_row, runs[of_loss], -less
    demand = int_array([row.demand for row in rows])
    model.above([hosts, first], len(rows), demand)
    for at, p in enumerate(lost):
        most = int(problem.max_hosts[p])
        model.at_most([(n[[p]], 1.0), (runs[[at]], -most)], 0.0)
    if problem.objective == "new_hosts":
        add_new_hosts(model, problem.existing, n, 1.0)
    return model.program()
