"""The old fleet with some kinds of change made and the others not yet."""

from __future__ import annotations

from collections.abc import Callable, Collection

import pandas as pd

from planner import columns
from planner.columns import Sheet
from planner.differences.difference import Cause
from planner.differences.fleet_changes import RELEASES
from planner.fleet import Fleet
from planner.plan import Plan
from planner.typed_tables import typed_table

ORDER: tuple[Cause, ...] = ("policy", "prices", "hub", "release", "site", "latency", "closed", "opened")
"""The kinds of change in the order in which they are made."""


def fleet_between(old: Fleet, new: Fleet, made: Collection[Cause], standing: Plan) -> Fleet:
    """Return ``old`` with the changes of the kinds ``made``; its sites stand where ``standing`` has them.

    What has no counterpart comes with its row: the round-trip times of an opened site with the site.
    """
    sites = _sites(old, new, made)
    pools = _pools(old, new, made)
    pairs = _Pairs(old, new, "latency" in made)
    return new.replace(
        sites=sites,
        pools=pools,
        latency=pairs.of(old.latency, new.latency),
        samples=pairs.of(old.samples, new.samples),
        links=pairs.links(),
        prices=new.prices if "prices" in made else old.prices,
        policy=new.policy if "policy" in made else old.policy,
        current=_standing(standing, set(sites["site"]), set(pools["pool"])),
        findings=(),
        true_pools={},
    )


def _sites(old: Fleet, new: Fleet, made: Collection[Cause]) -> pd.DataFrame:
    table = _mixed(old.sites, new.sites, columns.SITES, "site", lambda column: _kind_of_site(column) in made)
    before, after = set(old.site_ids), set(new.site_ids)
    gone = table["site"].isin(before - after) & ("closed" in made)
    to_come = table["site"].isin(after - before) & ("opened" not in made)
    return table[~(gone | to_come)].reset_index(drop=True)


def _pools(old: Fleet, new: Fleet, made: Collection[Cause]) -> pd.DataFrame:
    def changed(column: str) -> bool:
        return ("release" if column in RELEASES else "hub") in made

    table = _mixed(old.pools, new.pools, columns.HUBS, "pool", changed)
    before, after = set(old.pool_ids), set(new.pool_ids)
    out = table["pool"].isin(before - after if "hub" in made else after - before)
    return table[~out].reset_index(drop=True)


def _kind_of_site(column: str) -> Cause:
    return "release" if column in RELEASES else "site"


def _mixed(
    old: pd.DataFrame, new: pd.DataFrame, sheet: Sheet, key: str, changed: Callable[[str], bool]
) -> pd.DataFrame:
    """Return the rows of both tables; of rows that both have, the columns that ``changed`` names come from ``new``."""
    names = list(sheet.names)
    before, after = (table[names].set_index(key, drop=False) for table in (old, new))
    both = before.index.intersection(after.index)
    shared = pd.DataFrame(
        {name: (after if changed(name) else before).loc[both, name].to_numpy() for name in names}, columns=names
    )
    alone = [table[~table[key].isin(both)] for table in (before, after)]
    whole = pd.concat([table for table in (shared, *alone) if len(table)], ignore_index=True)
    return typed_table(sheet, {name: list(whole[name]) for name in names}, len(whole))


class _Pairs:
    """Chooses rows about pairs of site and hub: of pairs that both fleets have, from one; the others from theirs."""

    def __init__(self, old: Fleet, new: Fleet, anew: bool) -> None:
        self._old, self._new, self._anew = old, new, anew
        self._sites = set(old.site_ids) & set(new.site_ids)
        self._hubs = set(old.hub_ids) & set(new.hub_ids)

    def of(self, old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
        """Return rows of a table with the columns site and hub."""
        if old is new:
            return old
        shared, other = (new, old) if self._anew else (old, new)
        rest = other[~(other["site"].isin(self._sites) & other["hub"].isin(self._hubs))]
        return _joined(shared, rest)

    def links(self) -> pd.DataFrame:
        """Return the links of one fleet, and those that lead to a site or hub that only the other has."""
        first, second = (self._new, self._old) if self._anew else (self._old, self._new)
        own = {*second.site_ids, *second.hub_ids} - {*first.site_ids, *first.hub_ids}
        rest = second.links[second.links["from"].isin(own) | second.links["to"].isin(own)]
        return _joined(first.links, rest)


def _joined(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    if second.empty:
        return first
    names = [name for name in first.columns if name in second]
    plain = {name: object for name in names if "category" in (first[name].dtype, second[name].dtype)}
    parts = [part[names].astype(plain) for part in (first, second) if len(part)]
    return pd.concat(parts, ignore_index=True)


def _standing(plan: Plan, sites: set[str], pools: set[str]) -> pd.DataFrame:
    """Return the sheet Current that ``plan`` would be, of the sites and pools that are there."""
    of_host = {host.host: host.pool for host in plan.host_list}
    rows = [
        (row.site, row.hub, row.host, of_host[row.host])
        for row in plan.assignments
        if row.site in sites and of_host.get(row.host) in pools
    ]
    values = zip(*rows, strict=True) if rows else ((), (), (), ())
    return typed_table(columns.CURRENT, dict(zip(columns.CURRENT.names, map(list, values), strict=True)), len(rows))
