"""Room for every loss, in any model of homes and standbys over pools, or over single hosts as pools of their own.

    sum over the columns y of a home in l with standby q of k_y y  +  sum over the columns x at home in q of k_x x
        <=  R_q n_q        for every loss l, and each q that it sends somebody to

k clusters of a unit, R_q clusters that a host of q may carry during a loss, n_q hosts of q.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, add_room


@dataclass(frozen=True)
class CoveredHomes:
    """Columns y (Y,) that have a standby: the pool of their ``home``, and what they ``send`` to that of the standby."""

    home: Ints
    send: Loads


def add_room_for_losses(
    model: ModelBuilder, lost: Bools, homes: Loads, standbys: CoveredHomes, hosts: Ints, room: Ints | Floats
) -> None:
    """Add the rows; ``lost`` (L, P) marks the pools that each loss hits, ``homes`` are the columns x.

    ``hosts`` (P,) are the columns n, ``room`` (P,) is R.
    """
    for hit in lost:
        sent = np.flatnonzero(hit[standbys.home])
        arriving = standbys.send.some(sent)
        asked = np.unique(arriving.pool)
        loads = [load.at(asked, len(hosts)) for load in (arriving, homes)]
        add_room(model, room[asked], hosts[asked], loads)
