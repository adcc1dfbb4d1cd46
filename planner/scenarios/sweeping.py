"""The sweep: scenarios planned in parallel, each once; what the store or other points tell is not planned again."""

from __future__ import annotations

import dataclasses
import os
import pickle
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from planner.errors import CastingvoteError, InputError
from planner.fleet import Finding, Fleet
from planner.interrupts import heard
from planner.scenarios.cluster import Cluster
from planner.scenarios.front import with_front
from planner.scenarios.order import next_wave, places, settled, with_shared_bounds
from planner.scenarios.runners import Flag, Here, Processes, Runner
from planner.scenarios.store import Store, fleet_digest, key_of
from planner.scenarios.sweep_results import Point, Scenario, Sweep
from planner.scenarios.task import Options, Shared, solve
from planner.version import VERSION


@dataclass(frozen=True, slots=True)
class Done:
    """How far a sweep is: points known of all, and seconds left if the rest takes as long (None before it is known)."""

    known: int
    of: int
    seconds_left: float | None


def sweep(
    fleet: Fleet,
    scenarios: Sequence[Scenario],
    *,
    options: Options | None = None,
    jobs: int | None = None,
    dask: str | None = None,
    store: str | os.PathLike[str] | None = None,
    solve_all: bool = False,
    notes: Sequence[Finding] = (),
    tell: Callable[[Done], None] | None = None,
) -> Sweep:
    """Return a point for each scenario: its figures with proof or gap, or the error that kept it from having any.

    ``jobs`` processes work at a time (all processors by default; 1 works in this process), or the workers of the
    Dask scheduler at ``dask``. ``store`` names an SQLite file of finished scenarios. A scenario that lies between two
    planned ones which leave nothing open is not planned (see `planner.scenarios.order`), unless ``solve_all``; nor are
    any left out where later aims or certainty are asked for, which bounds say nothing about. After Ctrl-C the
    points so far come back, ``complete`` False. Raises InputError where two scenarios have one name, or the store or
    the cluster cannot be used; KeyboardInterrupt when there is no point yet.
    """
    options = options or Options()
    _refuse_repeated(scenarios)
    _refuse_own(fleet, store, dask is not None or jobs != 1)
    # Of rules of the caller nobody knows that what is asked less of can only take fewer hosts.
    shortcuts = not (solve_all or options.later_aims or options.uncertainty or fleet.own)
    runner: Runner | None = None
    kept = Store(store)
    stopped = threading.Event()
    with heard(stopped.set):
        try:
            state = _State(fleet, scenarios, options, kept, tell)
            while (pending := state.pending(shortcuts=shortcuts)) and not stopped.is_set():
                wave = state.unkept(next_wave(pending, state.points, state.at) if shortcuts else pending)
                if wave and runner is None:
                    shared = Shared(fleet, options)
                    runner = _runner(shared, dask, jobs or os.cpu_count() or 1, len(pending), stopped)
                if wave and runner is not None:
                    state.plan(wave, runner)
        finally:
            if runner is not None:
                runner.close()
            kept.close()
    if pending and not state.points:
        raise KeyboardInterrupt
    return Sweep(
        points=state.result(),
        notes=tuple(notes),
        sources=fleet.sources,
        currency=fleet.policy.currency,
        options=dataclasses.asdict(options),
        complete=not pending,
        version=VERSION,
    )


def _refuse_repeated(scenarios: Sequence[Scenario]) -> None:
    names = [scenario.name for scenario in scenarios]
    repeated = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
    if repeated:
        message = f"Several scenarios are called {', '.join(repeated[:3])}."
        raise InputError((Finding("error", "scenario_repeated", "", message, "Give each a name of its own."),))


