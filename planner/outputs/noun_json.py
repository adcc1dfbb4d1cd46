"""A noun, or a dict of them, as JSON keyed as its fields, with the version of the layout first."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from typing import Any


def noun_to_json(noun: Any) -> str:
    """Return a dataclass, or a mapping that may hold some, as JSON text in format 1; ValueError for NaN."""
    data = noun if isinstance(noun, Mapping) else dataclasses.asdict(noun)
    whole = {"format": 1, **data}
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False, default=dataclasses.asdict)
