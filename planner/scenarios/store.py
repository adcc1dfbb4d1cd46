"""Finished scenarios in one SQLite file, so that a sweep that was stopped goes on where it was.

A scenario is known again by the SHA-256 of what its figures depend on: the fleet's tables and policy, the changes
(not the name), the options and the version of castingvote.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from typing import Any

import pandas as pd

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.scenarios.sweep_results import Certainty, Point, PointFigures, Scenario
from planner.scenarios.task import Options
from planner.version import VERSION

_TABLES = ("sites", "pools", "latency", "samples", "links", "current")
_LAYOUT = """CREATE TABLE IF NOT EXISTS scenarios
    (key TEXT PRIMARY KEY, name TEXT, seconds REAL, saved_at TEXT, figures TEXT, digest TEXT)"""


def fleet_digest(fleet: Fleet, scenarios: Sequence[Scenario] = ()) -> str:
    """Return a digest of everything in ``fleet`` that a plan of it, or of one of ``scenarios``, depends on.

    That is the day, too, where the age of measurements counts.
    """
    aged = fleet.policy.max_age_days is not None or any(
        edit.column == "max_age_days" for scenario in scenarios for edit in scenario.edits
    )
    settings = dataclasses.asdict(fleet.policy) | {"as_of": fleet.as_of.isoformat() if aged else ""}
    digest = hashlib.sha256(json.dumps(settings, sort_keys=True).encode())
    for name in _TABLES:
        table: pd.DataFrame = getattr(fleet, name)
        digest.update(f"{name} {list(table.columns)} {len(table)}".encode())
        for column in table.columns:
            values = table[column]
            exact = values if pd.api.types.is_numeric_dtype(values) else values.astype(str)
            digest.update(pd.util.hash_pandas_object(exact, index=False).to_numpy().tobytes())
    return digest.hexdigest()


def key_of(fleet: str, scenario: Scenario, options: Options) -> str:
    """Return the key of a scenario of the fleet with the digest ``fleet``."""
    content = dataclasses.asdict(scenario) | {"name": "", "axes": ()}
    text = json.dumps([fleet, content, dataclasses.asdict(options), VERSION], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


class Store:
    """Points by key; each is written at once. Errors are not kept: they are tried again.

    A point whose row is not as it was written is not taken: its scenario is planned again. Every method raises
    InputError where the file cannot be used.
    """

    def __init__(self, path: str | os.PathLike[str] | None) -> None:
        self._path = os.fspath(path) if path is not None else None
        self._data = self._open(self._path or ":memory:")

    def _open(self, path: str) -> sqlite3.Connection:
        data = None
        with self._usable():
            try:
                data = sqlite3.connect(path, timeout=60)
                data.text_factory = lambda text: text.decode(errors="replace")
                data.execute("PRAGMA journal_mode=WAL" if path != ":memory:" else "PRAGMA user_version")
                data.execute(_LAYOUT)
                data.commit()
            except sqlite3.Error:
                if data is not None:
                    data.close()
                raise
        return data

    @contextmanager
    def _usable(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            message = f"cannot be used to keep scenarios: {error}."
            hint = "Name a new file, or one of a sweep."
            raise InputError((Finding("error", "store_unusable", "", message, hint, self._path or ""),)) from error

    def get(self, key: str, scenario: Scenario) -> Point | None:
        """Return the point kept under ``key``, as one of ``scenario``."""
        asked = "SELECT seconds, figures, digest FROM scenarios WHERE key = ?"
        with self._usable(), closing(self._data.execute(asked, (key,))) as rows:
            row = rows.fetchone()
        if row is None or row[2] != _digest(key, row[0], row[1]):
            return None
        return Point(scenario, _figures(json.loads(row[1])), origin="store", seconds=row[0])

    def put(self, key: str, point: Point) -> None:
        """Keep ``point``; one with an error is not kept."""
        if point.figures is None:
            return
        text = json.dumps(dataclasses.asdict(point.figures), allow_nan=False)
        now = dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds")
        row = (key, point.scenario.name, point.seconds, now, text, _digest(key, point.seconds, text))
        with self._usable():
            self._data.execute("INSERT OR REPLACE INTO scenarios VALUES (?, ?, ?, ?, ?, ?)", row)
            self._data.commit()

    def close(self) -> None:
        """Close the file."""
        self._data.close()


def _digest(key: str, seconds: float, figures: str) -> str:
    return hashlib.sha256(f"{key} {seconds!r} {figures}".encode()).hexdigest()


def _figures(values: dict[str, Any]) -> PointFigures:
    certainty = values.pop("certainty")
    values["unserved"] = tuple(values["unserved"])
    return PointFigures(**values, certainty=None if certainty is None else Certainty(**certainty))
