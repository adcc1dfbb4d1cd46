"""The parts of the cut search: sites alike found by keys, first cuts, the relaxation that grows, moves towards r."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

import highspy
import numpy as np
import pytest
import scipy.sparse as sp
from scipy.optimize import linprog

from planner.fleet import Floats, Ints
from planner.sizing.host_counts.cut_master import _RELAXED_TIE, CutMaster, _Relaxed
from planner.sizing.host_counts.hall_conditions import HallCondition, hall_conditions
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance import classes as grouping
from planner.sizing.instance.classes import Keys, group
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import GrowingProgram, solve_arrays
from planner.sizing.solvers.model_builder import ModelBuilder
from tests.arrays import without_figures


def _problem(seed: int, **other: Any) -> Problem:
    """Sites of 1 to 3 clusters with some of 2 to 6 pools each."""
    rng = np.random.default_rng(seed)
    sites, pools = int(rng.integers(4, 40)), int(rng.integers(2, 7))
    pairs = [np.sort(rng.choice(pools, int(rng.integers(1, pools + 1)), replace=False)) for _ in range(sites)]
    pool = np.concatenate(pairs)
    some: dict[str, Any] = {
        "site_at": np.arange(sites),
        "pool_at": np.arange(pools),
        "clusters": rng.integers(1, 4, sites),
        "weights": rng.integers(1, 3, sites),
        "own_cost": np.full(sites, np.inf),
        "indptr": np.concatenate(([0], np.cumsum([len(one) for one in pairs]))),
        "pool": pool,
        "round_trips": without_figures(len(pool)),
        "margin_ms": np.zeros(len(pool)),
        "pair_cost": rng.integers(0, 2, len(pool)).astype(np.float64),
        "caps": rng.integers(3, 9, pools),
        "max_hosts": rng.integers(0, 9, pools),
        "existing": rng.integers(0, 3, pools),
        "host_cost": np.ones(pools),
        "hub": np.arange(pools),
        "amounts": {},
        "limits": (),
        "host_weight": None,
        "kept": np.zeros(sites, dtype=np.bool_),
        "objective": "hosts",
        "split": False,
    }
    return Problem(**(some | other))


def _signatures(problem: Problem, *, paid: bool, by_weight: bool) -> Iterator[object]:
    for s in range(problem.sites):
        mine = slice(problem.indptr[s], problem.indptr[s + 1])
        yield (
            int(problem.clusters[s]),
            int(problem.weights[s]) if by_weight else 0,
            tuple(problem.pool[mine].tolist()),
            tuple(problem.pair_cost[mine].tolist()) if paid else (),
        )


@pytest.mark.parametrize("objective", ["hosts", "cost"])
@pytest.mark.parametrize("poor_keys", [False, True])
def test_sites_are_grouped_as_by_a_dictionary(
    objective: str, poor_keys: bool, monkeypatch: pytest.MonkeyPatch, examples: int
) -> None:
    mixed = grouping._mixed

    def poor(values: Keys, salt: int) -> Keys:
        return mixed(values, salt) & np.uint64(3 if salt < 2 else 2**64 - 1)  # the first keys collide

    if poor_keys:
        monkeypatch.setattr(grouping, "_mixed", poor)
    for seed in range(2 * examples):
        problem = _problem(seed, objective=objective)
        known: dict[object, int] = {}
        wanted = [
            known.setdefault(one, len(known))
            for one in _signatures(problem, paid=objective == "cost", by_weight=bool(seed % 2))
        ]
        assert group(problem, by_weight=bool(seed % 2)).of_site.tolist() == wanted


def test_whether_all_fit_is_what_a_flow_says(examples: int) -> None:
    said = []
    for seed in range(10 * examples):
        problem = _problem(seed)
        clusters = hall_conditions(problem, group(problem, by_weight=False))[0]
        said.append(all_fit(problem))
        assert said[-1] == (clusters.flow(problem.max_hosts).missing == 0)
    assert {True, False} == set(said)


def _pools_of(condition: HallCondition, c: int) -> frozenset[int]:
    return frozenset(condition.classes.pool[condition.classes.indptr[c] : condition.classes.indptr[c + 1]].tolist())


@pytest.mark.parametrize("shift", [0, 61])  # pools in one number of 64 bits, and in two
def test_confined_classes_are_those_whose_pools_hold_no_others(shift: int, examples: int) -> None:
    for seed in range(2 * examples):
        small = _problem(seed)
        wider: dict[str, Ints] = {"caps": np.full(small.pools + shift, 5)} if shift else {}
        problem = dataclasses.replace(small, pool=small.pool + shift, **wider) if shift else small
        classes = group(problem, by_weight=False)
        condition = HallCondition(0, 1, classes, classes.demand * classes.items, problem.caps)
        sets = [_pools_of(condition, c) for c in range(classes.count)]
        least = {one for one in sets if not any(other < one for other in sets)}
        found = condition.confined_classes(1000)
        assert {frozenset(np.flatnonzero(cut.room).tolist()) for cut in found} == least
        for cut in found:
            inside = [c for c, one in enumerate(sets) if one == frozenset(np.flatnonzero(cut.room).tolist())]
            assert sorted(cut.classes.tolist()) == inside
            assert cut.demand == condition.demand[inside].sum()
        assert len(condition.confined_classes(1)) == 1


def test_cuts_of_a_flow_are_connected_and_add_up_to_what_is_missing(examples: int) -> None:
    short = 0
    for seed in range(2 * examples):
        problem = _problem(seed)
        hosts = np.random.default_rng(seed).integers(0, 3, problem.pools)
        flow = hall_conditions(problem, group(problem, by_weight=False))[0].flow(hosts)
        if not flow.missing:
            continue
        short += 1
        cuts = list(flow.cuts())
        of_least = [cut for cut in cuts if flow.source_side[cut.classes].all()]
        assert all(cut.shortfall(hosts) > 0 for cut in cuts)
        # Parts of the minimal minimum cut have no pool in common, and each lacks what it lacks.
        distinct = {cut.classes.tobytes(): cut for cut in of_least}.values()
        assert sum(cut.shortfall(hosts) for cut in distinct) >= flow.missing
        assert max(cut.shortfall(hosts) for cut in cuts) <= flow.missing
    assert short > examples // 5


def test_a_growing_program_is_what_it_would_be_from_the_start() -> None:
    rng = np.random.default_rng(5)
    cost, upper = rng.uniform(1, 2, 8), rng.uniform(2, 5, 8)
    model = ModelBuilder()
    model.block(8, cost, upper)
    program = GrowingProgram(model.program())
    matrix: Floats = np.zeros((0, 8))
    least: Floats = np.zeros(0)
    states = set()
    for _ in range(8):
        more, rhs = rng.integers(0, 3, (3, 8)).astype(np.float64), rng.uniform(5, 25, 3)
        program.add(sp.csr_array(more), rhs)
        matrix, least = np.vstack((matrix, more)), np.concatenate((least, rhs))
        answer = program.solve(SolveBudget())
        state, value, x = answer.outcome.state, answer.outcome.objective, answer.x
        again = linprog(cost, -matrix, -least, bounds=np.column_stack((np.zeros(8), upper)))
        states.add(state)
        assert (state == "optimal") == (again.status == 0)
        if state == "optimal":
            assert value == pytest.approx(again.fun)
            assert cost @ x == pytest.approx(value)
            assert (matrix @ x >= least - 1e-6).all()
    assert states == {"optimal", "infeasible"}


@pytest.mark.parametrize("objective", ["hosts", "new_hosts"])
def test_the_relaxation_in_columns_is_that_with_distances(objective: str, examples: int) -> None:
    compared = 0
    for seed in range(2 * examples):
        problem = _problem(seed, objective=objective)
        extra = 1000.0 if objective == "new_hosts" else 0.0
        reference = reference_counts(problem, np.zeros(len(problem.pool), dtype=np.bool_))
        master = CutMaster(problem, np.ones(problem.pools), extra, reference)
        condition = hall_conditions(problem, group(problem, by_weight=False))[0]
        for cut in condition.confined_classes(9):
            master.add(cut)
        hosts, bound = master.solve(SolveBudget(), exact=False)
        exact, value = master.solve(SolveBudget(), exact=True)
        assert bound <= value
        with_distances = solve_arrays(dataclasses.replace(master._program(_RELAXED_TIE), whole=None), SolveBudget())
        relaxed = _Relaxed(master, 0).solve(master._room, master._least, SolveBudget())
        assert (relaxed is None) == (with_distances.outcome.state == "infeasible")
        if relaxed is not None:
            assert relaxed[1] == pytest.approx(with_distances.outcome.objective, abs=1e-5)
        if hosts is None or exact is None:
            continue
        compared += 1
        assert all(row.room @ hosts >= row.demand for row in master.rows)
        assert (hosts <= problem.max_hosts).all()
        assert master.value(exact) == value <= master.value(hosts)
        cheaper, least = master.solve(SolveBudget(), exact=True, below=value)
        assert cheaper is None
        assert least == value
        cheaper, least = master.solve(SolveBudget(), exact=True, below=value + 1)
        assert cheaper is not None
        assert master.value(cheaper) == least == value
        nearer = master._nearer(hosts)
        assert master.value(nearer) == master.value(hosts)
        assert all(row.room @ nearer >= row.demand for row in master.rows)
        assert np.abs(nearer - reference).sum() <= np.abs(hosts - reference).sum() + 1e-9
    assert compared > examples // 2


def test_growing_program_that_loses_its_way_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """HiGHS may end without an answer when it goes on from the last basis, although there is one."""
    model = ModelBuilder()
    column = model.block(1, 1.0, 5.0)
    model.row([(column, 1.0)], 2.0, np.inf)
    program = GrowingProgram(model.program())
    highs, cleared = program._highs, []
    status, clear = highs.getModelStatus, highs.clearSolver
    monkeypatch.setattr(highs, "clearSolver", lambda: (cleared.append(True), clear())[1])
    monkeypatch.setattr(highs, "getModelStatus", lambda: status() if cleared else highspy.HighsModelStatus.kUnknown)
    answer = program.solve(SolveBudget())
    assert answer.outcome.state == "optimal"
    assert answer.x == pytest.approx([2.0])
    assert cleared == [True]
