"""The exact schedule of a small project: the model of `planner.rollout.project` in CP-SAT.

Rooms (7) are reservoirs here, so that every order of the moves is considered and not only the one of ``after``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from planner.rollout.project import Project, Timetable

_LITERALS = 6_000  # most pairs of a job and a night that are put into a model
_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class Exact:
    """What the search knows: the best timetable it found, if any, and fewer waves than ``waves`` are impossible."""

    timetable: Timetable | None
    waves: int


def small_enough(project: Project, nights: range) -> bool:
    """Say whether `schedule_exactly` takes the project on."""
    return len(project.jobs) * len(nights) <= _LITERALS


def schedule_exactly(
    project: Project, nights: range, hint: Timetable | None, work: float, seconds: float | None
) -> Exact:
    """Return the schedule with the fewest waves within ``nights``, then the earliest finish, as far as it is found.

    ``work`` is in units of the solver that are about seconds, but do not depend on the machine; ``seconds`` are those
    left, None for no limit. The bound holds for schedules within ``nights``.
    """
    model = _Model(project, nights)
    if model.impossible:
        return Exact(None, 0)
    model.build()
    if hint is not None and None not in hint.night:
        model.hint(hint)
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = work
    if seconds is not None:
        solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 0
    status = solver.solve(model.cp)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Exact(None, 0)
    bound = int(-(-max(0.0, solver.best_objective_bound) // model.weight)) if model.weight else 0
    if status == cp_model.FEASIBLE:
        # The last wave counted in full may owe itself to the finish, which counts below one wave.
        bound = int(max(0.0, solver.best_objective_bound) // model.weight)
    starts = tuple(solver.value(start) for start in model.start)
    night = tuple(
        next(n for n, literal in model.at[job].items() if solver.value(literal)) for job in range(len(project.jobs))
    )
    after = tuple(frozenset(job.after) for job in project.jobs)
    found = Timetable(night, tuple(start + model.first for start in starts), after)
    return Exact(found, found.waves if status == cp_model.OPTIMAL else bound)


@dataclass
class _Model:
    """Variables: ``start`` of each job in minutes after ``first``, ``at`` its nights, ``used`` nights."""

    project: Project
    nights: range
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    start: list[cp_model.IntVar] = field(default_factory=list)
    at: list[dict[int, cp_model.IntVar]] = field(default_factory=list)
    used: dict[int, cp_model.IntVar] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.fitting = [
            {n: slots for n in self.nights if (slots := [o for o in job.openings(n) if o.end - o.start >= job.minutes])}
            for job in self.project.jobs
        ]
        self.impossible = not self.fitting or any(not found for found in self.fitting)
        opened = [o for found in self.fitting for slots in found.values() for o in slots]
        self.first = min((o.start for o in opened), default=0)
        self.horizon = max((o.end for o in opened), default=0) - self.first
        self.weight = self.horizon + 1

    def build(self) -> None:
        """Add every constraint by its number in `planner.rollout.project`, and the objective."""
        self.used = {n: self.cp.new_bool_var("") for n in self.nights if any(n in found for found in self.fitting)}
        for at in range(len(self.project.jobs)):
            self._openings(at)
        for at in range(len(self.project.jobs)):
            self._precedences(at)
        self._resources()
        self._owners()
        self._rooms()
        finish = self.cp.new_int_var(0, self.horizon, "")
        for job, start in zip(self.project.jobs, self.start, strict=True):
            self.cp.add(finish >= start + job.minutes)
        self.cp.minimize(self.weight * sum(self.used.values()) + finish)

    def _openings(self, job: int) -> None:  # (1)
        start = self.cp.new_int_var(0, self.horizon, "")
        literals: dict[int, cp_model.IntVar] = {}
        for night, slots in self.fitting[job].items():
            literals[night] = self.cp.new_bool_var("")
            self.cp.add_implication(literals[night], self.used[night])
            inside = [self.cp.new_bool_var("") for _ in slots] if len(slots) > 1 else [literals[night]]
            for slot, chosen in zip(slots, inside, strict=True):
                self.cp.add(start >= slot.start - self.first).only_enforce_if(chosen)
                latest = slot.end - self.first - self.project.jobs[job].minutes
                self.cp.add(start <= latest).only_enforce_if(chosen)
            if len(slots) > 1:
                self.cp.add(sum(inside) == literals[night])
        self.cp.add_exactly_one(literals.values())
        self.start.append(start)
        self.at.append(literals)

    def _night(self, job: int) -> cp_model.LinearExprT:
        return sum(night * literal for night, literal in self.at[job].items())

    def _precedences(self, job: int) -> None:  # (2), (3), (4)
        one = self.project.jobs[job]
        after = () if self.project.room else one.after
        for other in {*one.needs, *after}:
            self.cp.add(self.start[other] + self.project.jobs[other].minutes <= self.start[job])
        for other in one.earlier:
            self.cp.add(self._night(other) + 1 <= self._night(job))
        for other, nights in self.project.apart(job).items():
            for night, literal in self.at[job].items() if other > job else ():
                for near in range(night - nights + 1, night + nights):
                    if near in self.at[other]:
                        self.cp.add_bool_or(~literal, ~self.at[other][near])

    def _resources(self) -> None:  # (5)
        for resource, capacity in self.project.capacity.items():
            users = [
                (j, amount) for j, job in enumerate(self.project.jobs) for name, amount in job.uses if name == resource
            ]
            spans = [
                self.cp.new_fixed_size_interval_var(self.start[j], self.project.jobs[j].minutes, "") for j, _ in users
            ]
            self.cp.add_cumulative(spans, [amount for _, amount in users], capacity)

    def _owners(self) -> None:  # (6)
        jobs = self.project.jobs
        steps: dict[int, dict[str, list[cp_model.IntVar]]] = {night: {} for night in self.used}
        changing: dict[int, dict[str, cp_model.IntVar]] = {night: {} for night in self.used}
        for j, job in enumerate(jobs):
            for night, literal in self.at[j].items() if job.owner else ():
                steps[night].setdefault(job.owner, []).append(literal)
        for night, owners in steps.items():
            for owner, literals in owners.items():
                changing[night][owner] = self.cp.new_bool_var("")
                self.cp.add_max_equality(changing[night][owner], literals)
        quotas: dict[str, set[str]] = {}
        for job in jobs:
            for quota in job.quotas:
                quotas.setdefault(quota, set()).add(job.owner)
        for quota, most in self.project.quota.items():
            for changed in changing.values():
                self.cp.add(sum(v for owner, v in changed.items() if owner in quotas.get(quota, ())) <= most)
        if self.project.sizes:
            self._sizes(changing)

    def _sizes(self, changing: Mapping[int, Mapping[str, cp_model.IntVar]]) -> None:
        sizes, place = self.project.sizes, self.cp.new_constant(0)
        begun: list[tuple[int, cp_model.IntVar, cp_model.IntVar]] = []
        for night, owners in sorted(changing.items()):
            busy = self.cp.new_bool_var("")
            for changed in owners.values():
                self.cp.add_implication(changed, busy)
            self.cp.add(sum(owners.values()) >= busy)
            most = self.cp.new_int_var(min(sizes), max(sizes), "")
            self.cp.add_element(place, list(sizes), most)
            self.cp.add(sum(owners.values()) <= most)
            further = self.cp.new_int_var(0, len(sizes) - 1, "")
            self.cp.add_min_equality(further, [place + busy, self.cp.new_constant(len(sizes) - 1)])
            begun.append((night, busy, place))
            place = further
        if self.project.pilot_days > 1:
            self._pilot(begun)

    def _pilot(self, begun: list[tuple[int, cp_model.IntVar, cp_model.IntVar]]) -> None:
        """Keep the first wave with owners and the second one ``pilot_days`` apart."""
        none_before = self.cp.new_constant(1)
        for position, (night, busy, _) in enumerate(begun):
            for later, other, _ in begun[position + 1 :]:
                if later - night < self.project.pilot_days:
                    self.cp.add_bool_or(~none_before, ~busy, ~other)
            still = self.cp.new_bool_var("")
            self.cp.add_bool_and(none_before, ~busy).only_enforce_if(still)
            self.cp.add_bool_or(~none_before, busy, still)
            none_before = still

    def _rooms(self) -> None:  # (7)
        for room, free in self.project.room.items():
            times: list[cp_model.LinearExprT] = []
            levels: list[int] = []
            for j, job in enumerate(self.project.jobs):
                times += [self.start[j] for name, _ in job.takes if name == room]
                levels += [amount for name, amount in job.takes if name == room]
                times += [self.start[j] + job.minutes for name, _ in job.gives if name == room]
                levels += [-amount for name, amount in job.gives if name == room]
            if sum(level for level in levels if level > 0) > free:
                self.cp.add_reservoir_constraint(times, levels, -sum(map(abs, levels)), free)

    def hint(self, timetable: Timetable) -> None:
        """Start the search from ``timetable``."""
        for job, (night, start) in enumerate(zip(timetable.night, timetable.start, strict=True)):
            for other, literal in self.at[job].items():
                self.cp.add_hint(literal, other == night)
            if start is not None:
                self.cp.add_hint(self.start[job], start - self.first)
