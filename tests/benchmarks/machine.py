"""Where and when: what a time means nothing without."""

from __future__ import annotations

import datetime
import os
import platform
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from planner.version import VERSION

_LIBRARIES = ("highspy", "ortools", "pulp", "numpy", "scipy", "pandas", "spopt")


def describe() -> list[str]:
    """Return lines of text: date, processor, system, Python, libraries, and how busy the machine is just now."""
    return [
        f"Date: {datetime.datetime.now().astimezone():%Y-%m-%d %H:%M %Z}",
        f"Machine: {os.cpu_count()} cores, {_processor()}, {_memory()}, {platform.system()} {platform.machine()}",
        f"Load before the run (runnable processes over 1 minute; near 0 means undisturbed): {_load()}",
        f"Versions: castingvote {VERSION}, Python {platform.python_version()}, {_libraries()}",
    ]


def _processor() -> str:
    listing = Path("/proc/cpuinfo")
    if listing.exists():
        for line in listing.read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or "processor unknown"


def _memory() -> str:
    if sys.platform == "win32":
        return "memory unknown"
    return f"{os.sysconf('SC_PAGE_SIZE') * os.sysconf('SC_PHYS_PAGES') / 2**30:.0f} GB"


def _load() -> str:
    return "unknown" if sys.platform == "win32" else f"{os.getloadavg()[0]:.1f}"


def _libraries() -> str:
    found = []
    for name in _LIBRARIES:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            found.append(f"no {name}")
    return ", ".join(found)
