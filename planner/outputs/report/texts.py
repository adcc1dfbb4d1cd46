"""The report's words. They stand in ``english.json`` alone: a translation is another such file."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files


@cache
def english() -> dict[str, str]:
    """Return every text by its key; ``{name}`` in a text stands for a value."""
    texts: dict[str, str] = json.loads((files(__package__) / "english.json").read_text(encoding="utf-8"))
    return texts


def say(key: str, **values: object) -> str:
    """Return the text ``key`` with ``values`` filled in; KeyError for a key or value that is not there."""
    return english()[key].format(**values)
