"""A Dask cluster that loses its workers: what is lost is sent again, and where nobody is left the tasks end."""

import threading

import pytest

from planner.scenarios import cluster as module
from planner.scenarios.cluster import Cluster, WorkersLostError
from planner.scenarios.nouns import Scenario
from planner.scenarios.sweeping import sweep
from planner.version import VERSION
from tests.scenarios.worker_tasks import double_slowly

distributed = pytest.importorskip("distributed")


@pytest.fixture
def workers():
    """A scheduler with two workers in processes of their own, which nobody starts again."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as cluster:
        yield cluster


def end(cluster, names):
    """End workers as a power cut does."""
    for name in names:
        cluster.workers[name].auto_restart = False
        cluster.workers[name].process.process._process.kill()


def runner_on(cluster, stopped=None):
    return Cluster(double_slowly, 2, cluster.scheduler_address, VERSION, stopped or threading.Event())


def test_when_all_workers_are_lost_the_rest_is_answered_with_that(workers, monkeypatch):
    monkeypatch.setattr(module, "_PATIENCE_S", 1.0)
    runner = runner_on(workers)
    answers = {}
    for position, answer in runner.run(range(8)):
        if not answers:
            end(workers, [0, 1])
        answers[position] = answer
    assert answers[0] == 0
    assert sorted(answers) == list(range(8))
    assert isinstance(answers[7], WorkersLostError)
    assert [isinstance(answer, WorkersLostError) for _, answer in runner.run([5])] == [True]
    runner.close()


def test_what_one_worker_takes_with_it_is_sent_again(workers):
    runner = runner_on(workers)
    answers = {}
    for position, answer in runner.run(range(5)):
        if not answers:
            end(workers, [0])
        answers[position] = answer
    runner.close()
    assert answers == {item: 2 * item for item in range(5)}


def test_what_all_tasks_share_is_sent_again_when_new_workers_come(workers):
    runner = runner_on(workers)
    answers = {}
    for position, answer in runner.run(range(5)):
        if not answers:
            end(workers, [0, 1])
            workers.scale(4)
        answers[position] = answer
    runner.close()
    assert answers == {item: 2 * item for item in range(5)}


def test_a_sweep_whose_workers_are_lost_keeps_what_it_has_and_ends(workers, twelve_sites, monkeypatch):
    monkeypatch.setattr(module, "_PATIENCE_S", 0.5)
    scenarios = [Scenario(f"without {site}", closed_sites=(site,)) for site in twelve_sites.site_ids]
    found = sweep(
        twelve_sites, scenarios, dask=workers.scheduler_address, solve_all=True, tell=lambda _done: end(workers, [0, 1])
    )
    assert found.complete
    lost = [point for point in found.points if point.figures is None]
    assert 0 < len(lost) < len(scenarios)
    assert all("workers of the Dask cluster were lost" in point.error for point in lost)
