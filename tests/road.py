"""The road of a fleet from `plan` to the Plan, as files of sizing: `python -m tests.road`.

A road is easy to follow that goes on from file to file. Each time it comes back to a file that it had left, a reader
has to turn back. Followed are the functions that are handed the fleet, its arrays or its case, each when it is first
called; what these nouns do themselves is not.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import planner
from planner.fleet import Fleet
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.six_sites import six_sites

COVERS = ("none", "hub")
_SIZING = str(Path(planner.__file__).parent / "sizing")
_NOUNS = (Fleet, Case, Problem)


def road_of(run: Callable[[], object]) -> list[str]:
    """Return the files of sizing through which ``run`` takes the fleet, in order."""
    followed: set[object] = set()
    found: list[str] = []

    def trace(frame: FrameType, event: str, _argument: object) -> None:
        code = frame.f_code
        if event != "call" or code in followed or not code.co_filename.startswith(_SIZING) or "<" in code.co_name:
            return
        given = [frame.f_locals.get(name) for name in code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]]
        if isinstance(frame.f_locals.get("self"), _NOUNS) or not any(isinstance(one, _NOUNS) for one in given):
            return
        followed.add(code)
        place = str(Path(code.co_filename).relative_to(_SIZING))
        if found[-1:] != [place]:
            found.append(place)

    sys.setprofile(trace)
    try:
        run()
    finally:
        sys.setprofile(None)
    return found


def road_of_plan(cover: str) -> list[str]:
    """Return the road of the plan of six sites."""
    fleet = six_sites(cover=cover)
    planner.plan(fleet)  # what is loaded when it is first asked for is loaded now
    return road_of(lambda: planner.plan(fleet))


def returns(road: list[str]) -> int:
    """Return how often a road comes back to a file that it had left."""
    return len(road) - len(set(road))


def main() -> None:
    """Print the roads of a plan without cover and of one with cover."""
    for cover in COVERS:
        road = road_of_plan(cover)
        print(f"cover {cover}: {len(road)} stops, {returns(road)} returns")
        print("  " + " > ".join(road))


if __name__ == "__main__":
    main()
