"""Every host a pool of its own: what a straight model needs to pack kept-together sites, at the price of its size."""

from __future__ import annotations

import dataclasses

import numpy as np

from planner.sizing.instance.problem import Problem


def hosts_one_by_one(problem: Problem) -> Problem:
    """Return the problem with each pool of M hosts as M pools of one host."""
    most = problem.max_hosts
    of_host = np.repeat(np.arange(problem.pools), most)
    first = np.cumsum(most) - most
    copies = most[problem.pool]
    pair = np.repeat(np.arange(len(problem.pool)), copies)
    nth = np.arange(len(pair)) - np.repeat(np.cumsum(copies) - copies, copies)
    sizes = np.bincount(problem.site[pair], minlength=problem.sites)
    return dataclasses.replace(
        problem,
        pool_at=problem.pool_at[of_host],
        indptr=np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
        pool=first[problem.pool[pair]] + nth,
        rtt_ms=problem.rtt_ms[pair],
        pair_cost=problem.pair_cost[pair],
        evidence=problem.evidence[pair],
        caps=problem.caps[of_host],
        max_hosts=np.ones(len(of_host), dtype=np.int64),
        existing=(np.arange(len(of_host)) - first[of_host] < problem.existing[of_host]).astype(np.int64),
        host_cost=problem.host_cost[of_host],
    )
