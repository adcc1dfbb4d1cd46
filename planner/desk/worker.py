"""A worker process of the desk: tasks come in on standard input, news and answers go out, until that input ends.

``python -m planner.desk.worker``. It shares no memory with the server, so that a fault in one question ends nothing
but that question, and the page never waits for a solver.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
import traceback
from typing import Any, BinaryIO

from planner.desk.frames import packed, read_frame

_FAULT = "The desk failed: {words}. This is a fault of castingvote, not of your file; you can go on with the page."


class _Desk:
    """Where tasks come from and answers go to; ``stopped`` are the numbers of tasks that are not wanted any more."""

    def __init__(self, source: BinaryIO, sink: BinaryIO) -> None:
        self._source, self._sink = source, sink
        self._writing = threading.Lock()
        self.tasks: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self.stopped: set[int] = set()

    def listen(self) -> None:
        """Take what comes in until the server is gone; a worker without a server ends."""
        while (message := read_frame(self._source)) is not None:
            if "stop" in message:
                self.stopped.add(int(message["stop"]))
            else:
                self.tasks.put(message)
        os._exit(0)

    def send(self, number: int, event: str, data: Any) -> None:
        """Send one message."""
        with self._writing:
            self._sink.write(packed({"number": number, "event": event, "data": data}))
            self._sink.flush()


def main() -> None:
    """Work until standard input ends."""
    sink = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what solvers print goes to standard error
    desk = _Desk(sys.stdin.buffer, sink)
    threading.Thread(target=desk.listen, daemon=True).start()
    _warm_up()
    from planner.desk.bench import Bench

    bench = Bench()
    desk.send(0, "ready", None)
    while True:
        _serve(desk, bench, desk.tasks.get())


def _serve(desk: _Desk, bench: Any, message: dict[str, Any]) -> None:
    from planner.desk.bench import Stopped, Work
    from planner.desk.tasks import TASKS
    from planner.errors import InputError

    number = int(message["number"])

    def tell(news: dict[str, Any]) -> bool:
        desk.send(number, "news", news)
        return number not in desk.stopped

    if number in desk.stopped:
        return desk.send(number, "stopped", None)
    desk.send(number, "begun", None)
    try:
        answer = TASKS[message["task"]](bench, Work(message["body"], tell))
        return desk.send(number, "done", answer)
    except Stopped:
        return desk.send(number, "stopped", None)
    except InputError as error:
        return desk.send(number, "refused", [str(finding) for finding in error.findings])
    except Exception as error:
        traceback.print_exc()
        words = " ".join(f"{type(error).__name__}: {error}".split())
        return desk.send(number, "failed", [_FAULT.format(words=words)])
    finally:
        desk.stopped.discard(number)


def _warm_up() -> None:
    """Load what every question needs, and count a fleet of one site: the first question shall not wait for that."""
    from planner.columns import HUBS, LATENCY, SITES
    from planner.desk import answers, bench, shown_fleet, tasks  # noqa: F401
    from planner.fleet import Fleet, Policy, typed_table
    from planner.sizing import count

    pair = {"site": ["S"], "hub": ["H"], "rtt_ms": [1.0]}
    fleet = Fleet(
        sites=typed_table(SITES, {"site": ["S"]}),
        pools=typed_table(HUBS, {"hub": ["H"], "pool": ["H"]}),
        latency=typed_table(LATENCY, pair),
        policy=Policy(latency_budget_ms=9.0),
    )
    count(fleet)


if __name__ == "__main__":
    main()
