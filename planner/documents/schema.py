"""The JSON Schemas of the documents (draft 2020-12), as they ship in ``schemas/``.

``python -m planner.documents.schema`` writes them anew from the dataclasses; a test holds the files against them.
"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from planner.documents.kinds import DOCUMENTS
from planner.documents.plain import Describer

DIALECT = "https://json-schema.org/draft/2020-12/schema"
BASE = "https://castingvote.example/schemas"


def schema_of(name: str) -> dict[str, Any]:
    """Return the schema of a document, made from its dataclasses."""
    document = DOCUMENTS[name]
    describer = Describer(document.more)
    whole = describer.of(document.members)
    head = {"$schema": DIALECT, "$id": f"{BASE}/{name}-1.json", "title": f"{name}.json", "description": document.what}
    return {**head, **whole, "$defs": describer.definitions}


def schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema of a kind of file, as shipped: plan, rollout, check, verify, explain, drill, availability,
    sweep, horizon or designs. Raises KeyError for another name.
    """
    if name not in DOCUMENTS:
        raise KeyError(f"{name} is none of {', '.join(DOCUMENTS)}")
    shipped: dict[str, Any] = json.loads((files("planner.documents") / "schemas" / file_of(name)).read_text("utf-8"))
    return shipped


def file_of(name: str) -> str:
    """Return the name of the file that holds a schema."""
    return f"{name}-1.json"


def text_of(name: str) -> str:
    """Return the schema of a document as the text of its file."""
    return json.dumps(schema_of(name), indent=1) + "\n"


if __name__ == "__main__":
    for each in DOCUMENTS:
        (Path(__file__).parent / "schemas" / file_of(each)).write_text(text_of(each), encoding="ascii")
