"""Longer work that the page asks for: it tells how far it is, and can be stopped; made files are fetched then."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response, StreamingResponse

from planner.desk import asking
from planner.desk.crew import Answer
from planner.desk.requests import asked_of, desk_of, workspace_of
from planner.desk.workspaces import Workspace


def telling(task: str) -> Callable[[Request], Awaitable[Response]]:
    """Return what answers a task of the planning worker by lines: news on the way, then how it ended."""

    async def answer(request: Request) -> Response:
        workspace, asked = workspace_of(request), await asked_of(request)
        body = asking.body_of(workspace, asked)
        body["site"] = str(asked.get("site") or "")
        body["lost"] = asked["lost"] if isinstance(asked.get("lost"), list) else []
        owner = owner_of("plan" if task == "plan" else "look", workspace, asked)
        return _lines(asking.news_of(desk_of(request).crew.planning, task, body, asked, owner))

    return answer


def owner_of(what: str, workspace: Workspace, asked: dict[str, Any]) -> str:
    """Return who asks: a newer task of the same owner takes the place of the older one."""
    return f"{what} {workspace.id} {asked.get('tab', '')}"


def _lines(
    news: AsyncIterator[bytes | Answer], ended: Callable[[Answer], Answer] = lambda answer: answer
) -> StreamingResponse:
    async def lines() -> AsyncIterator[bytes]:
        async for one in news:
            yield one if isinstance(one, bytes) else asking.line_of(asking.plain(ended(one)))

    return StreamingResponse(lines(), media_type="application/x-ndjson")


async def make_file(request: Request) -> Response:
    """Make one file of the hand-over, telling how far it is; the last line has the ticket under which it is fetched."""
    workspace, asked = workspace_of(request), await asked_of(request)
    desk, kind = desk_of(request), request.path_params["kind"]
    path = desk.new_path()
    body = {**asking.body_of(workspace, asked), "kind": kind, "out": str(path)}

    def ended(answer: Answer) -> Answer:
        if answer.event != "done":
            path.unlink(missing_ok=True)
            return answer
        ticket = desk.handed.put(workspace.id, kind, path, answer.data["name"])
        return Answer("done", {**answer.data, "ticket": ticket})

    owner = owner_of("hand", workspace, asked)
    return _lines(asking.news_of(desk.crew.planning, "hand_over", body, asked, owner), ended)


async def send_file(request: Request) -> Response:
    """Send a file that was made; it is gone from the disk when it was sent. The report is shown if asked for."""
    workspace, kind = workspace_of(request), request.path_params["kind"]
    found = desk_of(request).handed.take(workspace.id, kind, request.path_params["ticket"])
    if found is None:
        raise HTTPException(404, "This file was fetched already. Ask for it again.")
    path, name = found
    remove = BackgroundTask(path.unlink, missing_ok=True)
    if kind != "report" or "show" not in request.query_params:
        return FileResponse(path, filename=name, background=remove)
    # The page states which of its scripts may run; frames of this desk may show it.
    policy = {"content-security-policy": "frame-ancestors 'self'"}
    return HTMLResponse(path.read_text(encoding="utf-8"), headers=policy, background=remove)
