"""Whole host counts under inequalities, and the exact lower bound that multipliers give on their price.

    minimise  sum_p price_p max(0, n_p - free_p)
    (1)  sum_p room_rp n_p - sum of less_rp over p with n_p >= 1  >=  least_r      for each row r
    (2)  n_p whole, low_p <= n_p <= high_p       for each pool p; the whole model has 0 and the most hosts that fit

Any multipliers y >= 0 on the rows bound it from below (A. M. Geoffrion, Mathematical Programming Study 2 (1974)
82-114), whoever chose them:

    sum_r y_r least_r + sum_p min over n in low_p..high_p of (price_p max(0, n - free_p) - w_p n + v_p (n >= 1))

with w_p = sum_r y_r room_rp and v_p = sum_r y_r less_rp; the minimum is at low_p, at high_p, at free_p or at 1, since
the term is linear between these.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from planner.plan import Objective
from planner.verify.inventory import Pool

Exact = npt.NDArray[np.object_]  # Python ints: they neither round nor overflow


@dataclass(frozen=True)
class Row:
    """``sum_p room_p n_p >= least``; ``room`` is by pool id, pools that it does not name have none.

    ``less``: by pool id, how much less its first host counts; never more than its room.
    """

    room: dict[str, int]
    least: int
    less: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class HostModel:
    """Rows over host counts. Shapes: R rows, P pools.

    ``room`` (R, P), ``less`` (R, P), ``least`` (R,). ``price`` (P,) of one host in units of 1 / ``unit``; the first
    ``free`` (P,) cost nothing; ``most`` (P,) fit. ``whole``: the objective counts hosts, so that bounds on it round up.
    """

    room: Exact
    less: Exact
    least: Exact
    price: Exact
    unit: int
    free: Exact
    most: Exact
    whole: bool

    def value(self, hosts: Exact) -> Fraction:
        """Return the objective of ``hosts`` (P,)."""
        return Fraction(int((self.price * np.maximum(0, hosts - self.free)).sum()), self.unit)

    def met(self, hosts: Exact) -> npt.NDArray[np.bool_]:
        """Say of each row whether ``hosts`` (P,) meets it, shape (R,)."""
        return np.asarray(self.room @ hosts - self.less @ _some(hosts) >= self.least, dtype=np.bool_)

    def rounded(self, bound: Fraction) -> Fraction:
        """Return a bound on the objective rounded up to the next value that the objective can have."""
        return Fraction(math.ceil(bound)) if self.whole else bound

    def bound(self, multipliers: Exact, denominator: int, low: Exact, high: Exact) -> Fraction:
        """Return what the rows add up to, exactly and rounded, for counts between ``low`` and ``high`` (P,).

        Row r is weighed with ``multipliers[r] / denominator``, which must not be negative.
        """
        nothing = np.zeros_like(self.most)
        weight = multipliers @ self.room * self.unit if len(self.least) else nothing
        first = multipliers @ self.less * self.unit if len(self.least) else nothing

        def priced(hosts: Exact) -> Exact:
            paid = self.price * denominator * np.maximum(0, hosts - self.free)
            return np.asarray(paid - weight * hosts + first * _some(hosts))

        bends = [np.minimum(np.maximum(at, low), high) for at in (self.free, nothing + 1)]
        cheapest = np.minimum.reduce([priced(hosts) for hosts in (low, high, *bends)])
        total = int((multipliers * self.least).sum()) * self.unit + int(cheapest.sum())
        return self.rounded(Fraction(total, denominator * self.unit))

    def added_up(self, multipliers: Sequence[Fraction]) -> Fraction:
        """Return `bound` of the whole model with one multiplier of 0 or more for each row."""
        denominator = math.lcm(*(y.denominator for y in multipliers))
        numerators = exact([int(y * denominator) for y in multipliers])
        return self.bound(numerators, denominator, np.zeros_like(self.most), self.most)


def _some(hosts: Exact) -> Exact:
    """Return 1 where there is a host, else 0."""
    return np.minimum(hosts, 1)


def exact(values: Sequence[int]) -> Exact:
    """Return ints as an array that keeps them exact."""
    return np.array(values, dtype=object)


def host_model(pools: Sequence[Pool], objective: Objective, rows: Sequence[Row]) -> HostModel | None:
    """Return the model of ``rows`` over the counts of ``pools``; None for a price that is unknown or negative."""
    money = [pool.host_cost if objective == "cost" else 1.0 for pool in pools]
    if not all(math.isfinite(price) and price >= 0 for price in money):
        return None
    # Money as the fleet holds it, in binary fractions: their least common denominator makes all prices whole.
    prices = [Fraction(price) for price in money]
    unit = math.lcm(*(price.denominator for price in prices))

    def by_pool(of: Sequence[Mapping[str, int]]) -> Exact:
        return exact([each.get(pool.pool, 0) for each in of for pool in pools]).reshape(len(rows), len(pools))

    return HostModel(
        room=by_pool([row.room for row in rows]),
        less=by_pool([row.less for row in rows]),
        least=exact([row.least for row in rows]),
        price=exact([int(price * unit) for price in prices]),
        unit=unit,
        free=exact([pool.existing_hosts if objective == "new_hosts" else 0 for pool in pools]),
        most=exact([pool.max_hosts for pool in pools]),
        whole=objective != "cost",
    )
