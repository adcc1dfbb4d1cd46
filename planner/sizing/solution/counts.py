"""How many hosts of each pool run, what their classes send where, and what is known of that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from planner.arrays import int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.prices import prices_of
from planner.sizing.solution.served_aims import Worth

if TYPE_CHECKING:
    from planner.sizing.cover.certificate import FindEvidence
    from planner.sizing.host_counts.certificate import Forcing
    from planner.sizing.host_counts.hall_conditions import Cut


Aim = Literal["unserved_kept", "unserved_weight", "hosts", "new_hosts", "cost", "own", "own_cost"]


@dataclass(frozen=True, slots=True)
class Counts:
    """Values of the model: ``hosts`` (P,), ``flow`` (A,), ``unserved`` and ``own`` (K,), all whole; ``flow`` as solved.

    ``flow`` is whole on arcs of fixed classes; elsewhere only its class and pool sums matter.
    """

    hosts: Ints
    flow: Floats
    unserved: Ints
    own: Ints

    @classmethod
    def of_hosts(cls, classes: Classes, hosts: Ints, flow: Floats | None = None) -> Counts:
        """Return ``hosts`` (P,) and ``flow`` (A,), 0 where None: nobody is left out or on an own tie-breaker."""
        none = int_zeros(classes.count)
        sent = np.zeros(len(classes.pool)) if flow is None else flow
        return cls(hosts, sent, none, none)


@dataclass(frozen=True, slots=True)
class Sized:
    """Counts with what is known of them.

    ``value`` and ``bound`` are in the unit of the objective; the bound holds for plans that serve at
    least as much weight. ``weight_proven``: no plan serves more weight.
    """

    classes: Classes
    counts: Counts
    value: float
    bound: float
    weight_proven: bool
    word: str
    cuts: tuple[Cut, ...] | None = None  # of the cut search, where it answered
    forcing: Forcing | None = None  # sets that force the bound against the loss of a host, or nearly
    # Finds sets with standbys that force a value, where the search for spare room answered.
    evidence: FindEvidence | None = None
    uncovered: int = 0  # weight of sites without standby, where the policy asks for cover
    # Bounds on the weight that plans leave out, and on what those that leave out the least leave without a standby.
    least: Mapping[Worth, float] = field(default_factory=dict)


def objective_value(problem: Problem, classes: Classes, counts: Counts, aim: Aim | None = None) -> float:
    """Recompute an aim (the objective by default) from the counts: the solver's 17.999999999999993 hosts are 18."""
    own_price = np.where(counts.own > 0, classes.own_cost, 0.0)
    own = float(own_price @ counts.own)
    match aim or problem.objective:
        case "own":
            return float(counts.own.sum())
        case "own_cost":
            return own
        case "hosts":
            return float(counts.hosts.sum())
        case "cost":
            hosts = prices_of(problem).total(counts.hosts)
            pairs = float(classes.cost @ counts.flow)
            return hosts + pairs + own
        case _:
            return prices_of(problem).total(counts.hosts)
