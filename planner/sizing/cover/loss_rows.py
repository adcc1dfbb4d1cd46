"""Which inequality do homes and host counts lack, when what a loss displaces finds no room? Hall's condition again.

After loss l, the displaced clusters of class c, D_c = sum_{p in l} k_c (f_cp - w_cp), go to eligible pools that the
loss does not hit, into what is free there. A set S of classes that does not find room gives the row

    sum_{c in S} D_c  <=  sum_{q in N(S), not hit} (R_q n_q - L_q),     L_q = sum_c k_c f_cq

with w_cp the sites left without standby and R_q the clusters a host may carry during a loss: linear in f, w and n.

Against the loss of one host of pool p with n_p = m hosts, a pool follows itself. Added up over its m hosts, which
its sites can be dealt to so evenly that nothing is lost by adding up, the same condition reads

    sum_{c in S} D_c  <=  m sum_{q in N(S), q != p} (R_q n_q - L_q)  +  m (R_p (m - 1) - L_p) + L_p.

Sources: P. Hall, J. London Math. Soc. 10 (1935) 26-30; cuts by max-flow min-cut as in `host_counts.hall_conditions`;
rows on demand, J. F. Benders, Numerische Mathematik 4 (1962) 238-252.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from planner.arrays import falses, rounded, totals
from planner.fleet import Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.host_counts.condition_flows import Flow
from planner.sizing.host_counts.hall_conditions import HallCondition
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem


@dataclass(frozen=True)
class Row:
    """The condition of classes ``inside`` (a set S) under loss ``loss``; ``pools`` is N(S) without what is hit.

    ``hosts``: hosts that run in the lost pool, where one host is lost; else 0.
    """

    loss: int
    inside: Ints
    pools: Ints
    hosts: int = 0

    def counted(self, classes: Classes, losses: Losses) -> Floats:
        """Return how often the row counts a cluster on each arc, shape (A,)."""
        inside = falses(classes.count)
        inside[self.inside] = True
        lost = losses.pools[self.loss][classes.pool]
        displaced = inside[classes.of_arc] & lost
        elsewhere = np.isin(classes.pool, self.pools)
        times = displaced + max(1.0, self.hosts) * elsewhere
        if self.hosts:
            times = times + (self.hosts - 1.0) * lost
        return np.asarray(times, dtype=np.float64)

    @property
    def key(self) -> tuple[int, int, bytes]:
        """What tells rows apart."""
        return self.loss, self.hosts, self.inside.tobytes()


def missing_rows(
    problem: Problem, classes: Classes, losses: Losses, hosts: Ints, flow: Floats, uncovered: Floats
) -> Iterator[Row]:
    """Yield rows that ``hosts`` (P,), ``flow`` and ``uncovered`` (A,), all whole, fail; none if all find room."""
    for at, running, short in _short_losses(problem, classes, losses, hosts, flow, uncovered):
        for cut in short.cuts():
            if cut.shortfall(np.ones(problem.pools, dtype=np.int64)) > 0:
                yield _row(classes, losses, at, cut.classes, running)


def _short_losses(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    hosts: Ints,
    flow: Floats,
    uncovered: Floats,
) -> Iterator[tuple[int, int, Flow]]:
    """Yield the losses that do not find room: position, hosts of the pool that loses one (else 0), maximum flow."""
    each = classes.arc_items
    load = totals(classes.pool, flow * each, problem.pools)
    covered = (flow - uncovered) * each
    free = np.maximum(0.0, losses.room * hosts - load)
    for at, hit in enumerate(losses.pools):
        displaced = np.where(hit[classes.pool], covered, 0.0)
        demand = totals(classes.of_arc, displaced, classes.count)
        if demand.sum() < 0.5:
            continue
        room, running = np.where(hit, 0.0, free), 0
        if losses.kind == "host":
            p = int(np.argmax(hit))
            running = int(hosts[p])
            room = running * room
            others = running - 1
            left = running * (losses.room[p] * others - load[p])
            room[p] = max(0.0, left + load[p])
        condition = HallCondition(at, 1, classes, rounded(demand), rounded(room))
        found = condition.flow(np.ones(problem.pools, dtype=np.int64))
        if found.missing > 0:
            yield at, running, found


def first_rows(classes: Classes, losses: Losses, coverable: Ints) -> Iterator[Row]:
    """Yield the rows of all coverable classes together, one for each loss of more than one host."""
    if losses.kind != "host" and len(coverable):
        for at in range(len(losses.pools)):
            yield _row(classes, losses, at, coverable, 0)


def _row(classes: Classes, losses: Losses, at: int, inside: Ints, running: int) -> Row:
    member = falses(classes.count)
    member[inside] = True
    reached = falses(losses.pools.shape[1])
    reached[classes.pool[member[classes.of_arc]]] = True
    left = reached & ~losses.pools[at]
    return Row(at, inside, np.flatnonzero(left), running)
