"""Questions of the page, handed to the workers: every answer says how it ended, and none waits behind an older one."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Any

from planner.desk.crew import Answer, Crew, Worker
from planner.desk.workspaces import Workspace

_PLAN_SECONDS = 60.0
_MOST_SECONDS = 3_600.0


def body_of(workspace: Workspace, asked: dict[str, Any]) -> dict[str, Any]:
    """Return what a worker needs to know of a workspace and of what is asked; a kept answer stands for its question."""
    kept = workspace.kept(asked.get("kept"))
    question = asked.get("question") if kept is None else kept["question"]
    body: dict[str, Any] = {
        "folder": str(workspace.files),
        "files": workspace.state["files"],
        "choices": workspace.state["choices"] if kept is None else kept["choices"],
        "question": question if isinstance(question, dict) else {},
        "thorough": bool(asked.get("thorough")),
    }
    file = None if kept is None else workspace.answer_file(str(kept["file"]))
    return body if file is None else {**body, "plan_file": str(file)}


def plain(answer: Answer) -> dict[str, Any]:
    """Return an answer as the page takes it."""
    return {"event": answer.event, "data": answer.data}


async def count(crew: Crew, workspace: Workspace, asked: dict[str, Any]) -> dict[str, Any]:
    """Return the count; a newer question of the same tab stops this one."""
    owner = f"{workspace.id} {asked.get('tab', '')}"
    return plain(await crew.counting.ask("count", body_of(workspace, asked), owner=owner, turn=_turn(asked)))


async def work(crew: Crew, workspace: Workspace, task: str, asked: dict[str, Any], **more: Any) -> Answer:
    """Return what came of a task on a plan."""
    return await crew.planning.ask(task, {**body_of(workspace, asked), **more})


async def news_of(
    worker: Worker, task: str, workspace: Workspace, asked: dict[str, Any], owner: str, **more: Any
) -> AsyncIterator[bytes]:
    """Yield lines of JSON: what the worker tells on the way, then how the task ended."""
    told: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
    body = {**body_of(workspace, asked), **more}
    if task == "plan":
        body["seconds"] = _seconds(asked.get("seconds"))
    turn, hear = _turn(asked), told.put_nowait
    asking = asyncio.create_task(worker.ask(task, body, owner=owner, turn=turn, news=hear))
    last = 0.0
    try:
        while not asking.done():
            getting = asyncio.create_task(told.get())
            await asyncio.wait({asking, getting}, return_when=asyncio.FIRST_COMPLETED)
            if not getting.done():
                getting.cancel()
            elif time.monotonic() - last > 0.1:  # a solver tells more than people can read
                last = time.monotonic()
                yield _line({"event": "news", "data": getting.result()})
        yield _line(plain(asking.result()))
    finally:
        if not asking.done():  # the page has gone, or has asked something newer
            worker.give_up(owner)


def _turn(asked: dict[str, Any]) -> int:
    turn = asked.get("turn")
    return turn if isinstance(turn, int) else 0


def _seconds(value: Any) -> float:
    try:
        seconds = float(value)
    except (TypeError, ValueError):
        return _PLAN_SECONDS
    return min(seconds, _MOST_SECONDS) if seconds > 0 else _PLAN_SECONDS


def _line(message: dict[str, Any]) -> bytes:
    return json.dumps(message, separators=(",", ":")).encode() + b"\n"
