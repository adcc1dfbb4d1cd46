"""How many clusters are down, or without a third vote, at the same moment: exact, with shared parts as shared.

Hubs are independent of each other. Given that a hub and its uplink are up, its hosts are independent; given a host's
state its sites are; given a site's uplink its clusters are. So the number of clusters is a convolution of sites within
a host, of hosts within a hub and of hubs, with a mixture over the two states of the shared part at each level:

    host(z) = up * prod_i [(1 - w_i) B_i(z; d1) + w_i B_i(z; d0)] + down * prod_i B_i(z; d0)
    hub(z)  = up * prod_h host_h(z) + down * prod_h prod_i B_i(z; d0)

where w is the site uplink's down time and B the binomial of a site's clusters, of which each is down with probability
d1 while the third vote is there and d0 while it is not.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from planner.fleet import Bools, Floats
from planner.resilience.uptime.down_times import MINUTES_A_YEAR, Together
from planner.resilience.uptime.rows import Rows
from planner.resilience.uptime.votes import binomial, either_down

_MOST_SPLIT = 8  # sites on several hosts: each doubles the work, since its uplink is shared by those hosts
_DUST = 1e-30  # probability below which the end of a row of numbers is cut off
_STEPS = (1, 2, 3, 5)


def split_sites(rows: Rows) -> Bools:
    """Mark the rows of sites that use several hosts."""
    _, which, often = np.unique(rows.site, return_inverse=True, return_counts=True)
    split: Bools = often[which] > 1
    return split


def together(rows: Rows) -> tuple[Together, ...] | None:
    """Return rows for 1, 2, 3, 5, 10, 20, ... clusters; None where more sites are split over hosts than is feasible."""
    if len(np.unique(rows.site[split_sites(rows)])) > _MOST_SPLIT:
        return None
    node = rows.share("node")
    down = _at_least(number_hit(rows, node**2, 1.0 - (1.0 - node) ** 2))
    without = _at_least(number_hit(rows, np.zeros_like(node), np.ones_like(node)))
    total = int(rows.clusters.sum())
    steps = sorted({s * 10**e for s in _STEPS for e in range(8) if s * 10**e < total} | {total})
    return tuple(Together(n, _minutes(down, n), _minutes(without, n)) for n in steps)


def number_hit(rows: Rows, with_vote: Floats, without_vote: Floats) -> Floats:
    """Return the probabilities that 0, 1, 2, ... clusters are hit at one moment, its end cut off where it is nought.

    ``with_vote`` and ``without_vote`` (rows,) are the probabilities that a cluster is hit while its third vote is, or
    is not, within reach. The uplinks of sites that use several hosts are conditioned on one state after the other.
    """
    split = split_sites(rows) & (rows.host >= 0)
    sites = np.unique(rows.site[split])
    total = np.zeros(1)
    for state in product((False, True), repeat=len(sites)):
        probability, uplink = 1.0, rows.share("site_uplink").copy()
        for site, is_down in zip(sites, state, strict=True):
            mine = rows.site == site
            w = float(uplink[mine][0])
            probability *= w if is_down else 1.0 - w
            uplink[mine] = 1.0 if is_down else 0.0
        if probability > 0:
            total = _added(total, probability * _given(rows, uplink, with_vote, without_vote))
    return total


def _given(rows: Rows, uplink: Floats, with_vote: Floats, without_vote: Floats) -> Floats:
    """Return the distribution for given shares of time that site uplinks are down."""
    lost = [binomial(int(k), float(d)) for k, d in zip(rows.clusters, without_vote, strict=True)]
    whole = np.ones(1)
    for i in np.flatnonzero(rows.host < 0):
        whole = _times(whole, lost[i])
    for hub in np.unique(rows.hub[rows.host >= 0]):
        reachable, cut = np.ones(1), np.ones(1)
        at_hub = rows.hub == hub
        for host in np.unique(rows.host[at_hub]):
            members = np.flatnonzero(rows.host == host)
            up, down = np.ones(1), np.ones(1)
            for i in members:
                down = _times(down, lost[i])
                kept = binomial(int(rows.clusters[i]), float(with_vote[i]))
                up = _times(up, (1.0 - uplink[i]) * kept + uplink[i] * lost[i])
            share = float(rows.share("host")[members[0]])
            reachable = _times(reachable, _added((1.0 - share) * up, share * down))
            cut = _times(cut, down)
        first = np.flatnonzero(at_hub)[0]
        broken = float(either_down(rows.share("hub")[first], rows.share("hub_uplink")[first]))
        whole = _times(whole, _added((1.0 - broken) * reachable, broken * cut))
    return whole


def _times(one: Floats, other: Floats) -> Floats:
    """Return the distribution of a sum, without the dust at its end."""
    both = np.convolve(one, other)
    worth = np.flatnonzero(both > _DUST)
    return both[: worth[-1] + 1] if len(worth) else both[:1]


def _added(one: Floats, other: Floats) -> Floats:
    longer, shorter = (one, other) if len(one) >= len(other) else (other, one)
    total = longer.copy()
    total[: len(shorter)] += shorter
    return total


def _at_least(exactly: Floats) -> Floats:
    """Return the probabilities of at least 0, 1, 2, ...; added up from the small end, which keeps its digits."""
    return np.cumsum(exactly[::-1])[::-1]


def _minutes(at_least: Floats, number: int) -> float:
    return float(at_least[number]) * MINUTES_A_YEAR if number < len(at_least) else 0.0
