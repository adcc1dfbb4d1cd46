"""The two pages of the desk, by Jinja: the start, and a workspace. What changes on them is drawn by their script."""

from __future__ import annotations

import functools
import json
import time
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from planner.desk.uploads import ENDINGS
from planner.desk.workspaces import KEPT_DAYS, Workspace
from planner.version import VERSION

_KINDS = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}


def own_file(name: str) -> tuple[bytes, str] | None:
    """Return a script, style or picture of the pages with its kind; None for any other name."""
    own = {file.name: file for file in (files("planner.desk") / "page").iterdir()}
    kind = _KINDS.get(name[name.rfind(".") :])
    return None if kind is None or name not in own else (own[name].read_bytes(), kind)


@functools.cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("planner.desk", "page"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )


def start_page(workspaces: Sequence[Workspace], outside: str) -> str:
    """Return the page that takes a new fleet, or goes on with what was begun."""
    begun = [
        {
            "id": one.id,
            "title": one.state["title"] or ", ".join(one.brought[:3]),
            "when": time.strftime("%Y-%m-%d %H:%M", time.localtime(float(one.state.get("touched", 0)))),
            "kept": len(one.state["kept"]),
        }
        for one in workspaces
        if one.brought
    ]
    return (
        _environment()
        .get_template("start.html")
        .render(begun=begun, outside=outside, version=VERSION, days=KEPT_DAYS, endings=",".join(ENDINGS))
    )


def workspace_page(workspace: Workspace, outside: str) -> str:
    """Return the page of a workspace, with its state for the script."""
    more = {"id": workspace.id, "brought": workspace.brought, "pings": workspace.pings.is_dir()}
    state = {**workspace.state, **more}
    title = workspace.state["title"] or ", ".join(workspace.brought[:3]) or "New workspace"
    return (
        _environment()
        .get_template("desk.html")
        .render(state=_as_json(state), title=title, outside=outside, version=VERSION, endings=",".join(ENDINGS))
    )


def _as_json(data: Any) -> Markup:
    """Return ``data`` as JSON that cannot end the element it stands in."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))