def _refuse_own(fleet: Fleet, store: object, elsewhere: bool) -> None:
    """Refuse to keep what rests on rules of the caller, or to send such rules where they cannot go."""
    if fleet.own and store is not None:
        message = "Kept results do not record which of your own rules they rest on, so they cannot be used again."
        raise InputError((Finding("error", "own_stored", "", message, "Sweep without a store."),))
    if fleet.own and elsewhere:
        try:
            pickle.dumps(fleet.own)
        except Exception as error:
            message = f"Your own rules or sources cannot be sent to other processes: {error}."
            hint = "Define the function of your rule or source at the top level of a Python file, or sweep with jobs=1."
            raise InputError((Finding("error", "own_here_only", "", message, hint),)) from error


def _runner(shared: Shared, dask: str | None, jobs: int, tasks: int, stopped: Flag) -> Runner:
    if dask is not None:
        return Cluster(solve, shared, dask, VERSION, stopped)
    return Here(solve, shared, stopped) if jobs == 1 else Processes(solve, shared, min(jobs, tasks), stopped)


class _State:
    """What is known so far."""

    def __init__(
        self,
        fleet: Fleet,
        scenarios: Sequence[Scenario],
        options: Options,
        store: Store,
        tell: Callable[[Done], None] | None,
    ) -> None:
        self.scenarios, self.store, self._tell = scenarios, store, tell
        digest = fleet_digest(fleet, scenarios)
        self._key = {scenario.name: key_of(digest, scenario, options) for scenario in scenarios}
        self.at = places(fleet, scenarios)
        self.points: dict[str, Point] = {}
        self._began = time.perf_counter()
        self._planned = 0

    def pending(self, *, shortcuts: bool) -> list[Scenario]:
        """Return what is still to be planned, after settling what follows from other points."""
        waiting = [scenario for scenario in self.scenarios if scenario.name not in self.points]
        if shortcuts:
            known = [point for point in self.points.values() if point.origin != "bounds" and point.gap == 0]
            for scenario in waiting:
                point = settled(scenario, self.at, known)
                if point is not None:
                    self.points[scenario.name] = point
        return [scenario for scenario in waiting if scenario.name not in self.points]

    def unkept(self, wave: Sequence[Scenario]) -> list[Scenario]:
        """Take the points of ``wave`` that the store has; return the scenarios that it has not.

        The store is asked wave by wave, so that a sweep that goes on takes the same steps as one that never stopped.
        """
        for scenario in wave:
            kept = self.store.get(self._key[scenario.name], scenario)
            if kept is not None:
                self.points[scenario.name] = kept
        return [scenario for scenario in wave if scenario.name not in self.points]

    def plan(self, wave: Sequence[Scenario], runner: Runner) -> None:
        """Plan the scenarios of ``wave``, those with the same content once."""
        same: dict[str, list[Scenario]] = {}
        for scenario in wave:
            same.setdefault(self._key[scenario.name], []).append(scenario)
        keys = list(same)
        for position, answer in runner.run([same[key][0] for key in keys]):
            key = keys[position]
            point = answer if isinstance(answer, Point) else _failed(same[key][0], answer)
            self.store.put(key, point)
            for scenario in same[key]:
                self.points[scenario.name] = dataclasses.replace(point, scenario=scenario)
            self._planned += 1
            self._progress()

    def _progress(self) -> None:
        if self._tell is not None:
            left = len(self.scenarios) - len(self.points)
            each = (time.perf_counter() - self._began) / self._planned
            self._tell(Done(len(self.points), len(self.scenarios), each * left))

    def result(self) -> tuple[Point, ...]:
        """Return all points in order, with bounds shared and the front marked."""
        missing = "not planned: the sweep was interrupted"
        points = [self.points.get(s.name) or Point(s, error=missing) for s in self.scenarios]
        return with_front(with_shared_bounds(points, self.at), self.at)


def _failed(scenario: Scenario, answer: Any) -> Point:
    """Return the point of a task that could not be run."""
    if isinstance(answer, CastingvoteError):
        return Point(scenario, error=str(answer))
    words = f"{type(answer).__name__}: {answer}" if isinstance(answer, BaseException) else repr(answer)
    return Point(scenario, error=f"The worker did not come back ({words}). Is there enough memory?")
