"""One command in a process of its own: processor time, seconds on the clock, and peak memory."""

from __future__ import annotations

import atexit
import compileall
import functools
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

# What runs the command is small itself: a child's peak memory begins with that of whoever started it.
_STARTER = """
import json, os, sys, time
began = time.perf_counter()
nothing = os.open(os.devnull, os.O_WRONLY)
silence = [(os.POSIX_SPAWN_DUP2, nothing, 1), (os.POSIX_SPAWN_DUP2, nothing, 2)]
child = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=silence)
_, status, used = os.wait4(child, 0)
clock = time.perf_counter() - began
print(json.dumps([os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, clock, used.ru_maxrss]))
"""


@dataclass(frozen=True, slots=True)
class Used:
    """What a command took: processor seconds of user and system, seconds on the clock, peak MB of 2**20 bytes."""

    processor_s: float
    clock_s: float
    peak_mb: float


def measure(arguments: Sequence[str], tree: Path, times: int = 1, ends: tuple[int, ...] = (0,), **extra: str) -> Used:
    """Run ``arguments`` with Python in the working copy ``tree`` so many ``times``; return the cheapest run.

    The package has its bytecode, as an installed one has. RuntimeError when the exit code is none of ``ends``;
    ``extra`` is put into the environment.
    """
    return min((_run(arguments, tree, ends, extra) for _ in range(times)), key=lambda used: used.processor_s)


@functools.cache
def _installed(tree: Path) -> str:
    """Return a folder with the package of ``tree`` and its bytecode; it goes when this process ends."""
    folder = tempfile.mkdtemp()
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    shutil.copytree(tree / "planner", Path(folder, "planner"), ignore=shutil.ignore_patterns("__pycache__"))
    compileall.compile_dir(folder, quiet=1)
    return folder


def _run(arguments: Sequence[str], tree: Path, ends: tuple[int, ...], extra: dict[str, str]) -> Used:
    environment = {**os.environ, "PYTHONPATH": _installed(tree), "PYTHONSAFEPATH": "1", **extra}
    command = [sys.executable, "-S", "-c", _STARTER, sys.executable, *arguments]
    done = subprocess.run(command, cwd=tree, env=environment, capture_output=True, check=True)
    code, processor_s, clock_s, peak = json.loads(done.stdout)
    if code not in ends:
        raise RuntimeError(f"{' '.join(arguments)} ended with {code}")
    unit = 2**20 if sys.platform == "darwin" else 2**10
    return Used(processor_s, clock_s, peak / unit)
