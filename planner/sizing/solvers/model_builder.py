"""Linear and integer programs row by row: named blocks of columns, rows as they are numbered beside a formulation.

What hosts can carry is written here once, for every model over pools or single hosts:

    (2)  sum over the columns at pool p of k_x x  <=  C_p n_p              C_p clusters on a host, k_x of a unit of x
    (3)  sum over those of t clusters or more of x  <=  floor(C_p / t) n_p     for each size t that does not divide C_p
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import falses, indices, int_zeros, inverse
from planner.fleet import Bools, Floats, Ints
from planner.host_limits import HostLimit
from planner.sizing.instance.load_limits import Measure
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.highs import LinearProgram
from planner.sizing.solvers.matrices import by_columns

_MOST_SIZES = 12  # at a pool; rows (3) for more cost more than they cut

Numbers = Ints | Floats | Bools | float
Term = tuple[Ints, Numbers]  # columns and their coefficients
Terms = tuple[Ints, Ints, Numbers]  # row among those that are added, column, coefficient


class ModelBuilder:
    """A program as it grows; columns are 0 or more, and whole only where that is said."""

    def __init__(self) -> None:
        self._cost: list[Floats] = []
        self._lower: list[Floats] = []
        self._upper: list[Floats] = []
        self._whole: list[Bools] = []
        self._row: list[Ints] = []
        self._column: list[Ints] = []
        self._value: list[Floats] = []
        self._low: list[Floats] = []
        self._high: list[Floats] = []
        self.columns = self.rows = 0

    def block(
        self,
        size: int,
        cost: Numbers = 0.0,
        upper: Numbers = np.inf,
        whole: Bools | bool = False,
        lower: Numbers = 0.0,
    ) -> Ints:
        """Add ``size`` columns, of which each or those marked are ``whole`` numbers, and return their positions."""
        first = self.columns
        self.columns += size
        self._cost.append(_floats(cost, size))
        self._lower.append(_floats(lower, size))
        self._upper.append(_floats(upper, size))
        marks = np.asarray(whole, dtype=np.bool_)
        self._whole.append(np.broadcast_to(marks, size))
        return np.arange(first, self.columns)

    def row(self, terms: Sequence[Term], low: float, high: float) -> None:
        """Add one row: the sum of coefficient times column is between ``low`` and ``high``."""
        in_it: list[Terms] = [(int_zeros(len(columns)), columns, value) for columns, value in terms]
        self.add(in_it, 1, low, high)

    def at_most(self, terms: Sequence[Term], high: float) -> None:
        """Add one row: the sum of coefficient times column is at most ``high``."""
        self.row(terms, -np.inf, high)

    def at_least(self, terms: Sequence[Term], low: float) -> None:
        """Add one row: the sum of coefficient times column is at least ``low``."""
        self.row(terms, low, np.inf)

    def no_more(self, columns: Ints, others: Ints, high: Numbers = 0.0) -> None:
        """Add rows by which each of ``columns`` (n,) exceeds that of ``others`` (n,) by at most ``high``."""
        more: Terms = indices(columns), columns, 1.0
        less: Terms = indices(others), others, -1.0
        self.below([more, less], len(columns), high)

    def below(self, terms: Sequence[Terms], rows: int, high: Numbers = 0.0) -> Ints:
        """Add so many rows that come to ``high`` (rows,) at most, and return their positions."""
        return self.add(terms, rows, -np.inf, high)

    def above(self, terms: Sequence[Terms], rows: int, low: Numbers = 0.0) -> Ints:
        """Add so many rows that come to ``low`` (rows,) at least, and return their positions."""
        return self.add(terms, rows, low, np.inf)

    def equal(self, terms: Sequence[Terms], rows: int, value: Numbers = 0.0) -> Ints:
        """Add so many rows that come to ``value`` (rows,), and return their positions."""
        return self.add(terms, rows, value, value)

    def define(self, columns: Ints, terms: Sequence[Terms]) -> None:
        """Add rows by which each of ``columns`` (n,) is the sum of the ``terms`` of its row."""
        itself: Terms = indices(columns), columns, -1.0
        self.equal([*terms, itself], len(columns))

    def add(self, terms: Sequence[Terms], rows: int, low: Numbers, high: Numbers) -> Ints:
        """Add so many rows, with limits of shape (rows,), and return their positions."""
        first = self.rows
        self.rows += rows
        for row, columns, value in terms:
            self._row.append(first + row)
            self._column.append(columns)
            self._value.append(_floats(value, len(columns)))
        self._low.append(_floats(low, rows))
        self._high.append(_floats(high, rows))
        return np.arange(first, self.rows)

    def program(self, cost: Floats | None = None) -> LinearProgram:
        """Return it as arrays; ``cost`` (columns,) instead of those that blocks have."""
        row = _joined(self._row).astype(np.int64)
        column = _joined(self._column).astype(np.int64)
        shape = self.rows, self.columns
        matrix = by_columns(row, column, _joined(self._value), shape)
        whole = _joined(self._whole).astype(np.bool_)
        return LinearProgram(
            cost=_joined(self._cost) if cost is None else cost,
            lower=_joined(self._lower),
            upper=_joined(self._upper),
            matrix=matrix,
            row_lower=_joined(self._low),
            row_upper=_joined(self._high),
            whole=whole if whole.any() else None,
        )


def loosened(most: float, part: float = 1e-7) -> float:
    """Return ``most``, a limit on costs, raised by a small ``part``: what is as good to the last digit keeps it."""
    return most + part * max(1.0, abs(most))


def _floats(values: Numbers, size: int) -> Floats:
    return np.broadcast_to(np.asarray(values, dtype=np.float64), size)


def _joined(parts: Sequence[Ints | Floats | Bools]) -> Floats:
    """Return parts as one array, which is empty where there are none."""
    return np.concatenate([np.zeros(0), *parts])


@dataclass(frozen=True)
class Loads:
    """Columns that bring clusters to pools; all shapes (X,): ``pool``, ``column``, ``items`` clusters of a unit."""

    pool: Ints
    column: Ints
    items: Ints | Floats

    @property
    def terms(self) -> Terms:
        """The columns as terms of a row for each pool."""
        return self.pool, self.column, self.items

    def some(self, chosen: Ints) -> Loads:
        """Return the columns at the positions ``chosen`` (n,)."""
        return Loads(self.pool[chosen], self.column[chosen], self.items[chosen])

    def at(self, pools: Ints, count: int) -> Loads:
        """Return the columns at ``pools`` (n,), which are numbered in their order, of ``count`` pools in all."""
        number = inverse(pools, count)[self.pool]
        numbered = Loads(number, self.column, self.items)
        return numbered.some(np.flatnonzero(number >= 0))


def add_room(model: ModelBuilder, caps: Ints | Floats, hosts: Ints, loads: Sequence[Loads]) -> None:
    """Add (2) alone; ``hosts`` (P,) are the columns n_p, ``caps`` (P,) what one host carries.

    Single hosts are pools of their own here, with a column that says whether they run. Weight counts in the same way.
    """
    carried: Terms = indices(hosts), hosts, -caps
    model.below([*(load.terms for load in loads), carried], len(hosts))


def add_capacity(model: ModelBuilder, caps: Ints, hosts: Ints, loads: Sequence[Loads]) -> None:
    """Add (2) and (3); ``hosts`` (P,) are the columns n_p, ``caps`` (P,) the clusters that one host carries."""
    add_room(model, caps, hosts, loads)
    pool = np.concatenate([load.pool for load in loads])
    column = np.concatenate([load.column for load in loads])
    items = np.concatenate([load.items for load in loads])
    sizes, of_size = np.unique(items, return_inverse=True)
    uneven = falses((len(sizes), len(caps)))
    uneven[of_size, pool] = True
    uneven &= caps % sizes[:, None] > 0
    uneven[:, uneven.sum(axis=0) > _MOST_SIZES] = False
    for size, pools in zip(sizes.tolist(), uneven, strict=True):
        large = np.flatnonzero(items >= size)
        one_each = Loads(pool[large], column[large], np.ones(len(large)))
        counted = one_each.at(np.flatnonzero(pools), len(caps))
        on_one = caps[pools] // size
        add_room(model, on_one, hosts[pools], [counted])


def add_weight_on_hosts(model: ModelBuilder, most: float | None, hosts: Ints, load: Loads) -> None:
    """Add that a host carries ``most`` weight, unless it is None; ``hosts`` and ``load`` as in `add_room`."""
    if most is not None:
        of_host = np.full(len(hosts), most)
        add_room(model, of_host, hosts, [load])


def add_host_limits(model: ModelBuilder, limits: Sequence[HostLimit], hosts: Ints) -> None:
    """Add the ``limits`` on what hosts of several pools take together; ``hosts`` (P,) are the columns n_p."""
    for limit in limits:
        taken: Term = hosts[limit.pools], limit.each
        model.at_most([taken], limit.most)


def add_new_hosts(model: ModelBuilder, existing: Ints, hosts: Ints, cost: float) -> Ints:
    """Add columns a_p >= n_p - e_p of hosts to add, at their ``cost`` each.

    ``existing`` (P,) are e, ``hosts`` (P,) the columns n.
    """
    added = model.block(len(hosts), cost)
    model.no_more(hosts, added, existing)
    return added


def add_distance(model: ModelBuilder, columns: Ints, reference: Floats, cost: float) -> None:
    """Add columns t >= |x - r| for ``columns`` (n,) and a ``reference`` (n,), at their ``cost`` each."""
    away = model.block(len(columns), cost)
    each = indices(columns)
    itself: Terms = each, columns, 1.0
    below: Terms = each, away, 1.0
    model.no_more(columns, away, reference)
    model.above([itself, below], len(columns), reference)


def add_place_limits(
    model: ModelBuilder, problem: Problem, pool: Ints, column: Ints, amounts: Mapping[Measure, Floats], of: Ints
) -> None:
    """Add the limits on hubs and zones.

    A unit of each ``column`` (X,) brings the ``amounts`` (S,) of the site, or (K,) of the class, that it is ``of`` (X,)
    to its ``pool`` (X,).
    """
    for limit in problem.limits:
        inside = limit.pools[pool]
        if inside.any():
            brought = amounts[limit.measure][of[inside]]
            model.at_most([(column[inside], brought)], limit.most)
