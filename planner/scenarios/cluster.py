"""Tasks on a Dask cluster that exists already. Workers may come and go; the tasks end also where all are lost."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import suppress
from typing import Any

from planner.errors import CastingvoteError, InputError
from planner.fleet import Finding
from planner.scenarios.runners import POLL_S, Answer, Flag, Work

_PATIENCE_S = 30.0  # for new workers, once there are none
_MOST_SENDINGS = 3
_ALL_LOST = "All workers of the Dask cluster were lost. Start new ones and run again; --store keeps what is finished."
_EACH_LOST = f"{_MOST_SENDINGS} workers were lost with this scenario. Is there enough memory?"


class WorkersLostError(CastingvoteError):
    """The task was sent, and no worker is left that could answer."""


class Cluster:
    """The workers of a Dask scheduler at ``address``; castingvote must be installed on them in the same version.

    A task that is lost with its worker is sent again, at most three times in all. Where no worker is left for half a
    minute, every task that is still open is answered with WorkersLostError.
    """

    def __init__(self, work: Work, shared: Any, address: str, version: str, stopped: Flag) -> None:
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
        self._work, self._to_share, self._stopped = work, shared, stopped
        self._lost = False
        self._shared: Any = None
        self._check(version)

    def _check(self, version: str) -> None:
        """Refuse a cluster without workers, or with workers of another version."""
        try:
            theirs = self._client.run(worker_version)
        except ModuleNotFoundError:
            theirs = {"": "none"}
        except OSError as error:
            self.close()
            message = f"Workers of the Dask cluster were lost before they could say their version: {error}."
            raise InputError((_finding("dask_workers_lost", message, "Start it again, and try again."),)) from error
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
        open_tasks = dict(enumerate(items))
        sent: dict[Any, int] = {}
        sendings: Counter[int] = Counter()
        while open_tasks and not self._stopped.is_set():
            if not (self._lost or self._has_workers()):
                self._lost = True
            unsent = open_tasks.keys() - sent.values()
            spent = list(open_tasks) if self._lost else [at for at in unsent if sendings[at] >= _MOST_SENDINGS]
            for position in spent:
                open_tasks.pop(position)
                yield position, WorkersLostError(_ALL_LOST if self._lost else _EACH_LOST)
            for position in sorted(unsent & open_tasks.keys()):
                sendings[position] += 1
                with suppress(Exception):  # the cluster is being lost: the next round tells
                    sent[self._submit(open_tasks[position])] = position
            for future in self._done(list(sent)):
                position = sent.pop(future)
                if future.status in ("finished", "error"):
                    open_tasks.pop(position)
                    yield position, future.exception() or future.result()
                else:
                    self._shared = None  # what all tasks share went with the worker that had it

    def _submit(self, item: Any) -> Any:
        if self._shared is None:
            self._shared = self._client.scatter(self._to_share, broadcast=True, hash=False)
        return self._client.submit(self._work, item, self._shared, pure=False)

    def _done(self, futures: Sequence[Any]) -> list[Any]:
        """Return the futures that have ended, well or not, after waiting a moment for the first of them."""
        from distributed import wait

        if not futures:
            time.sleep(POLL_S)
            return []
        with suppress(TimeoutError, CancelledError):  # what is cancelled tells so by its status
            wait(futures, timeout=POLL_S, return_when="FIRST_COMPLETED")  # type: ignore[no-untyped-call]
        return [future for future in futures if future.status != "pending"]

    def _has_workers(self) -> bool:
        """Say whether there is a worker, or one comes while there is patience."""
        give_up = time.monotonic() + _PATIENCE_S
        while not self._stopped.is_set():
            with suppress(Exception):  # a scheduler that does not answer has none
                if self._client.nthreads():
                    return True
            if time.monotonic() > give_up:
                return False
            time.sleep(POLL_S)
        return True

    def close(self) -> None:
        """Leave the cluster; what is not finished is cancelled with the client's futures."""
        self._client.close()


def worker_version() -> str:
    """Return the version of castingvote where this runs."""
    from planner.version import VERSION

    return VERSION


def _finding(code: str, message: str, hint: str) -> Finding:
    return Finding("error", code, "--dask", message, hint)
