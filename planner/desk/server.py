"""The addresses of the desk, and what each of them answers."""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from planner.desk import asking
from planner.desk.crew import Answer, Crew
from planner.desk.guard import Guard, Secret
from planner.desk.kept import forget_answer, keep_answer
from planner.desk.pages import own_file, start_page, workspace_page
from planner.desk.uploads import MOST_BYTES, Refused, open_bundle, save_bundle, take_file
from planner.desk.workspaces import Store, Workspace

_MOST_JSON = 16_000_000
Handler = Callable[["Desk", Workspace, dict[str, Any]], Awaitable[Response]]


@dataclass
class Desk:
    """What the server works with; ``aside`` is a folder for files on their way, which is removed at the end."""

    store: Store
    crew: Crew
    aside: Path
    outside: str = ""  # a warning where others than this machine can reach the desk

    def new_path(self) -> Path:
        """Return a path of its own for a file on its way."""
        return self.aside / secrets.token_hex(8)


def make_app(store: Store, secret: Secret, *, outside: str = "", first: Workspace | None = None) -> Starlette:
    """Return the desk as an application; its workers start and end with it, and read the files of ``first`` at once."""
    desk = Desk(store, Crew(), Path(tempfile.mkdtemp(prefix="castingvote-desk-")), outside)

    @contextlib.asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        await desk.crew.start()
        reading = None if first is None else asyncio.create_task(_read_files(desk, first))
        try:
            yield
        finally:
            if reading is not None:
                reading.cancel()
            await desk.crew.close()
            with contextlib.suppress(OSError):
                for path in desk.aside.iterdir():
                    path.unlink()
                desk.aside.rmdir()

    app = Starlette(
        routes=[
            Route("/", _start),
            Route("/own/{name}", _own),
            Route("/new", _new, methods=["POST"]),
            Route("/open", _open, methods=["POST"]),
            Route("/w/{id}", _page),
            Route("/w/{id}/bring", _bring, methods=["POST"]),
            Route("/w/{id}/plan", _plan, methods=["POST"]),
            Route("/w/{id}/explain", _explain, methods=["POST"]),
            Route("/w/{id}/report", _report),
            Route("/w/{id}/save", _save),
            Route("/w/{id}/file/{kind}", _file, methods=["POST"]),
            *(Route(f"/w/{{id}}/{name}", _json(handler), methods=["POST"]) for name, handler in _HANDLERS.items()),
        ],
        middleware=[Middleware(Guard, secret=secret)],
        lifespan=lifespan,
    )
    app.state.desk = desk
    return app


