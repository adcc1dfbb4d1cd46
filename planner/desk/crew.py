"""The server's side of its workers: tasks go out with a number, news and answers come back; a dead one is replaced."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import planner
from planner.desk.frames import HEAD, MOST_BYTES, packed

_PATIENCE = 10.0  # seconds in which a task that is not wanted any more has to end, before its worker is replaced
_DIED = "The work was interrupted: its process ended. It was started again; ask once more."
_FRESH = 3  # starts in a row that may fail before the desk gives up


@dataclass(frozen=True, slots=True)
class Answer:
    """How a task ended: ``done`` with data, ``refused`` or ``failed`` with words, or ``stopped``."""

    event: str
    data: Any


@dataclass
class _Task:
    number: int
    owner: str
    news: Callable[[Any], None] | None
    answer: asyncio.Future[Answer] = field(default_factory=lambda: asyncio.get_running_loop().create_future())


class Worker:
    """One worker process, and the tasks that it has."""

    def __init__(self) -> None:
        self.ready = asyncio.Event()
        self._process: asyncio.subprocess.Process | None = None
        self._starting = asyncio.Lock()
        self._reader: asyncio.Task[None] | None = None
        self._tasks: dict[int, _Task] = {}
        self._turns: dict[str, int] = {}
        self._number = 0
        self._running = 0  # the task that it works on
        self._failures = 0  # ends in a row without an answer between them
        self._closing = False

    async def start(self) -> None:
        """Start the process if there is none; it loads its libraries while the first page is shown."""
        async with self._starting:
            if self._alive or self._closing:
                return
            paths = [str(Path(planner.__file__).parent.parent), os.environ.get("PYTHONPATH", "")]
            self._process = await asyncio.create_subprocess_exec(
                sys.executable,
                *("-P", "-m", "planner.desk.worker"),
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
                start_new_session=True,  # Ctrl-C at the terminal is the server's to answer
            )
            self._reader = asyncio.create_task(self._read(self._process))

    @property
    def _alive(self) -> bool:
        return self._process is not None and self._process.returncode is None

    async def ask(
        self,
        task: str,
        body: dict[str, Any],
        *,
        owner: str = "",
        turn: int = 0,
        news: Callable[[Any], None] | None = None,
    ) -> Answer:
        """Return the result of a task; ``news`` is called with its messages on the way.

        A newer task of the same ``owner`` (not blank) takes the place of the older ones, whose answer is ``stopped``;
        one of an earlier ``turn`` is no newer one, since requests may overtake each other.
        """
        await self.start()
        if turn < self._turns.get(owner, 0):
            return Answer("stopped", None)
        self._turns[owner] = turn
        self._number += 1
        mine = _Task(self._number, owner, news)
        if owner:
            self.give_up(owner)
        self._tasks[mine.number] = mine
        self._send({"number": mine.number, "task": task, "body": body})
        return await mine.answer

    def stop(self, owner: str) -> None:
        """Let the tasks of ``owner`` end with the best so far."""
        for task in self._of(owner):
            self._send({"stop": task.number})

    def give_up(self, owner: str) -> None:
        """Let the tasks of ``owner`` be: nobody waits for them any more; one that goes on all the same is cut off."""
        for task in self._of(owner):
            self._send({"stop": task.number})
            self._finish(task, Answer("stopped", None))
            asyncio.get_running_loop().call_later(_PATIENCE, self._cut_off, task.number)

    async def close(self) -> None:
        """End the process."""
        self._closing = True
        if self._process is not None and self._alive:
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()
        if self._reader is not None:
            self._reader.cancel()

    def _of(self, owner: str) -> list[_Task]:
        return [task for task in self._tasks.values() if task.owner == owner]

    def _cut_off(self, number: int) -> None:
        if self._running == number and self._process is not None and self._alive:
            self._process.kill()

    def _send(self, message: dict[str, Any]) -> None:
        if self._process is not None and self._process.stdin is not None:
            with contextlib.suppress(ConnectionError, RuntimeError):
                self._process.stdin.write(packed(message))

    async def _read(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdout is not None
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                (length,) = HEAD.unpack(await process.stdout.readexactly(HEAD.size))
                self._hear(await process.stdout.readexactly(min(length, MOST_BYTES)))
        await process.wait()
        self._running = 0
        for task in list(self._tasks.values()):
            self._finish(task, Answer("failed", [_DIED]))
        self._failures += 1
        if self._failures <= _FRESH:
            await self.start()

    def _hear(self, frame: bytes) -> None:
        message = json.loads(frame)
        event, task = message["event"], self._tasks.get(message["number"])
        if event == "ready":
            self.ready.set()
        elif event == "begun":
            self._running = message["number"]
        elif event == "news":
            if task is not None and task.news is not None:
                task.news(message["data"])
        else:
            self._running = 0
            self._failures = 0
            if task is not None:
                self._finish(task, Answer(event, message["data"]))

    def _finish(self, task: _Task, answer: Answer) -> None:
        self._tasks.pop(task.number, None)
        if not task.answer.done():
            task.answer.set_result(answer)


@dataclass
class Crew:
    """Two workers: one counts and is always free for the next question, one plans."""

    counting: Worker = field(default_factory=Worker)
    planning: Worker = field(default_factory=Worker)
    _later: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Start the first process; the second follows when it is ready, so that the first count has both processors."""
        await self.counting.start()
        self._later = asyncio.create_task(self._start_planning())

    async def _start_planning(self) -> None:
        await self.counting.ready.wait()
        await self.planning.start()

    async def close(self) -> None:
        """End both."""
        if self._later is not None:
            self._later.cancel()
        await asyncio.gather(self.counting.close(), self.planning.close())
