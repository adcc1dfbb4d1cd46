"""A Dask cluster that loses its workers: what is lost is sent again, and where nobody is left the tasks end."""

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.scenarios import cluster as module
from planner.scenarios.cluster import Cluster, WorkersLostError
from planner.scenarios.sweep_results import Scenario
from planner.scenarios.sweeping import sweep
from planner.scenarios.vary import axis_of, combined
from planner.version import VERSION
from tests.scenarios.test_sweep import substance
from tests.scenarios.worker_tasks import double_slowly

distributed = pytest.importorskip("distributed")
ROOT = Path(__file__).parents[2]


class Workers:
    """A scheduler, and workers in processes of their own that nobody starts again."""

    def __init__(self, cluster):
        self.scheduler_address = cluster.scheduler_address
        self.running, self.started = {}, 0

    def start(self, number):
        """Start workers until so many run, and wait until the scheduler knows these and no other."""
        worker = ["distributed.cli.dask_worker", self.scheduler_address, "--no-nanny", "--nthreads", "1"]
        command = [sys.executable, "-m", *worker, "--no-dashboard"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        path = {**os.environ, "PYTHONPATH": str(ROOT)}
        while len(self.running) < number:
            self.started += 1
            name = f"worker-{self.started}"
            self.running[name] = subprocess.Popen([*command, "--name", name], cwd=ROOT, env=path, **quiet)
        give_up = time.monotonic() + 120
        with distributed.Client(self.scheduler_address) as client:
            while {one["name"] for one in client.scheduler_info()["workers"].values()} != self.running.keys():
                assert time.monotonic() < give_up
                time.sleep(0.05)

    def end(self, number=None):
        """End the first of them, or all, as a power cut does."""
        for name in list(self.running)[:number]:
            process = self.running.pop(name)
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def started():
    """A scheduler for all tests here: processes that load Dask take longer than what they are asked."""
    with distributed.LocalCluster(
        n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0", silence_logs=50, processes=True
    ) as cluster:
        workers = Workers(cluster)
        yield workers
        workers.end()


@pytest.fixture
def workers(started):
    """A scheduler with two workers."""
    started.start(2)
    return started


@pytest.fixture
def few_workers(started):
    """A scheduler with a worker or two, which are all lost: each takes two seconds to start."""
    started.start(1)
    return started


def runner_on(workers):
    return Cluster(double_slowly, 2, workers.scheduler_address, VERSION, threading.Event())


def test_the_table_is_that_of_this_process(workers, twelve_sites):
    scenarios = combined(
        [axis_of("latency_budget_ms=15,20"), axis_of("cover=none,hub")],
        [Scenario("usual"), Scenario("odd", closed_hubs=("NONE",))],
    )
    here, there = (sweep(twelve_sites, scenarios, **how) for how in ({"jobs": 1}, {"dask": workers.scheduler_address}))
    assert substance(there) == substance(here)


def test_when_all_workers_are_lost_the_rest_is_answered_with_that(few_workers, monkeypatch):
    monkeypatch.setattr(module, "_PATIENCE_S", 1.0)
    runner = runner_on(few_workers)
    answers = {}
    for position, answer in runner.run(range(8)):
        if not answers:
            few_workers.end()
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
            workers.end(1)
        answers[position] = answer
    runner.close()
    assert answers == {item: 2 * item for item in range(5)}


def test_what_all_tasks_share_is_sent_again_when_new_workers_come(few_workers):
    runner = runner_on(few_workers)
    answers = {}
    for position, answer in runner.run(range(5)):
        if not answers:
            few_workers.end()
            few_workers.start(1)
        answers[position] = answer
    runner.close()
    assert answers == {item: 2 * item for item in range(5)}


def test_a_sweep_whose_workers_are_lost_keeps_what_it_has_and_ends(few_workers, twelve_sites, monkeypatch):
    monkeypatch.setattr(module, "_PATIENCE_S", 0.5)
    scenarios = [Scenario(f"without {site}", closed_sites=(site,)) for site in twelve_sites.site_ids]
    found = sweep(
        twelve_sites,
        scenarios,
        dask=few_workers.scheduler_address,
        solve_all=True,
        tell=lambda _done: few_workers.end(),
    )
    assert found.complete
    lost = [point for point in found.points if point.figures is None]
    assert 0 < len(lost) < len(scenarios)
    assert all(point.error.startswith("All workers of the Dask cluster were lost.") for point in lost)


def test_workers_that_are_lost_before_anything_was_asked_are_told(few_workers, monkeypatch):
    def lost(self, _function):
        raise distributed.comm.CommClosedError("Stream is closed")

    monkeypatch.setattr(distributed.Client, "run", lost)
    with pytest.raises(InputError, match="were lost before they could say their version: Stream is closed"):
        runner_on(few_workers)
