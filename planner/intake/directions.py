"""One path, two ends: rows that name a hub as site and a site as hub, and places that are both.

A round-trip time belongs to a path and should not depend on the end that asks. Where both ends have measured and do
not agree, the larger figure counts, and a finding says so.
"""

import numpy as np
import pandas as pd

from planner.fleet import Bools, Floats, Ints
from planner.intake.findings import Findings
from planner.intake.ids import KnownIds, factorized
from planner.intake.tables import TypedSheet

TOLERANCE = 0.10  # relative difference that repeated measurements show anyway: our convention, no source


def turned(read: TypedSheet, sites: KnownIds, hubs: KnownIds, findings: Findings) -> tuple[TypedSheet, Bools]:
    """Return the rows with site and hub in their places, and which of them had to be turned round."""
    site_codes, site_names = factorized(read.frame["site"])
    wrong_sites = np.array([name not in sites.at and name in hubs.at for name in site_names], dtype=np.bool_)
    if not len(site_codes) or not wrong_sites.any():
        return read, np.zeros(len(read.frame), dtype=np.bool_)
    hub_codes, hub_names = factorized(read.frame["hub"])
    wrong_hubs = np.array([name not in hubs.at and name in sites.at for name in hub_names], dtype=np.bool_)
    turn: Bools = wrong_sites[site_codes] & wrong_hubs[hub_codes]
    for position in np.flatnonzero(turn).tolist():
        findings.note("direction_reversed", read.place(position, "site"), "site")
    site, hub = (read.frame[name].to_numpy(dtype=object) for name in ("site", "hub"))
    swapped = read.frame.assign(
        site=pd.Series(np.where(turn, hub, site), dtype=object), hub=pd.Series(np.where(turn, site, hub), dtype=object)
    )
    return TypedSheet(read.sheet, read.raw, read.match, swapped), turn


def mirrors(site: Ints, hub: Ints, sites: KnownIds, hubs: KnownIds) -> tuple[Ints, Ints]:
    """Return positions of rows that state one path from its two ends, each path once.

    The two places of such a path are sites and hubs alike; a place is no path to itself.
    """
    hub_of_site = np.array([hubs.at.get(name, -1) for name in sites.ids], dtype=np.int64)
    site_of_hub = np.array([sites.at.get(name, -1) for name in hubs.ids], dtype=np.int64)
    rows = np.flatnonzero((hub_of_site[site] >= 0) & (site_of_hub[hub] >= 0) & (hub_of_site[site] != hub))
    width = max(len(hubs.ids), 1)
    keys = site[rows] * width + hub[rows]
    back = site_of_hub[hub[rows]] * width + hub_of_site[site[rows]]
    order = np.argsort(keys)
    at = np.searchsorted(keys[order], back)
    found = (at < len(keys)) & (keys[order][np.minimum(at, len(keys) - 1)] == back) if len(keys) else at < 0
    one, other = rows[found], rows[order[at[found]]]
    once = one < other
    return one[once], other[once]


def differences(one: Floats, other: Floats) -> Floats:
    """Return by what share the larger of two figures exceeds the smaller; 0 where either is unknown."""
    low, high = np.fmin(one, other), np.fmax(one, other)
    known = ~(np.isnan(one) | np.isnan(other))
    share: Floats = np.divide(high - low, low, out=np.zeros(len(low)), where=known & (low > 0))
    return share
