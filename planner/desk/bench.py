"""What a worker process keeps warm: files that were brought, fleets that were asked about, plans."""

from __future__ import annotations

import dataclasses
import json
import math
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any, Generic, TypeVar

from planner.desk.bringing import Brought, Files
from planner.desk.choices import Choices
from planner.desk.question import Question
from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.plan import Plan
from planner.sizing import Progress

V = TypeVar("V")
Tell = Callable[[dict[str, Any]], bool]  # sends news to the page; False where the work is to stop
_MOST_FILES, _MOST_FLEETS, _MOST_PLANS = 2, 4, 12
_PLAN_SECONDS = 60.0  # where the page says nothing else
_LARGE = frozenset({"kept_served", "served", "covered", "margin"})  # aims that are to be large


class _Kept(Generic[V]):
    """The last few of something by key."""

    def __init__(self, most: int) -> None:
        self._most, self._held = most, OrderedDict[str, V]()

    def get(self, key: str, make: Callable[[], V]) -> V:
        """Return what is kept under ``key``, made now where it is not."""
        if key not in self._held:
            self._held[key] = make()
        self._held.move_to_end(key)
        while len(self._held) > self._most:
            self._held.popitem(last=False)
        return self._held[key]

    def drop(self, key: str) -> V | None:
        """Return what was kept under ``key``, and keep it no longer."""
        return self._held.pop(key, None)


class Stopped(Exception):
    """A task is not wanted any more."""


@dataclasses.dataclass(frozen=True)
class Work:
    """One task: what the page sent, and how to tell it news."""

    body: dict[str, Any]
    tell: Tell

    @property
    def folder(self) -> Path:
        """The folder of the files that were brought."""
        return Path(self.body["folder"])

    @property
    def reading_key(self) -> str:
        """The same for the same files and choices."""
        return json.dumps([self.body["folder"], self.body.get("files", 0), self.body.get("choices")], sort_keys=True)

    @property
    def question(self) -> Question:
        """What is asked."""
        return Question.of(self.body.get("question") or {})

    @property
    def key(self) -> str:
        """The same for the same files, choices and question."""
        asked = json.dumps(dataclasses.asdict(self.question), sort_keys=True, default=str)
        return f"{self.reading_key}\n{asked}"

    @property
    def thorough(self) -> bool:
        """Whether the plan is to be searched longer."""
        return bool(self.body.get("thorough"))

    def watch(self, progress: Progress) -> bool:
        """Tell how far a plan is; False where it is to stop."""
        best, bound = progress.best, progress.bound
        return self.tell({"stage": progress.stage, "best": best, "bound": bound, "seconds": round(progress.seconds, 2)})


def _better(first: Plan, second: Plan) -> bool:
    """Say whether ``first`` is better than ``second`` on the first aim in which they differ."""
    for one, other in zip(first.aims, second.aims, strict=False):
        if one.aim == other.aim and not math.isclose(one.value, other.value, rel_tol=1e-9, abs_tol=1e-9):
            return (one.value > other.value) == (one.aim in _LARGE)
    return False


class Bench:
    """What one worker keeps warm: files, fleets and plans, the last few of each."""

    def __init__(self) -> None:
        self._files = _Kept[Files](_MOST_FILES)
        self._brought = _Kept[Brought](_MOST_FILES)
        self._fleets = _Kept[Fleet](_MOST_FLEETS)
        self._plans = _Kept[Plan](_MOST_PLANS)
        self._stopped: set[str] = set()

    def brought(self, work: Work) -> Brought:
        """Return what the files of ``work`` make with its choices."""
        of_files = f"{work.folder}\n{work.body.get('files', 0)}"
        files = self._files.get(of_files, lambda: Files(work.folder))
        return self._brought.get(work.reading_key, lambda: files.read(Choices.of(work.body.get("choices"))))

    def asked(self, work: Work) -> Fleet:
        """Return the fleet that ``work`` asks about; InputError where none can be read."""
        read = self.brought(work).fleet
        if read is None:
            message, hint = "There is no fleet yet.", "Correct the errors under Fleet first."
            raise InputError((Finding("error", "no_fleet", "", message, hint),))
        return self._fleets.get(work.key, lambda: work.question.fleet(read))

    def plan(self, work: Work, *, anew: bool = False) -> tuple[Fleet, Plan]:
        """Return the plan that ``work`` asks for: the one in its file, one that is kept, or one that is made now.

        A plan that was stopped is kept as the best so far. With ``anew`` it is searched again, as is one that is to be
        searched longer; of both the better one is kept, for whatever is asked about the answer from then on.
        """
        from planner.outputs import read_plan

        fleet = self.asked(work)
        if (file := work.body.get("plan_file")) is not None:
            return fleet, self._plans.get(f"file {file}", lambda: read_plan(file))
        before = None
        if anew and (work.key in self._stopped or work.thorough):
            before = self._plans.drop(work.key)
        made = self._plans.get(work.key, lambda: self._made(fleet, work))
        if before is not None and _better(before, made):
            self._plans.drop(work.key)
            made = self._plans.get(work.key, lambda: before)
        return fleet, made

    def _made(self, fleet: Fleet, work: Work) -> Plan:
        from planner.sizing import plan as make_plan

        self._stopped.discard(work.key)

        def watch(progress: Progress) -> bool:
            if not work.watch(progress):
                self._stopped.add(work.key)
            return work.key not in self._stopped

        limit = work.body.get("seconds", _PLAN_SECONDS)
        return make_plan(fleet, time_limit=limit, thorough=work.thorough, watch=watch)

    def was_stopped(self, work: Work) -> bool:
        """Say whether the plan of ``work`` was stopped before it was done."""
        return work.key in self._stopped
