"""One step of a benchmark in a process of its own, so that its peak memory is its own: run by `tests.benchmarks.runs`.

``prepare`` builds an instance and keeps the Fleet and its eligible pairs; ``solve`` runs one engine on one of the two.
Each writes what it found as JSON.
"""

from __future__ import annotations

import json
import math
import pickle
import sys
import time
from pathlib import Path
from typing import Any

import click
import numpy as np

from planner.fleet import Fleet
from planner.rules import Checker
from planner.sizing.instance.problem import Problem, build_problem
from planner.verify import verify
from tests.benchmarks.engines import ENGINES, Answer
from tests.benchmarks.engines.one_by_one import hosts_one_by_one
from tests.benchmarks.sets import SETS

FACTS = "facts.json"


@click.group()
def child() -> None:
    """Run one step of a benchmark."""


@child.command()
@click.argument("of_set", type=click.Choice(tuple(SETS)))
@click.argument("name")
@click.argument("folder", type=click.Path(path_type=Path, exists=True))
def prepare(of_set: str, name: str, folder: Path) -> None:
    """Build an instance into FOLDER."""
    fleet = SETS[of_set].build(name)
    checker = Checker(fleet)
    problem = build_problem(fleet, checker)
    _keep(folder / "problem", problem)
    _keep(folder / "fleet", fleet.replace())  # without what is cached: engines start from the tables
    ineligible = int(checker.needs_host.sum()) - problem.sites
    note = f"{ineligible} sites have no eligible pool and are left out" if ineligible else ""
    _write(folder / FACTS, {"sites": problem.sites, "hubs": problem.pools, "pairs": len(problem.pool), "note": note})


@child.command()
@click.argument("of_set", type=click.Choice(tuple(SETS)))
@click.argument("engine", type=click.Choice(tuple(ENGINES)))
@click.argument("seconds", type=float)
@click.argument("folder", type=click.Path(path_type=Path, exists=True))
def solve(of_set: str, engine: str, seconds: float, folder: Path) -> None:
    """Run ENGINE on the instance in FOLDER."""
    case: Fleet | Problem = pickle.loads((folder / ENGINES[engine].takes).read_bytes())
    if isinstance(case, Problem) and SETS[of_set].one_by_one and engine != "castingvote-count":
        case = hosts_one_by_one(case)
    wall, cpu = time.perf_counter(), time.process_time()
    answer = ENGINES[engine].solve(case, seconds)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    peak_mb = _peak_mb()  # before the plan is checked, which is not the engine's work
    found = {"value": answer.value, "bound": answer.bound, "proven": answer.proven, "rtt_gap": answer.rtt_gap}
    found["note"] = _note(case, answer)
    _write(folder / f"{engine}.json", {**found, "seconds": wall, "cpu_seconds": cpu, "peak_mb": peak_mb})


def _note(case: Fleet | Problem, answer: Answer) -> str:
    if not isinstance(case, Fleet) or answer.plan is None:
        return answer.note
    wrong = [str(finding) for finding in verify(case, answer.plan) if finding.severity == "violation"]
    return "; ".join(part for part in (answer.note, f"{len(wrong)} violations: {wrong[0]}" if wrong else "") if part)


def _peak_mb() -> float:
    """Return the largest resident memory of this process so far in MB (2**20 bytes); NaN where it is not known."""
    try:
        import resource
    except ImportError:  # Windows
        return math.nan
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (2**20 if sys.platform == "darwin" else 2**10)


def _keep(path: Path, thing: object) -> None:
    path.write_bytes(pickle.dumps(thing, protocol=pickle.HIGHEST_PROTOCOL))


def _write(path: Path, found: dict[str, Any]) -> None:
    known = {name: x for name, x in found.items() if not isinstance(x, float) or np.isfinite(x)}
    path.write_text(json.dumps(known))


if __name__ == "__main__":
    child()
