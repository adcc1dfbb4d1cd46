"""What a request of the page is about: the desk, one of its workspaces, and what is asked."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from planner.desk import asking
from planner.desk.crew import Crew
from planner.desk.handed import Handed
from planner.desk.workspaces import Store, Workspace

_MOST_JSON = 16_000_000


@dataclass
class Desk:
    """What the server works with; ``aside`` is a folder for files on their way, which is removed at the end."""

    store: Store
    crew: Crew
    aside: Path
    outside: str = ""  # a warning where others than this machine can reach the desk
    handed: Handed = field(default_factory=Handed)

    def new_path(self) -> Path:
        """Return a path of its own for a file on its way."""
        return self.aside / secrets.token_hex(8)


def desk_of(request: Request) -> Desk:
    """Return the desk that serves a request."""
    desk: Desk = request.app.state.desk
    return desk


def workspace_of(request: Request) -> Workspace:
    """Return the workspace that an address names; HTTPException 404 where there is none."""
    found = desk_of(request).store.get(request.path_params["id"])
    if found is None:
        raise HTTPException(404, "There is no such workspace.")
    return found


async def asked_of(request: Request) -> dict[str, Any]:
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
        raise HTTPException(400, "The desk does not know this request.")
    return asked


async def stale(_request: Request, error: Exception) -> Response:
    """Answer a question about an answer of other files."""
    return Response(asking.line_of({"event": "refused", "data": [str(error)]}), media_type="application/json")


async def unwritten(_request: Request, error: Exception) -> Response:
    """Answer where the folder of the desk cannot be written."""
    why = (error.strerror if isinstance(error, OSError) else None) or type(error).__name__
    return PlainTextResponse(
        f"The desk cannot write to its folder on this machine: {why}. Make room, then try again.", 507
    )
