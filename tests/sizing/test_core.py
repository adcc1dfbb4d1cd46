"""The parts that make large and priced problems small: how many hosts it takes, and which pairs can matter."""

from __future__ import annotations

import itertools
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.fleet import Ints
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.assignment.linking_rows import fewest_hosts, relax
from planner.sizing.assignment.reduced_cost_fixing import solve_core
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import objective_value
from planner.sizing.solvers.budget import SolveBudget
from tests.arrays import without_figures
from tests.how_many import seeds


@given(st.lists(st.tuples(st.integers(1, 9), st.integers(0, 3)), min_size=1, max_size=4), st.integers(0, 60))
def test_fewest_hosts_is_the_least_number_that_holds_all_clusters(pools: list[tuple[int, int]], clusters: int) -> None:
    caps, most = (np.array(side, dtype=np.int64) for side in zip(*pools, strict=True))
    every = [
        sum(hosts) for hosts in itertools.product(*(range(m + 1) for m in most)) if np.dot(hosts, caps) >= clusters
    ]
    found = fewest_hosts(cast("Problem", SimpleNamespace(caps=caps, max_hosts=most)), clusters)
    assert found == (min(every) if every else most.sum())


def _priced(seed: int) -> Problem:
    """Sites of 1 to 4 clusters at 3 to 5 pools, every pair eligible at a cost of its own; room for everybody."""
    rng = np.random.default_rng(seed)
    sites, pools = int(rng.integers(6, 14)), int(rng.integers(3, 6))
    pairs = sites * pools
    clusters = rng.integers(1, 5, sites)
    zeros: Any = np.zeros(pairs)
    whole: Ints = np.arange(sites)
    return Problem(
        site_at=whole,
        pool_at=np.arange(pools),
        clusters=clusters,
        weights=np.ones(sites, dtype=np.int64),
        own_cost=np.full(sites, np.inf),
        indptr=np.arange(sites + 1) * pools,
        pool=np.tile(np.arange(pools), sites),
        round_trips=without_figures(pairs),
        margin_ms=zeros,
        pair_cost=rng.integers(1, 40, pairs).astype(np.float64),
        caps=rng.integers(8, 16, pools),
        max_hosts=np.full(pools, 3),
        existing=np.zeros(pools, dtype=np.int64),
        host_cost=rng.integers(5, 60, pools).astype(np.float64),
        hub=np.arange(pools),
        amounts={},
        limits=(),
        host_weight=None,
        kept=np.zeros(sites, dtype=np.bool_),
        objective="cost",
        split=False,
    )


@pytest.mark.parametrize("seed", seeds(20, 20))
def test_core_finds_the_optimum_of_the_whole_model(seed: int) -> None:
    problem = _priced(seed)
    classes = group(problem, by_weight=False)
    whole, _ = FlowModel(problem, classes, serve_all=True).solve("cost", SolveBudget())
    solved = solve_core(problem, classes, SolveBudget())
    assert solved is not None
    assert solved[0].state == "optimal"
    # The whole model also has rows (3) on sizes, which a plan meets and the core may not.
    value = objective_value(problem, classes, solved[1])
    assert value == pytest.approx(solved[0].objective)
    assert value <= whole.objective + 1e-6
    relaxed = relax(problem, classes, SolveBudget())
    assert relaxed is not None
    assert relaxed.bound <= value + 1e-6


def test_something_that_cannot_be_stopped_begins_only_with_time_for_it() -> None:
    assert SolveBudget().allows(1e9)
    assert SolveBudget(seconds=60).allows(30)
    assert not SolveBudget(seconds=10).allows(30)
