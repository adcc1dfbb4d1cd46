"""What limits how many hosts run, of one pool and of several together: the one place that states it for all rooms.

`planner.verify` has its own reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from planner.arrays import Ints
    from planner.fleet_arrays import FleetArrays


@dataclass(frozen=True)
class HostLimit:
    """Hosts at ``place`` take at most ``most`` together, a host of each of ``pools`` (n,) its part of ``each`` (n,).

    ``pools`` are positions; ``each`` is 1 or more. ``column`` of the sheet Hubs states the limit.
    """

    column: str
    place: str
    pools: Ints
    each: Ints
    most: int

    def taken(self, hosts: Ints) -> int:
        """Return what ``hosts``, one number for every pool there is, take of it."""
        return int(self.each @ hosts[self.pools])

    def said(self) -> str:
        """Say the limit in a few words."""
        return f"{self.column} at {self.place}"


def host_limits(fleet: FleetArrays) -> Iterator[HostLimit]:
    """Yield every limit on the hosts of ``fleet``, with positions in its table of pools.

    Hosts that are to be emptied keep their place until they are gone, and are not among those that are counted here.
    """
    one = np.ones(1, dtype=np.int64)
    for p, most in enumerate((fleet.stated_max_hosts - fleet.retiring_of_pool).tolist()):
        yield HostLimit("max_hosts", f"pool {fleet.pool_ids[p]}", np.array([p]), one, max(0, most))
    yield from _rack_units(fleet)


def _rack_units(fleet: FleetArrays) -> Iterator[HostLimit]:
    """Yield what the hosts at each hub may take of its rack; hubs that state no rack units have no such limit."""
    stated = fleet.pools["rack_units"].to_numpy(dtype=np.float64)
    each = fleet.pools["host_rack_units"].fillna(fleet.policy.host_rack_units).to_numpy().astype(np.int64)
    for h, name in enumerate(fleet.hub_ids):
        pools = np.flatnonzero(fleet.hub_of_pool == h)
        if np.isfinite(stated[pools]).any():
            left = int(np.nanmin(stated[pools])) - int(each[pools] @ fleet.retiring_of_pool[pools])
            yield HostLimit("rack_units", f"hub {name}", pools, each[pools], max(0, left))
