"""What may be lost at once, and who may stand by for whom."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from planner.arrays import falses, indices, run_of, trues
from planner.fleet import Bools, Fleet, Ints
from planner.sizing.instance.problem import Problem, select


@dataclass(frozen=True)
class Losses:
    """The losses that a plan must survive: ``pools`` (L, P) marks what each of them hits.

    Of a pool hit by the loss of a ``host`` one host is gone, with any other kind all of its hosts are. ``room`` (P,):
    clusters that a host may carry while another is lost.
    """

    kind: Literal["host", "hub", "zone"]
    pools: Bools
    names: tuple[str, ...]
    room: Ints

    @cached_property
    def follows(self) -> Bools:
        """Whether a host of pool q may stand by for one of pool p, shape (P, P): no loss hits both of them.

        Another host of the same pool may stand by against the loss of a host.
        """
        from scipy.sparse import csr_array  # for which a plan without cover need not wait

        hit = csr_array(self.pools.astype(np.int32))
        apart: Bools = (hit.T @ hit).toarray() == 0
        if self.kind == "host":
            np.fill_diagonal(apart, True)
        return apart

    def coverable(self, indptr: Ints, pool: Ints, max_hosts: Ints, homes: Bools | None = None) -> Bools:
        """Say who has a home and another eligible pool that may follow it, shape (rows,).

        ``indptr`` (rows + 1,) and ``pool`` are the eligible pools of sites or of classes; ``homes``, of the same shape
        as ``pool``, says which of them may be a home, by default all. A pool runs ``max_hosts`` (P,) at most.
        """
        home = trues(len(pool)) if homes is None else homes
        found = falses(len(indptr) - 1)
        known: dict[tuple[bytes, bytes], bool] = {}
        for row in range(len(found)):
            at = run_of(indptr, row)
            mine, lives = pool[at], home[at]
            key = mine.tobytes(), lives.tobytes()
            if key not in known:
                may = self.partners(mine, max_hosts)
                known[key] = bool(may[lives].any())
            found[row] = known[key]
        return found

    def coverable_sites(self, problem: Problem) -> Bools:
        """Say which sites can have a standby, were there room, shape (S,)."""
        return self.coverable(problem.indptr, problem.pool, problem.max_hosts, problem.homes)

    def partners(self, pools: Ints, max_hosts: Ints) -> Bools:
        """Say which pairs of ``pools`` (n,), of ``max_hosts`` (P,) at most, may be home and standby, shape (n, n)."""
        runs = max_hosts[pools] > 0
        follows = self.follows[np.ix_(pools, pools)]
        may = follows & runs & runs[:, None]
        if self.kind == "host":
            # A pool follows itself only with a second host.
            at = indices(pools)
            may[at, at] &= max_hosts[pools] > 1
        return may


def read_losses(fleet: Fleet, problem: Problem) -> Losses:
    """Return the losses of the policy's ``cover``; a hub is a failure zone of its own.

    Losses that are part of a larger one are left out: who survives the larger survives them.
    """
    kind = fleet.policy.cover
    room = fleet.covering_caps[problem.pool_at]
    if kind == "host":
        names = tuple(fleet.pool_ids[at] for at in problem.pool_at)
        each = np.eye(problem.pools, dtype=np.bool_)
        return Losses("host", each, names, room)
    hit = {}
    for h in np.unique(problem.hub).tolist():
        hit[f"hub {fleet.hub_ids[h]}"] = problem.hub == h
    if kind == "zone":
        for zone, hubs in fleet.hubs_in_zones.items():
            hit[f"zone {zone}"] = np.isin(problem.hub, hubs)
    kept = _largest(hit)
    each = np.array([hit[name] for name in kept])
    return Losses("zone" if kind == "zone" else "hub", each, tuple(kept), room)


def all_at_once(problem: Problem) -> Losses:
    """Return one loss of everything: nobody can stand by for anybody."""
    return Losses("hub", trues((1, problem.pools)), ("all",), problem.caps)


def own_rather_than_bare(fleet: Fleet, problem: Problem) -> Problem:
    """Return the problem in which sites that could have no standby use their own tie-breaker where they may.

    On a shared host they would be served without cover, and cover comes before what the objective counts.
    """
    losses = read_losses(fleet, problem)
    coverable = losses.coverable_sites(problem)
    rather = problem.may_own & ~coverable
    if rather.any():
        return select(problem, ~rather[problem.site])
    return problem


def _largest(hit: dict[str, Bools]) -> list[str]:
    kept: list[str] = []
    for name in sorted(hit, key=lambda name: (-int(hit[name].sum()), name)):
        if not any((hit[name] <= hit[larger]).all() for larger in kept):
            kept.append(name)
    return kept
