"""Where every site is today, and the names of hosts: those in use, and new ones. For every room but `verify`."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from planner.fleet import Fleet, Ints
from planner.running import running_hosts


@dataclass(frozen=True)
class Today:
    """``hub`` and ``host`` map a site id to its current hub and host (``""`` where the host is not named).

    ``may_be`` are the ids of the pools that a site without a named host may be on. ``names`` lists, for each pool that
    was asked for, its hosts: those in use first, then new ones. ``named`` are all that Current or Hubs names.
    """

    hub: dict[str, str]
    host: dict[str, str]
    may_be: dict[str, tuple[str, ...]]
    names: list[list[str]]
    named: frozenset[str]

    def at(self, site: str) -> str | None:
        """Return the host of a site today, or its hub where the host is not named; None for neither."""
        return self.host.get(site) or self.hub.get(site) or None

    def existing(self, pool: int, count: int, used: Collection[str]) -> list[str]:
        """Return which ``used`` hosts of a pool (position in ``names``) are called existing, where ``count`` exist.

        Those in use come first, since Current may name more than Hubs counts.
        """
        names = self.names[pool]
        known = frozenset(names[:count])
        return sorted((name for name in names if name in used), key=lambda name: name not in known)[:count]

    def running(self, pool: int, count: int, used: Collection[str]) -> set[str]:
        """Return which ``used`` hosts of a pool run today: those called existing, and those that are named."""
        return {*self.existing(pool, count, used), *(self.named & frozenset(used))}

    def keeps(self, site: str, host: str, pool: str, *, runs: bool) -> bool:
        """Say whether a site that ``host`` of the pool ``pool`` carries stays where it is today.

        ``runs`` tells whether that host runs today, see `running`: a site without a named host may be on any that does.
        """
        named = self.host.get(site)
        return named == host if named else runs and pool in self.may_be.get(site, ())


def read_today(fleet: Fleet, pools: Ints, *, fit: Ints, most: Ints) -> Today:
    """Return today's assignment, and ``most`` (P,) names of hosts for each of the ``pools`` (P,), positions in Hubs.

    Names in use are of the pools that `planner.running` gives them, ``fit`` (P,) for a pool at most; new names are
    HUB-01, HUB-02, … without those in use. Hosts that are to be emptied carry nobody in a plan and have no name here.
    """
    current, running = fleet.current, running_hosts(fleet)
    rows = sorted(zip(current["site"], current["hub"], current["host"], strict=True))
    hub = {site: at for site, at, _ in rows}
    host = {site: name for site, _, name in rows}
    may_be = {site: pools for (site, at), pools in running.may_be.items() if hub[site] == at and not host[site]}
    taken = fleet.retiring_hosts | {name for _, name in running.pool}
    names: list[list[str]] = []
    fresh: dict[str, Iterator[str]] = {}
    for at, fitting, wanted in zip(pools.tolist(), fit.tolist(), most.tolist(), strict=True):
        pool, at_hub = fleet.pool_ids[at], fleet.pools["hub"].iloc[at]
        in_use = [name for name in running.hosts.get(pool, ()) if name not in fleet.retiring_hosts]
        new = fresh.setdefault(at_hub, _fresh(at_hub, taken))
        kept = in_use[:fitting]
        names.append([*kept, *itertools.islice(new, max(0, wanted - len(kept)))])
    return Today(hub, host, may_be, names, frozenset(name for _, name in running.pool))


def _fresh(hub: str, taken: Collection[str]) -> Iterator[str]:
    """Yield names for hosts at ``hub`` that are not ``taken``, letter case aside."""
    others = {name.casefold() for name in taken}
    return (name for number in itertools.count(1) if (name := f"{hub}-{number:02d}").casefold() not in others)
