"""The addresses of the desk, and what each of them answers."""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from planner.desk import asking
from planner.desk.crew import Crew
from planner.desk.guard import Guard, Secret
from planner.desk.kept import forget_answer, keep_answer
from planner.desk.making import make_file, owner_of, send_file, telling
from planner.desk.pages import own_file, start_page, workspace_page
from planner.desk.requests import Desk, asked_of, desk_of, stale, unwritten, workspace_of
from planner.desk.uploads import MOST_BYTES, Refused, open_bundle, save_bundle, take_file
from planner.desk.workspaces import Store, Workspace

Handler = Callable[["Desk", Workspace, dict[str, Any]], Awaitable[Response]]


def make_app(store: Store, secret: Secret, *, outside: str = "", first: Workspace | None = None) -> Starlette:
    """Return the desk as an application; its workers start and end with it, and read the files of ``first`` at once."""
    desk = Desk(store, Crew(), Path(tempfile.mkdtemp(prefix="castingvote-desk-")), outside)

    @contextlib.asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        await desk.crew.start()
        reading = None if first is None else asyncio.create_task(_read(desk, first, {}))
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
            *(Route(f"/w/{{id}}/{task}", telling(task), methods=["POST"]) for task in ("plan", "explain", "lose")),
            Route("/w/{id}/save", _save),
            Route("/w/{id}/file/{kind}", make_file, methods=["POST"]),
            Route("/w/{id}/file/{kind}/{ticket}", send_file),
            *(Route(f"/w/{{id}}/{name}", _json(handler), methods=["POST"]) for name, handler in _HANDLERS.items()),
        ],
        middleware=[Middleware(Guard, secret=secret)],
        exception_handlers={asking.Stale: stale, OSError: unwritten},
        lifespan=lifespan,
    )
    app.state.desk = desk
    return app


async def _start(request: Request) -> Response:
    desk = desk_of(request)
    desk.store.remove_old()
    return HTMLResponse(start_page(list(desk.store.all()), desk.outside))


async def _page(request: Request) -> Response:
    workspace = workspace_of(request)
    with contextlib.suppress(OSError):
        workspace.save()  # it is in use, and shall not be removed as an old one
    return HTMLResponse(workspace_page(workspace, desk_of(request).outside))


async def _own(request: Request) -> Response:
    """Answer with a script or style of the page; only names that are there lead to a file."""
    found = own_file(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    return Response(found[0], headers={"content-type": found[1]})


async def _new(request: Request) -> Response:
    return JSONResponse({"id": desk_of(request).store.new().id})


async def _open(request: Request) -> Response:
    """Open a workspace that was saved to a file."""
    desk, size = desk_of(request), 0
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

    workspace = workspace_of(request)
    try:
        name = await take_file(workspace, unquote(request.headers.get("x-file-name", "")), request.stream())
    except Refused as error:
        return JSONResponse({"words": str(error)}, 400)
    workspace.file_came(name)
    told = {name: workspace.state[name] for name in ("choices", "revision")}
    return JSONResponse({**told, "name": name, "brought": workspace.brought})


async def _save(request: Request) -> Response:
    workspace, path = workspace_of(request), desk_of(request).new_path()
    save_bundle(workspace, path)
    name = f"{workspace.state['title'] or 'workspace'}.desk.zip"
    return FileResponse(path, filename=name, background=BackgroundTask(path.unlink, missing_ok=True))


def _json(handler: Handler) -> Callable[[Request], Awaitable[Response]]:
    async def answer(request: Request) -> Response:
        return await handler(desk_of(request), workspace_of(request), await asked_of(request))

    return answer


async def _read(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    return JSONResponse(asking.plain(await desk.crew.counting.ask("read", asking.body_of(workspace, asked))))


async def _keep_state(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    """Take over the state of a tab, unless another one has changed it since this tab was told of it."""
    known, now = asked.get("revision"), workspace.state["revision"]
    if known is not None and known != now:
        return JSONResponse({"changed_elsewhere": True, "revision": now})
    workspace.take(asked)
    workspace.save()
    return JSONResponse({"revision": workspace.state["revision"]})


async def _count(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    return JSONResponse(await asking.count(desk.crew, workspace, asked))


async def _stop(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    for what in ("plan", "look", "hand"):
        desk.crew.planning.stop(owner_of(what, workspace, asked))
    return JSONResponse({})


async def _compare(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    pair = asked.get("pair")
    bodies = [asking.body_of(workspace, {"kept": one}) for one in (pair if isinstance(pair, list) else [])]
    if len(bodies) != 2 or not all("plan_file" in body for body in bodies):
        return JSONResponse({"event": "refused", "data": ["Choose two answers that were kept."]})
    names = [one["name"] for number in asked["pair"] if (one := workspace.kept(number)) is not None]
    body = {**asking.body_of(workspace, {}), "pair": bodies, "names": names}
    answer = await desk.crew.planning.ask("compare", body)
    return JSONResponse(asking.plain(answer))


async def _keep(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    return JSONResponse(asking.plain(await keep_answer(desk.crew, workspace, asked)))


async def _forget(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    forget_answer(workspace, asked.get("kept"))
    return JSONResponse({"kept": workspace.state["kept"]})


async def _clear(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    """Remove the uploaded files, so that others can be uploaded."""
    workspace.clear()
    return JSONResponse({"revision": workspace.state["revision"]})


async def _remove(desk: Desk, workspace: Workspace, asked: dict[str, Any]) -> Response:
    desk.store.remove(workspace)
    return JSONResponse({})


_HANDLERS: dict[str, Handler] = {
    "read": _read,
    "state": _keep_state,
    "count": _count,
    "stop": _stop,
    "compare": _compare,
    "keep": _keep,
    "forget": _forget,
    "clear": _clear,
    "remove": _remove,
}
