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
    followed = standby >= 0
    there = (hosts == standby[:, None]) & followed[:, None]
    here &= ~none
    # Everything is counted as if the site were nowhere.
    extra = state.extra.astype(np.int32)[:, at]  # (losses + 2, n, c); half as large, half the time
    settled = np.flatnonzero((home >= 0) & followed)
    if len(settled):
        row, column = np.nonzero(there[settled])
        n = settled[row]
        rows = state.lost_with(home[n])
        for of_loss in rows.T:
            extra[of_loss, n, column] -= k[n]
    living = state.load[at] - here * k[:, None]
    over = extra + (living - state.room[at]).astype(np.int32)
    before = np.maximum(0, over)
    more = np.maximum(0, over + k[:, None].astype(np.int32)) - before
    homes = more.sum(axis=0) * weight[at] + _limits(state, sites, at, here)
    wide = at.shape[1]
    broken = np.full((len(sites), wide, wide + 1), np.inf)
    if ground.losses is not None:
        broken[:, :, :-1] = _at_standbys(state, at, none, more, weight)
    without = np.where(bare[sites], 0.0, np.inf)
    broken[:, :, -1] = without[:, None]
    pair = np.where(pairs < 0, 0, pairs)
    barred = none | ~ground.problem.homes[pair]
    at_home = np.where(barred, np.inf, homes)
    broken += at_home[:, :, None]
    return Choices(sites, hosts, pairs, broken, _now(here, there, standby, wide))


def choices_of(state: State, s: int, bare: Bools) -> Choices:
    """Return what every choice of the one site ``s`` would break, as `choices` does."""
    return choices(state, np.array([s]), np.ones(state.hosts), bare)


def reserve_added(state: State, s: int, at: Ints, peak: Ints) -> Ints:
    """Return the clusters that each of the hosts ``at`` (c,) must keep free in addition, home by standby, (c, c).

    What a loss of another home already needs there, ``peak`` (M,), is free for site ``s``, too.
    """
    sent = state.extra[state.lost_with(at)][:, :, at].max(axis=1, initial=0)
    added: Ints = np.maximum(0, sent + state.ground.problem.clusters[s] - peak[at])
    return added


def _at_standbys(state: State, at: Ints, none: Bools, more: Ints, weight: Floats) -> Floats:
    """Return what a loss of the first host adds at the second, for hosts ``at`` (n, c), shape (n, c, c).

    ``none`` (n, c) marks places without a host; ``more`` (losses + 2, n, c): what the site adds under each loss.
    """
    lost = state.lost_with(at)  # (n, c, W)
    if not lost.shape[2]:
        return np.full((*at.shape, at.shape[1]), np.inf)
    each, each_host = np.arange(len(at))[:, None, None], np.arange(at.shape[1])
    added = sum(more[lost[:, :, w, None], each, each_host] for w in range(lost.shape[2]))
    pool = state.pool[at]
    follows = state.ground.follows[pool[:, :, None], pool[:, None, :]]
    may = follows & ~none[:, None, :]
    may[:, each_host, each_host] = False
    counted = added * weight[at][:, None, :]
    return np.where(may, counted, np.inf)


def _limits(state: State, sites: Ints, at: Ints, here: Bools) -> Floats:
    """Return what homes on ``at`` (n, c) break of the limits on hubs, zones and the weight on hosts, (n, c)."""
    ground = state.ground
    broken = np.zeros(at.shape)
    home = state.home[sites]
    if ground.limits_of.shape[1]:
        rows = ground.limits_of[state.pool[at]]  # (n, c, V)
        brings = ground.brings[rows, sites[:, None, None]]
        somewhere = home >= 0
        mine = ground.limits_of[state.pool[np.where(somewhere, home, 0)]]
        same = rows[:, :, :, None] == mine[:, None, None, :]
        counted = same.any(axis=3) & somewhere[:, None, None]
        own = np.where(counted, brings, 0.0)
        free = ground.most[rows] - state.used[rows] + own
        broken += _added(brings, free).sum(axis=2)
    if np.isfinite(ground.host_weight):
        weight = ground.weights[sites][:, None]
        free = ground.host_weight - state.carried[at] + here * weight
        broken += _added(weight, free)
    return broken


def _added(more: Floats, free: Floats) -> Floats:
    """Return by how much ``more`` raises what is above a limit that leaves ``free``, which is below 0 above it."""
    before = np.maximum(0.0, -free)
    return np.maximum(0.0, more - free) - before


def _now(here: Bools, there: Bools, standby: Ints, wide: int) -> Ints:
    """Return the position of each site's present choice, -1 where it has none."""
    if not wide:
        return np.full(len(here), -1, dtype=np.int64)
    somewhere = here.any(axis=1)
    h = np.where(somewhere, here.argmax(axis=1), -1)
    g = np.where(standby < 0, wide, there.argmax(axis=1))
    return np.where(h < 0, -1, h * (wide + 1) + g)
