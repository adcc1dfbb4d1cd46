"""Ways to run many tasks: in this process or in processes of their own; `cluster` has the one on a Dask cluster.

A runner takes ``work(item, shared, stopped)`` and yields (position, answer) in the order in which answers come; where a
task could not be run at all, the answer is the exception. ``shared`` goes to every worker once. Once ``stopped`` is
set, no more answers come.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import os
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol

from planner.interrupts import held_back, leave_to_parent

Work = Callable[..., Any]
Answer = tuple[int, Any]

POLL_S = 0.1
"""How often a waiting runner checks whether it must stop, in seconds."""


class Flag(Protocol):
    """Says whether the work is to stop: an event of threads."""

    def is_set(self) -> bool:
        """Whether it is to stop."""


class Runner(Protocol):
    """What all ways to run have in common."""

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield the answer of each item with its position."""

    def close(self) -> None:
        """Let go of workers; running tasks are told to stop."""


class Here:
    """One after the other in this process."""

    def __init__(self, work: Work, shared: Any, stopped: Flag) -> None:
        self._work, self._shared, self._stopped = work, shared, stopped

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield the answers in order."""
        for position, item in enumerate(items):
            if self._stopped.is_set():
                return
            answer = self._work(item, self._shared, self._stopped)
            if self._stopped.is_set():
                return
            yield position, answer

    def close(self) -> None:
        """Do nothing."""


# What a worker process holds between tasks.
_held: dict[str, Any] = {}


def _prepare(shared: Any) -> None:
    """Set up a worker: Ctrl-C is the parent's to answer, and a worker does not outlive its parent."""
    leave_to_parent()
    _held["shared"] = shared
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(1)


def _call(work: Work, item: Any) -> Any:
    return work(item, _held["shared"], None)


class Processes:
    """``jobs`` worker processes. One that dies costs only its own task, which is tried once more by itself."""

    def __init__(self, work: Work, shared: Any, jobs: int, stopped: Flag) -> None:
        self._work, self._shared, self._jobs, self._stopped = work, shared, jobs, stopped
        self._context = multiprocessing.get_context("spawn")
        self._pool: ProcessPoolExecutor | None = None
        self._workers: set[multiprocessing.process.BaseProcess] = set()

    def _new_pool(self, jobs: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(jobs, mp_context=self._context, initializer=_prepare, initargs=(self._shared,))

    def _submit(self, pool: ProcessPoolExecutor, item: Any) -> Future[Any]:
        """Hand out a task. Processes that start for it never hear of Ctrl-C, not even while they load."""
        before = set(multiprocessing.active_children())
        try:
            with held_back():
                return pool.submit(_call, self._work, item)
        finally:
            self._workers |= set(multiprocessing.active_children()) - before

    def run(self, items: Sequence[Any]) -> Iterator[Answer]:
        """Yield answers as they come; only as many tasks are handed out as there are workers."""
        waiting = deque(enumerate(items))
        running: dict[Future[Any], tuple[int, Any]] = {}
        while (waiting or running) and not self._stopped.is_set():
            self._pool = self._pool or self._new_pool(min(self._jobs, len(items)))
            broken = self._hand_out(waiting, running)
            done = set(running) if broken else wait(running, POLL_S, return_when=FIRST_COMPLETED).done
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
                yield from self._one_by_one(suspects)

    def _hand_out(self, waiting: deque[tuple[int, Any]], running: dict[Future[Any], tuple[int, Any]]) -> bool:
        """Give every free worker a task; say whether the pool turned out to be broken."""
        assert self._pool is not None  # made just before
        while waiting and len(running) < self._jobs:
            try:
                running[self._submit(self._pool, waiting[0][1])] = waiting[0]
            except BrokenProcessPool:
                if not running:
                    self._drop_pool()
                    self._pool = self._new_pool(self._jobs)
                    continue
                return True
            waiting.popleft()
        return False

    def _one_by_one(self, tasks: Sequence[tuple[int, Any]]) -> Iterator[Answer]:
        """Run each task in a process of its own, so that the one that breaks it is known."""
        for position, item in tasks:
            with self._new_pool(1) as self._pool:
                future = self._submit(self._pool, item)
                while not wait([future], POLL_S).done:
                    if self._stopped.is_set():
                        self._end_workers()
                        return
                yield position, future.exception() or future.result()
            self._pool = None

    def _drop_pool(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def _end_workers(self) -> None:
        """End what runs at once: nobody waits for its answer."""
        for worker in self._workers:
            worker.kill()

    def close(self) -> None:
        """Let the workers go, also in the middle of a task, and wait until they have ended."""
        self._end_workers()
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None
