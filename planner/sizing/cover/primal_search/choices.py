"""What it would break to put sites on each home with each standby: all choices of some sites at once, as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.state import NOWHERE, State


@dataclass(frozen=True)
class Choices:
    """Homes and standbys of n sites over the c hosts that they may use; the last standby is none at all.

    ``hosts``, ``pairs`` (n, c): filled up with -1. ``broken`` (n, c, c + 1): by how much more the constraints of
    `State` are broken with that home and standby than without the site, inf where the choice is not allowed.
    ``now`` (n,): the choice that the site has, as a position in ``broken[n].ravel()``, or -1.
    """

    sites: Ints
    hosts: Ints
    pairs: Ints
    broken: Floats
    now: Ints

    def flat(self) -> Floats:
        """Return ``broken`` with one row for each site, shape (n, c * (c + 1))."""
        return self.broken.reshape(len(self.sites), -1)

    def at(self, n: int, position: int) -> tuple[int, int]:
        """Return home and standby (-1 for none) of a position in the row of site ``n``."""
        wide = self.hosts.shape[1]
        h, g = divmod(position, wide + 1)
        return int(self.hosts[n, h]), int(self.hosts[n, g]) if g < wide else NOWHERE


def choices(state: State, sites: Ints, weight: Floats, bare: Bools) -> Choices:
    """Return what every choice of ``sites`` (n,) would break; ``weight`` (M,) counts what is broken on each host.

    ``bare`` (S,) marks the sites that may do without a standby.
    """
    ground = state.ground
    hosts, pairs = state.candidates(sites)
    none = hosts < 0
    at = np.where(none, 0, hosts)
    k = ground.problem.clusters[sites]
    home = state.home[sites]
    standby = state.standby[sites]
    here = hosts == home[:, None]
    there = (hosts == standby[:, None]) & (standby >= 0)[:, None]
    here &= ~none
    # Everything is counted as if the site were nowhere.
    extra = state.extra[:, at]  # (losses + 2, n, c)
    settled = np.flatnonzero((home >= 0) & (standby >= 0))
    if len(settled):
        row, column = np.nonzero(there[settled])
        n = settled[row]
        rows = state.lost_with(home[n])
        for w in range(rows.shape[1]):
            extra[rows[:, w], n, column] -= k[n]
    over = extra + (state.load[at] - here * k[:, None] - state.room[at])[None]
    more = np.maximum(0, over + k[:, None]) - np.maximum(0, over)
    homes = more.sum(axis=0) * weight[at] + _limits(state, sites, at, here)
    # What a loss of the home adds at the standby.
    lost = state.lost_with(at)  # (n, c, W)
    broken = np.full((len(sites), at.shape[1], at.shape[1] + 1), np.inf)
    if ground.losses is not None and lost.shape[2]:
        each = np.arange(len(sites))[:, None, None]
        added = sum(
            more[lost[:, :, w, None], each, np.arange(at.shape[1])[None, None, :]] for w in range(lost.shape[2])
        )
        pool = state.pool[at]
        may = ground.follows[pool[:, :, None], pool[:, None, :]] & ~none[:, None, :]
        may[:, np.arange(at.shape[1]), np.arange(at.shape[1])] = False
        broken[:, :, :-1] = np.where(may, added * weight[at][:, None, :], np.inf)
    broken[:, :, -1] = np.where(bare[sites], 0.0, np.inf)[:, None]
    barred = none | ~ground.problem.homes[np.where(pairs < 0, 0, pairs)]
    broken += np.where(barred, np.inf, homes)[:, :, None]
    return Choices(sites, hosts, pairs, broken, _now(here, there, standby, at.shape[1]))


def _limits(state: State, sites: Ints, at: Ints, here: Bools) -> Floats:
    """Return what homes on ``at`` (n, c) break of the limits on hubs, zones and the weight on hosts, (n, c)."""
    ground = state.ground
    broken = np.zeros(at.shape)
    home = state.home[sites]
    if ground.limits_of.shape[1]:
        rows = ground.limits_of[state.pool[at]]  # (n, c, V)
        brings = ground.brings[rows, sites[:, None, None]]
        mine = ground.limits_of[state.pool[np.where(home < 0, 0, home)]]
        counted = ((rows[:, :, :, None] == mine[:, None, None, :]) & (home >= 0)[:, None, None, None]).any(axis=3)
        free = ground.most[rows] - state.used[rows] + np.where(counted, brings, 0.0)
        broken += (np.maximum(0.0, brings - free) - np.maximum(0.0, -free)).sum(axis=2)
    if np.isfinite(ground.host_weight):
        weight = ground.weights[sites][:, None]
        free = ground.host_weight - state.carried[at] + here * weight
        broken += np.maximum(0.0, weight - free) - np.maximum(0.0, -free)
    return broken


def _now(here: Bools, there: Bools, standby: Ints, wide: int) -> Ints:
    """Return the position of each site's present choice, -1 where it has none."""
    if not wide:
        return np.full(len(here), -1, dtype=np.int64)
    h = np.where(here.any(axis=1), here.argmax(axis=1), -1)
    g = np.where(standby < 0, wide, there.argmax(axis=1))
    return np.where(h < 0, -1, h * (wide + 1) + g)
