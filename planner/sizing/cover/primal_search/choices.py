"""What it would break to put sites on each home with each standby: all choices of some sites at once, as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import falses, indices, int_array, minus_ones
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

    def worse_than_now(self) -> Floats:
        """Return by how much more is broken than with the choice that each site has, shape (n, c * (c + 1))."""
        broken = self.flat()
        of_now = broken[indices(broken), self.now]
        return broken - of_now[:, None]

    def at(self, n: int, position: int) -> tuple[int, int]:
        """Return home and standby (-1 for none) of a position in the row of site ``n``."""
        hosts = self.hosts[n].tolist()
        home, standby = divmod(position, len(hosts) + 1)
        return hosts[home], [*hosts, NOWHERE][standby]


def choices(state: State, sites: Ints, weight: Floats, bare: Bools) -> Choices:
    """Return what every choice of ``sites`` (n,) would break; ``weight`` (M,) counts what is broken on each host.

    ``bare`` (S,) marks the sites that may do without a standby.
    """
    ground = state.ground
    hosts, pairs = state.candidates(sites)
    none = hosts < 0
    at = np.where(none, 0, hosts)
    clusters = ground.problem.clusters[sites].astype(np.int32)
    home = state.home[sites]
    standby = state.standby[sites]
    followed = standby >= 0
    here = ~none & (hosts == home[:, None])
    there = ~none & (hosts == standby[:, None])
    # Everything is counted as if the site were nowhere.
    extra = state.extra.astype(np.int32)[:, at]  # (losses + 2, n, c); half as large, half the time
    settled = np.flatnonzero((home >= 0) & followed)
    if len(settled):
        row, column = np.nonzero(there[settled])
        n = settled[row]
        rows = state.lost_with(home[n])
        for of_loss in rows.T:
            extra[of_loss, n, column] -= clusters[n]
    brought = clusters[:, None]
    full = (state.load - state.room)[at] - here * brought
    before = extra + full.astype(np.int32)
    over = np.maximum(0, before)
    more = np.maximum(0, before + brought) - over
    homes = more.sum(axis=0) * weight[at]
    homes += _limits(state, sites, at, here)
    barred = none | ~ground.problem.homes[np.where(none, 0, pairs)]
    at_home = np.where(barred, np.inf, homes)
    without = np.where(bare[sites], 0.0, np.inf)
    behind = _at_standbys(state, at, none, more, weight)
    no_standby = np.broadcast_to(without[:, None, None], (*at.shape, 1))
    broken = at_home[:, :, None] + np.concatenate((behind, no_standby), axis=2)
    return Choices(sites, hosts, pairs, broken, _now(here, there, followed))


def choices_of(state: State, s: int, bare: Bools) -> Choices:
    """Return what every choice of the one site ``s`` would break, as `choices` does."""
    one = int_array([s])
    return choices(state, one, np.ones(state.hosts), bare)


def broken_on(state: State, s: int, homes: Ints) -> Floats:
    """Return by how much more is broken with site ``s``, which is nowhere, at home on each of ``homes`` (g,), (g,)."""
    at_home = _more(state, s, homes)
    one = int_array([s])
    nowhere = falses((1, len(homes)))
    limits = _limits(state, one, homes[None], nowhere)
    broken: Floats = at_home.sum(axis=0) + limits[0]
    return broken


def broken_behind(state: State, s: int, homes: Ints, standbys: Ints) -> Floats:
    """Return what is broken besides on each of ``standbys`` (h,), shape (g, h); inf for those that may not follow."""
    behind = _more(state, s, standbys)
    lost = state.lost_with(homes)
    added = behind[lost].sum(axis=1)
    may = state.may_follow(homes[:, None], standbys[None])
    return np.where(may, added, np.inf)


def _more(state: State, s: int, hosts: Ints) -> Ints:
    """Return the clusters above its room that site ``s`` adds to each of ``hosts`` (n,) by loss, (losses + 2, n)."""
    full = (state.load - state.room)[hosts]
    before = state.extra[:, hosts] + full
    clusters = state.ground.problem.clusters[s]
    after = np.maximum(0, before + clusters)
    more: Ints = after - np.maximum(0, before)
    return more


def reserve_added(state: State, s: int, homes: Ints, standbys: Ints, peak: Ints) -> Ints:
    """Return the clusters that each of ``standbys`` (h,) must keep free in addition behind ``homes`` (g,), (g, h).

    What a loss of another home already needs there, ``peak`` (M,), is free for site ``s``, too.
    """
    lost = state.lost_with(homes)
    sent = state.extra[lost[:, :, None], standbys]  # (g, W, h)
    needed = sent.max(axis=1, initial=0) + state.ground.problem.clusters[s]
    added: Ints = np.maximum(0, needed - peak[standbys])
    return added


def _at_standbys(state: State, at: Ints, none: Bools, more: Ints, weight: Floats) -> Floats:
    """Return what a loss of the first host adds at the second, for hosts ``at`` (n, c), shape (n, c, c).

    ``none`` (n, c) marks places without a host; ``more`` (losses + 2, n, c): what the site adds under each loss.
    """
    sites, wide = at.shape
    each = np.arange(sites)[:, None, None]
    lost = np.moveaxis(state.lost_with(at), 2, 0)  # (W, n, c)
    added = np.zeros((sites, wide, wide))
    for rows in lost:
        added += more[rows[:, :, None], each, np.arange(wide)]
    homes, standbys = at[:, :, None], at[:, None, :]
    may = state.may_follow(homes, standbys) & ~none[:, None, :]
    return np.where(may, added * weight[standbys], np.inf)


def _limits(state: State, sites: Ints, at: Ints, here: Bools) -> Floats:
    """Return what homes on ``at`` (n, c) break of the limits on hubs, zones and the weight on hosts, (n, c)."""
    ground = state.ground
    broken = np.zeros(at.shape)
    home = state.home[sites]
    if ground.limits_of.shape[1]:
        rows = ground.limits_of[state.pool[at]]  # (n, c, V)
        brings = ground.brings[rows, sites[:, None, None]]
        somewhere = home >= 0
        limits = ground.limits_of[state.pool[home]]
        counted_in = np.where(somewhere[:, None], limits, -1)
        same = rows[:, :, :, None] == counted_in[:, None, None, :]
        own = np.where(same.any(axis=3), brings, 0.0)
        free = (ground.most - state.used)[rows]
        broken += _added(brings, free + own).sum(axis=2)
    if np.isfinite(ground.host_weight):
        weight = ground.weights[sites][:, None]
        free_weight = (ground.host_weight - state.carried)[at]
        broken += _added(weight, free_weight + here * weight)
    return broken


def _added(more: Floats, free: Floats) -> Floats:
    """Return by how much ``more`` raises what is above a limit that leaves ``free``, which is below 0 above it."""
    before = np.maximum(0.0, -free)
    return np.maximum(0.0, more - free) - before


def _now(here: Bools, there: Bools, followed: Bools) -> Ints:
    """Return the position of each site's present choice, -1 where it has none."""
    sites, wide = here.shape
    if not wide:
        return minus_ones(sites)
    home = here.argmax(axis=1)
    standby = np.where(followed, there.argmax(axis=1), wide)
    position = home * (wide + 1) + standby
    return np.where(here.any(axis=1), position, -1)