def _of(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


def _workspace(request: Request) -> Workspace:
    found = _of(request).store.get(request.path_params["id"])
    if found is None:
        raise HTTPException(404, "There is no such workspace.")
    return found


async def _asked(request: Request) -> dict[str, Any]:
    """Return the JSON object that a request carries."""
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > _MOST_JSON:
            raise HTTPException(413, "The request is larger than any that the page sends.")
    try:
        asked = json.loads(body or b"{}")
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise HTTPException(400, "That is no question of this desk.")
    return asked


async def _start(request: Request) -> Response:
    desk = _of(request)
    desk.store.remove_old()
    return HTMLResponse(start_page(list(desk.store.all()), desk.outside))


async def _page(request: Request) -> Response:
    return HTMLResponse(workspace_page(_workspace(request), _of(request).outside))


async def _own(request: Request) -> Response:
    """Answer with a script or style of the page; only names that are there lead to a file."""
    found = own_file(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    return Response(found[0], headers={"content-type": found[1]})


async def _new(request: Request) -> Response:
    return JSONResponse({"id": _of(request).store.new().id})


async def _open(request: Request) -> Response:
    """Open a workspace that was saved to a file."""
    desk, size = _of(request), 0
    path = desk.new_path()
    try:
        with path.open("wb") as file:
            async for chunk in request.stream():
                size += len(chunk)
                if size > MOST_BYTES:
                    raise Refused("The file is larger than a desk takes.")
                file.write(chunk)
        return JSONResponse({"id": open_bundle(desk.store, path).id})
    except Refused as error:
        return JSONResponse({"words": str(error)}, 400)
    finally:
        path.unlink(missing_ok=True)


async def _bring(request: Request) -> Response:
    """Take one file of a fleet; its name comes as a header, since it is text of any language."""
    from urllib.parse import unquote

    workspace = _workspace(request)
    try:
        name = await take_file(workspace, unquote(request.headers.get("x-file-name", "")), request.stream())
    except Refused as error:
        return JSONResponse({"words": str(error)}, 400)
    workspace.files_changed()
    return JSONResponse({"name": name, "brought": workspace.brought})


async def _plan(request: Request) -> Response:
    workspace, asked = _workspace(request), await _asked(request)
    owner = f"plan {workspace.id} {asked.get('tab', '')}"
    lines = asking.news_of(_of(request).crew.planning, "plan", workspace, asked, owner)
    return StreamingResponse(lines, media_type="application/x-ndjson")


async def _explain(request: Request) -> Response:
    workspace, asked = _workspace(request), await _asked(request)
    owner = f"explain {workspace.id} {asked.get('tab', '')}"
    site = str(asked.get("site") or "")
    lines = asking.news_of(_of(request).crew.planning, "explain", workspace, asked, owner, site=site)
    return StreamingResponse(lines, media_type="application/x-ndjson")


async def _file(request: Request) -> Response:
    """Make one file of the hand-over and send it; it is gone from the disk when it was sent."""
    workspace, asked = _workspace(request), await _asked(request)
    desk, kind = _of(request), request.path_params["kind"]
    path = desk.new_path()
    answer = await asking.work(desk.crew, workspace, "hand_over", asked, kind=kind, out=str(path))
    if answer.event != "done":
        path.unlink(missing_ok=True)
        return JSONResponse(asking.plain(answer), 422)
    remove = BackgroundTask(path.unlink, missing_ok=True)
    return FileResponse(path, filename=answer.data["name"], background=remove)


async def _report(request: Request) -> Response:
    """Show the report of a kept answer or of the question that the workspace holds; it has its own security policy."""
    workspace, desk = _workspace(request), _of(request)
    path = desk.new_path()
    asked = {"kept": request.query_params.get("kept"), "question": workspace.state["question"]}
    answer = await asking.work(desk.crew, workspace, "hand_over", asked, kind="report", out=str(path))
    if answer.event != "done":
        raise HTTPException(422, " ".join(answer.data or ["There is no plan yet."]))
    page = path.read_text(encoding="utf-8")
    path.unlink()
    # The page states which of its scripts may run; frames of this desk may show it.
    return HTMLResponse(page, headers={"content-security-policy": "frame-ancestors 'self'"})


async def _save(request: Request) -> Response:
    workspace, path = _workspace(request), _of(request).new_path()
    save_bundle(workspace, path)
    name = f"{workspace.state['title'] or 'workspace'}.desk.zip"
    return FileResponse(path, filename=name, background=BackgroundTask(path.unlink, missing_ok=True))


def _json(handler: Handler) -> Callable[[Request], Awaitable[Response]]:
    async def answer(request: Request) -> Response:
        return await handler(_of(request), _workspace(request), await _asked(request))

    return answer


async def _read(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    workspace.take(asked)
    workspace.save()
    return JSONResponse(asking.plain(await _read_files(desk, workspace)))


async def _read_files(desk: Desk, workspace: Workspace) -> Answer:
    return await desk.crew.counting.ask("read", asking.body_of(workspace, {}))


async def _keep_state(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    workspace.take(asked)
    workspace.save()
    return JSONResponse({})


async def _count(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    return JSONResponse(await asking.count(desk.crew, workspace, asked))


async def _stop(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    for what in ("plan", "explain"):
        desk.crew.planning.stop(f"{what} {workspace.id} {asked.get('tab', '')}")
    return JSONResponse({})


async def _lose(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    lost = asked.get("lost") if isinstance(asked.get("lost"), list) else []
    return JSONResponse(asking.plain(await asking.work(desk.crew, workspace, "lose", asked, lost=lost)))


async def _compare(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    pair = asked.get("pair")
    bodies = [asking.body_of(workspace, {"kept": one}) for one in (pair if isinstance(pair, list) else [])]
    if len(bodies) != 2 or not all("plan_file" in body for body in bodies):
        return JSONResponse({"event": "refused", "data": ["Choose two answers that were kept."]})
    names = [one["name"] for number in asked["pair"] if (one := workspace.kept(number)) is not None]
    answer = await asking.work(desk.crew, workspace, "compare", {}, pair=bodies, names=names)
    return JSONResponse(asking.plain(answer))


async def _keep(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    return JSONResponse(asking.plain(await keep_answer(desk.crew, workspace, asked)))


async def _forget(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    forget_answer(workspace, asked.get("kept"))
    return JSONResponse({"kept": workspace.state["kept"]})


async def _clear(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    """Remove the uploaded files, so that others can be uploaded."""
    for name in workspace.brought:
        (workspace.files / name).unlink(missing_ok=True)
    workspace.files_changed()
    return JSONResponse({})


async def _remove(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    desk.store.remove(workspace)
    return JSONResponse({})


_HANDLERS: dict[str, Handler] = {
    "read": _read,
    "state": _keep_state,
    "count": _count,
    "stop": _stop,
    "lose": _lose,
    "compare": _compare,
    "keep": _keep,
    "forget": _forget,
    "clear": _clear,
    "remove": _remove,
}
