"""Necessary conditions on host counts under a loss, as flows: everybody must find room among what is left.

The relaxation lets all sites move after the loss, not only those that were hit. So the cuts of these conditions hold
for every plan with cover, and what they force is a lower bound.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from planner.arrays import falses
from planner.fleet import Bools, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.host_counts.condition_flows import Flow
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem


@dataclass(frozen=True)
class OneHostLost(HallCondition):
    """The condition that one host of pool ``lost`` is gone.

    Any set of classes has some host; so one that may be lost comes on top of the clusters, the smallest at least.
    """

    lost: int

    def flow(self, hosts: Ints) -> Flow:
        """Return a maximum flow with ``hosts`` (P,) running but for one of the lost pool."""
        left = hosts.copy()
        left[self.lost] -= min(1, left[self.lost])
        return super().flow(left)

    def cut(self, classes: Ints) -> Cut:
        """Return the cut of a set of classes, with the smallest host that it can use on top of its demand."""
        cut = super().cut(classes)
        used = cut.room[cut.room > 0].tolist()
        smallest = min(used, default=0)
        return dataclasses.replace(cut, demand=cut.demand + smallest)


def loss_conditions(
    problem: Problem, classes: Classes, losses: Losses, first: int, bare: Bools | None = None
) -> list[HallCondition]:
    """Return one condition for each loss, numbered from ``first``; sites that are ``bare`` (S,) have no standby.

    A class that cannot have a standby is asked only about losses that hit none of its pools, and not at all where
    `OneHostLost` counts on top what every class must be able to do without.
    """
    coverable = losses.coverable(classes.indptr, classes.pool, problem.max_hosts, classes.home)
    if bare is not None:
        coverable[classes.of_site[bare]] = False
    found: list[HallCondition] = []
    for at, hit in enumerate(losses.pools):
        touched = falses(classes.count)
        touched[classes.of_arc[hit[classes.pool]]] = True
        asked = coverable if losses.kind == "host" else coverable | ~touched
        demand = np.where(asked, classes.demand * classes.items, 0)
        if losses.kind == "host":
            lost = int(np.argmax(hit))
            found.append(OneHostLost(first + at, 1, classes, demand, losses.room, lost))
        else:
            room = np.where(hit, 0, losses.room)
            found.append(HallCondition(first + at, 1, classes, demand, room))
    return found
