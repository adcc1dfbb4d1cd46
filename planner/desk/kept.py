"""Answers that were kept under a name: the question, the choices that the fleet was read with, figures, the plan."""

from __future__ import annotations

import secrets
from typing import Any

from planner.desk.asking import body_of
from planner.desk.crew import Answer, Crew
from planner.desk.workspaces import Workspace

_MOST = 40
_LONGEST = 80


async def keep_answer(crew: Crew, workspace: Workspace, asked: dict[str, Any]) -> Answer:
    """Keep the plan of a question under a name; return all kept answers, or why it could not be kept."""
    if len(workspace.state["kept"]) >= _MOST:
        return Answer("refused", [f"A workspace keeps up to {_MOST} answers. Remove one first."])
    file = workspace.new_answer_file()
    body = body_of(workspace, {"question": asked.get("question"), "choices": asked.get("choices")})
    answer = await crew.planning.ask("keep", {**body, "out": str(file)})
    if answer.event != "done":
        return answer
    name = str(asked.get("name") or "").strip()[:_LONGEST] or f"Answer {len(workspace.state['kept']) + 1}"
    taken = {one["name"] for one in workspace.state["kept"]}
    while name in taken:
        name = f"{name} (copy)"
    workspace.state["kept"].append(
        {
            "id": secrets.token_hex(4),
            "name": name,
            "question": body["question"],
            "choices": body["choices"],
            "files": body["files"],
            "changes": asked.get("changes") if isinstance(asked.get("changes"), list) else [],
            "file": file.name,
            "figures": answer.data,
        }
    )
    workspace.save()
    return Answer("done", workspace.state["kept"])


def forget_answer(workspace: Workspace, number: Any) -> None:
    """Remove a kept answer with its plan."""
    found = workspace.kept(number)
    if found is None:
        return
    workspace.state["kept"].remove(found)
    file = workspace.answer_file(str(found["file"]))
    if file is not None:
        file.unlink(missing_ok=True)
    workspace.save()
