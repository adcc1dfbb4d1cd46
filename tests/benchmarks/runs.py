"""Runs instances and engines one after the other, each in a process of its own, and gathers a row for each."""

from __future__ import annotations

import datetime
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.benchmarks.child import FACTS
from tests.benchmarks.engines import ENGINES
from tests.benchmarks.engines.answer import SKIPPED
from tests.benchmarks.sets import SETS

_ROOT = Path(__file__).resolve().parents[2]
_PREPARING_S = 1800.0
_GRACE_S = 120.0  # on top of twice the limit, before an engine that does not stop is ended


@dataclass(frozen=True, slots=True)
class Row:
    """One engine on one instance; None for what is not known.

    ``value``, ``bound`` and ``published`` are hosts or money; ``exact``: what is published is the optimum of this very
    problem, else a lower bound. ``seconds`` run from the Fleet, or from the eligible pairs, to the answer.
    ``rtt_gap``: how far total RTT may be from the least with as many hosts, as a share of it. ``measured``: when.
    """

    set: str
    instance: str
    sites: int
    hubs: int
    pairs: int
    engine: str
    value: float | None = None
    bound: float | None = None
    proven: bool = False
    seconds: float | None = None
    cpu_seconds: float | None = None
    peak_mb: float | None = None
    published: float | None = None
    exact: bool = False
    rtt_gap: float | None = None
    measured: str = ""
    note: str = ""


def run(of_set: str, name: str, engines: Sequence[str], seconds: float) -> Iterator[Row]:
    """Yield a row for each of ``engines`` that competes in the set; ``seconds`` is the limit of each solve.

    RuntimeError when the instance cannot be built.
    """
    chosen = [engine for engine in engines if engine in SETS[of_set].engines]
    published = SETS[of_set].published(name)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        wrong = _call("prepare", of_set, name, temporary, limit=_PREPARING_S)
        if wrong:
            raise RuntimeError(f"{of_set} {name}: {wrong}")
        facts = json.loads((folder / FACTS).read_text())
        if published is not None:
            facts |= {"published": published.value, "exact": published.exact}
        for engine in chosen:
            found = _solve(of_set, engine, seconds, facts["pairs"], folder)
            note = "; ".join(filter(None, (facts["note"], found.get("note"))))
            measured = f"{datetime.datetime.now().astimezone():%Y-%m-%d %H:%M}"
            yield Row(of_set, name, engine=engine, **{**facts, **found, "measured": measured, "note": note})


def _solve(of_set: str, engine: str, seconds: float, pairs: int, folder: Path) -> dict[str, Any]:
    most = ENGINES[engine].most_pairs
    if pairs > most:
        return {"note": f"{SKIPPED} more than {most:,.0f} pairs"}
    wrong = _call("solve", of_set, engine, str(seconds), str(folder), limit=2 * seconds + _GRACE_S)
    if wrong:
        return {"note": f"failed: {wrong}"}
    found: dict[str, Any] = json.loads((folder / f"{engine}.json").read_text())
    return found


def _call(*arguments: str, limit: float) -> str:
    """Run one step and return what went wrong in one line; ``""`` when nothing did."""
    command = [sys.executable, "-m", "tests.benchmarks.child", *arguments]
    try:
        # What solvers print on standard output is dropped; results come by file.
        done = subprocess.run(
            command, cwd=_ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, timeout=limit
        )
    except subprocess.TimeoutExpired:
        return f"ended after {limit:,.0f} s"
    if done.returncode == 0:
        return ""
    said = done.stderr.strip().splitlines()
    return said[-1] if said else f"exit code {done.returncode}"
