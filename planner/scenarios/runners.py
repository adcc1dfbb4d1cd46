"""Ways to run many tasks: in this process, in processes of their own, or on a Dask cluster that exists already.

A runner takes ``work(item, shared)`` and yields (position, answer) in the order in which answers come; where a task
could not be run at all, the answer is the exception. ``shared`` goes to every worker once.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol

from planner.errors import InputError
from planner.fleet import Finding

Work = Callable[..., Any]
Answer = tuple[int, Any]


class Runner(Protocol):
    """What all ways to run have in common."""

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield the answer of each item with its position."""

    def close(self) -> None:
        """Let go of workers; running tasks are told to stop."""


class Here:
    """One after the other in this process."""

    def __init__(self, work: Work, shared: Any) -> None:
        self._work, self._shared = work, shared

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield the answers in order."""
        for position, item in enumerate(items):
            yield position, self._work(item, self._shared)

    def close(self) -> None:
        """Do nothing."""


# What a worker process holds between tasks.
_held: dict[str, Any] = {}


def _prepare(shared: Any, stopped: Any) -> None:
    """Set up a worker: Ctrl-C is the parent's to answer, and a worker does not outlive its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _held.update(shared=shared, stopped=stopped)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(1)


def _call(work: Work, item: Any) -> Any:
    return work(item, _held["shared"], _held["stopped"])


class Processes:
    """``jobs`` worker processes. One that dies costs only its own task, which is tried once more by itself."""

    def __init__(self, work: Work, shared: Any, jobs: int) -> None:
        self._work, self._shared, self._jobs = work, shared, jobs
        self._context = multiprocessing.get_context("spawn")
        self._stopped = self._context.Event()
        self._pool: ProcessPoolExecutor | None = None

    def _new_pool(self, jobs: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            jobs, mp_context=self._context, initializer=_prepare, initargs=(self._shared, self._stopped)
        )

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield answers as they come; only as many tasks are handed out as there are workers."""
        waiting = deque(enumerate(items))
        running: dict[Future[Any], tuple[int, Any]] = {}
        while waiting or running:
            self._pool = self._pool or self._new_pool(min(self._jobs, len(items)))
            broken = self._hand_out(waiting, running)
            done = set(running) if broken else wait(running, return_when=FIRST_COMPLETED).done
            suspects = []
            for future in done:
                position, item = running.pop(future)
                if broken or isinstance(future.exception(), BrokenProcessPool):
                    suspects.append((position, item))
                else:
                    yield position, future.exception() or future.result()
            if suspects:
                # The pool is lost, and nobody knows which of its tasks broke it.
                suspects += running.values()
                running.clear()
                self._drop_pool()
                for position, item in suspects:
                    yield position, self._alone(item)

    def _hand_out(self, waiting: deque[tuple[int, Any]], running: dict[Future[Any], tuple[int, Any]]) -> bool:
        """Give every free worker a task; say whether the pool turned out to be broken."""
        assert self._pool is not None  # made just before
        while waiting and len(running) < self._jobs:
            try:
                running[self._pool.submit(_call, self._work, waiting[0][1])] = waiting[0]
            except BrokenProcessPool:
                if not running:
                    self._drop_pool()
                    self._pool = self._new_pool(self._jobs)
                    continue
                return True
            waiting.popleft()
        return False

    def _alone(self, item: Any) -> Any:
        with self._new_pool(1) as pool:
            try:
                return pool.submit(_call, self._work, item).result()
            except BrokenProcessPool as error:
                return error

    def _drop_pool(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def close(self) -> None:
        """Tell running tasks to stop and wait for the workers to end."""
        self._stopped.set()
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)


class Cluster:
    """The workers of a Dask scheduler at ``address``; castingvote must be installed on them in the same version."""

    def __init__(self, work: Work, shared: Any, address: str, version: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            hint = 'Install it: pip install "castingvote[dask]".'
            raise InputError((_finding("dask_missing", "Dask is not installed here.", hint),)) from None
        try:
            self._client: Any = Client(address, timeout=10)  # type: ignore[no-untyped-call]
        except (OSError, ValueError) as error:
            message = f"No Dask scheduler answers at {address}: {error or type(error).__name__}."
            raise InputError((_finding("dask_unreachable", message, "Check the address and the network."),)) from error
        self._work = work
        self._check(version)
        scatter: Any = self._client.scatter
        self._shared = scatter(shared, broadcast=True, hash=False)

    def _check(self, version: str) -> None:
        """Refuse a cluster without workers, or with workers of another version."""
        try:
            theirs = self._client.run(worker_version)
        except ModuleNotFoundError:
            theirs = {"": "none"}
        hint = "Start workers with this version of castingvote."
        if not theirs:
            self.close()
            raise InputError((_finding("dask_no_workers", "The Dask scheduler has no workers.", hint),))
        others = sorted(set(theirs.values()) - {version})
        if others:
            self.close()
            message = f"Workers have castingvote {', '.join(others)}; this is {version}."
            raise InputError((_finding("dask_version", message, hint),))

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield answers as they come."""
        from distributed import as_completed

        futures = {
            self._client.submit(self._work, item, self._shared, pure=False): position
            for position, item in enumerate(items)
        }
        for future in as_completed(list(futures)):  # type: ignore[no-untyped-call]
            yield futures[future], future.exception() or future.result()

    def close(self) -> None:
        """Leave the cluster; what is not finished is cancelled with the client's futures."""
        self._client.close()


def worker_version() -> str:
    """Return the version of castingvote where this runs."""
    from planner.version import VERSION

    return VERSION


def _finding(code: str, message: str, hint: str) -> Finding:
    return Finding("error", code, "--dask", message, hint)
