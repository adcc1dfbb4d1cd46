"""Pairs of sites and pools as a DataFrame for rules and aims of callers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from planner.fleet import Bools, Fleet, Floats, Ints
from planner.latency.round_trips import EVIDENCE
from planner.own import OwnAim, OwnRule

_AT_ONCE = 100_000  # pairs; with all columns of both sheets more would take much memory


def judged(fleet: Fleet, rule: OwnRule, site: Ints, pool: Ints, known: Any) -> tuple[Bools, list[str]]:
    """Return which pairs ``rule`` breaks, shape (pairs,), and the reasons of those, in order.

    ``site`` and ``pool`` are positions in the fleet's tables. ``known`` has ``rtt_ms``, ``loss_percent``, ``evidence``
    (positions in `EVIDENCE`) and ``measured_at`` as arrays of the same shape.
    """
    masks, reasons = [np.zeros(0, dtype=np.bool_)], []
    for pairs in _frames(fleet, site, pool, known):
        mask, why = rule.broken(pairs)
        masks.append(mask)
        reasons += [why[at] for at in np.flatnonzero(mask)]
    return np.concatenate(masks), reasons


def costs_of_pairs(fleet: Fleet, aim: OwnAim, site: Ints, pool: Ints, known: Any) -> Floats:
    """Return what each pair costs by ``aim``, shape (pairs,); arguments as of `judged`."""
    return np.concatenate([np.zeros(0), *(aim.costs(pairs) for pairs in _frames(fleet, site, pool, known))])


_KNOWN = ("rtt_ms", "loss_percent", "evidence", "measured_at")


def _frames(fleet: Fleet, site: Ints, pool: Ints, known: Any) -> Iterator[pd.DataFrame]:
    for first in range(0, len(site), _AT_ONCE):
        part = slice(first, first + _AT_ONCE)
        yield _frame(fleet, site[part], pool[part], {name: getattr(known, name)[part] for name in _KNOWN})


def _frame(fleet: Fleet, site: Ints, pool: Ints, known: dict[str, Any]) -> pd.DataFrame:
    names = np.array([*fleet.pool_ids, ""], dtype=object)[:-1]
    names = np.array([fleet.true_pools.get(name, name) for name in names], dtype=object)
    hubs = np.array([*fleet.hub_ids, ""], dtype=object)[:-1]
    columns: dict[str, Any] = {
        "site": np.array([*fleet.site_ids, ""], dtype=object)[:-1][site],
        "hub": hubs[fleet.hub_of_pool[pool]],
        "pool": names[pool],
        "rtt_ms": known["rtt_ms"],
        "budget_ms": fleet.budgets_ms[site],
        "loss_percent": known["loss_percent"],
        "evidence": np.where(np.isnan(known["rtt_ms"]), "unknown", np.array(EVIDENCE, dtype=object)[known["evidence"]]),
        "measured_at": known["measured_at"],
        "clusters": fleet.clusters[site],
    }
    for of, table, at in (("site", fleet.sites, site), ("pool", fleet.pools, pool)):
        columns |= {f"{of}.{name}": table[name].to_numpy()[at] for name in table.columns}
    return pd.DataFrame(columns)
