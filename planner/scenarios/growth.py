"""Random growth: new sites are copies of sites drawn at random, so that they are spread and connected as those are.

Drawing with replacement from what was observed is the bootstrap (B. Efron, Annals of Statistics 7 (1979) 1-26).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.errors import InputError
from planner.fleet import Finding, Fleet, Ints
from planner.scenarios.sweep_results import Growth

# The tables with a row for each pair, and their columns that name a site.
_ENDS = {"latency": ("site",), "samples": ("site",), "links": ("from", "to")}
_MOST_ROWS = 20_000_000


def grown(fleet: Fleet, growth: Growth) -> Fleet:
    """Return ``fleet`` with as many more sites and clusters as ``growth`` says; the same seed draws the same.

    A copy has its model's row, round-trip times, samples and links; it is in nobody's service today. Sites that are
    also hubs, or run no cluster, are not drawn. Further clusters go to sites that run some, drawn by how many they run.
    Raises InputError where the copies would need more than 20 million rows of latency, samples or links.
    """
    rng = np.random.default_rng(growth.seed)
    hubs = set(fleet.hub_ids)
    models = np.array([s for s, name in enumerate(fleet.site_ids) if name not in hubs and fleet.clusters[s] > 0])
    if not len(models):
        return fleet
    if growth.sites:
        drawn = rng.choice(models, growth.sites)
        _refuse_too_many_rows(fleet, drawn)
        fleet = _with_copies(fleet, drawn)
    if growth.clusters:
        share = np.where(fleet.clusters > 0, fleet.clusters, 0) / fleet.clusters.sum()
        more = np.bincount(rng.choice(len(share), growth.clusters, p=share), minlength=len(share))
        fleet = fleet.replace(sites=fleet.sites.assign(clusters=(fleet.clusters + more).astype(np.float64)))
    return fleet


def _refuse_too_many_rows(fleet: Fleet, models: Ints) -> None:
    names, times = np.unique(models, return_counts=True)
    copies = pd.Series(times, index=[fleet.site_ids[s] for s in names], dtype="int64")
    for name, ends in _ENDS.items():
        table: pd.DataFrame = getattr(fleet, name)
        rows = sum(int(table[end].astype(object).map(copies).fillna(0).sum()) for end in ends if len(table))
        if rows > _MOST_ROWS:
            message = f"{len(models):,} more sites need {rows:,} more rows of {name}; the limit is {_MOST_ROWS:,}."
            raise InputError((Finding("error", "growth", "grow", message, "Let fewer sites be added."),))


def _with_copies(fleet: Fleet, models: Ints) -> Fleet:
    """Return the fleet with a copy of each site at ``models`` (positions, repeats allowed)."""
    taken = {*fleet.site_ids, *fleet.hub_ids}
    fresh = (name for number in range(1, len(taken) + len(models) + 1) if (name := f"NEW-{number:04d}") not in taken)
    copies = pd.DataFrame({"model": [fleet.site_ids[s] for s in models], "copy": [next(fresh) for _ in models]})
    rows = fleet.sites.iloc[models].assign(site=copies["copy"].to_numpy())
    changes: dict[str, Any] = {"sites": pd.concat((fleet.sites, rows), ignore_index=True)}
    for name, ends in _ENDS.items():
        table: pd.DataFrame = getattr(fleet, name)
        if len(table):
            changes[name] = _repeated(table, ends, copies)
    return fleet.replace(**changes)


def _repeated(table: pd.DataFrame, ends: tuple[str, ...], copies: pd.DataFrame) -> pd.DataFrame:
    """Return ``table`` with the rows of each model once more under the name of its copy."""
    table = table.assign(**{end: table[end].astype(object) for end in ends})
    parts = [table]
    for end in ends:
        both = table.merge(copies, left_on=end, right_on="model")
        parts.append(both.assign(**{end: both["copy"]})[list(table.columns)])
    return pd.concat(parts, ignore_index=True)
