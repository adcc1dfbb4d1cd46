"""Static checks and the fastest tests of every room, in under a minute: `python -m tests.quick`.

They are what a commit should wait for (see `.pre-commit-config.yaml`); the whole suite and `.ci/run` are for before a
merge. The checks run beside the tests. Whatever fails is printed in full, and the exit code is 1.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from tests.plain_lines import Figures, measure
from tests.road import COVERS, returns, road_of_plan

ROOT = Path(__file__).parents[1]
STATIC = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("lint-imports", "--no-logo"),
    ("mypy",),
)
# Each takes less than a second or two of processor time.
TESTS = (
    *("planner", "tests/rules", "tests/test_docs.py", "tests/test_policy.py", "tests/test_prices.py"),
    *("tests/test_releases.py", "tests/test_windows.py", "tests/intake/test_ids.py", "tests/latency/test_evidence.py"),
    *("tests/verify/test_aims.py", "tests/verify/test_assignments.py", "tests/verify/test_hosts.py"),
    *("tests/verify/test_totals.py", "tests/sizing/test_aims.py", "tests/sizing/test_core.py"),
    *("tests/sizing/test_count_search.py", "tests/explain/test_site.py", "tests/outputs/test_cellsafe.py"),
)
# What sizing reached; a change may better these figures, and then lowers them here.
MOST_NODES_OF_A_STATEMENT = 22  # 90th percentile
MOST_RETURNS = 14  # of the road of a fleet to a file that it had left
MOST_PARAMETERS = 6


def main() -> int:
    """Run everything; return 1 where something failed."""
    began = time.monotonic()
    running = [(command, _start(Path(sys.executable).parent / command[0], *command[1:])) for command in STATIC]
    tests = _start(sys.executable, "-m", "pytest", "-q", "-n", "0", *TESTS)
    failed = [_told(" ".join(command), process) for command, process in [*running, (("tests",), tests)]]
    failed.append(_plain(measure([ROOT / "planner" / "sizing"])))
    failed += [_straight(cover) for cover in COVERS]
    print(f"{time.monotonic() - began:.0f} s", file=sys.stderr)
    return int(any(failed))


def _start(*command: str | Path) -> subprocess.Popen[str]:
    few = {**os.environ, "CASTINGVOTE_EXAMPLES": "2"}
    return subprocess.Popen(
        command, cwd=ROOT, env=few, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=-1
    )


def _told(name: str, process: subprocess.Popen[str]) -> bool:
    """Say how a process ended, and all of what it said where it failed; return whether it did."""
    text, _ = process.communicate()
    print(f"{'failed' if process.returncode else 'passed'}  {name}")
    if process.returncode:
        print(text)
    return process.returncode != 0


def _plain(figures: Figures) -> bool:
    """Say how easy the lines of sizing are to read; return whether they are harder than they were."""
    nodes, wide = figures.percentile(90), figures.wide_functions
    harder = nodes > MOST_NODES_OF_A_STATEMENT or bool(wide)
    print(f"{'failed' if harder else 'passed'}  plain lines of sizing: {nodes:.0f} nodes at the 90th percentile")
    for line in wide:
        print(f"  {line.nodes} parameters, {MOST_PARAMETERS} at most: {line.where}")
    return harder


def _straight(cover: str) -> bool:
    """Say how often the road of a fleet comes back to a file; return whether that is more often than it was."""
    back = returns(road_of_plan(cover))
    print(f"{'failed' if back > MOST_RETURNS else 'passed'}  road of a plan, cover {cover}: {back} returns to a file")
    return back > MOST_RETURNS


if __name__ == "__main__":
    sys.exit(main())
