"""What the desk hands over: the files that the commands write, made by the same calls."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from planner.desk.bench import Bench, Work
from planner.errors import InputError
from planner.fleet import Finding

_ROLLOUT_SECONDS = 60.0


def write_file(bench: Bench, work: Work, kind: str, path: Path) -> str:
    """Write the file of ``kind`` to ``path`` and return the name that people save it under; InputError if unknown."""
    if kind not in _KINDS:
        hint = f"Choose one of {', '.join(_KINDS)}."
        raise InputError((Finding("error", "file_unknown", "", f"There is no file {kind} to hand over.", hint),))
    name, write = _KINDS[kind]
    write(bench, work, path)
    return name


def _workbook(bench: Bench, work: Work, path: Path) -> None:
    from planner.outputs import write_workbook
    from planner.readiness import audit
    from planner.resilience import availability, drill

    fleet, plan = bench.plan(work)
    drills, uptime = drill(fleet, plan), availability(fleet, plan)
    write_workbook(fleet, plan, path, readiness=audit(fleet), drills=drills, availability=uptime)


def _json(bench: Bench, work: Work, path: Path) -> None:
    from planner.outputs import write_json
    from planner.readiness import audit

    fleet, plan = bench.plan(work)
    write_json(plan, path, audit(fleet))


def _report(bench: Bench, work: Work, path: Path) -> None:
    from planner.outputs import write_report
    from planner.verify import verify

    fleet, plan = bench.plan(work)
    write_report(fleet, plan, path, violations=[v for v in verify(fleet, plan) if v.severity == "violation"])


def _rollout(bench: Bench, work: Work, path: Path) -> None:
    from planner.outputs import write_rollout_workbook
    from planner.rollout import roll_out

    fleet, plan = bench.plan(work)
    found = roll_out(fleet, plan, time_limit=_ROLLOUT_SECONDS, watch=work.watch)
    write_rollout_workbook(fleet, plan, found, path)


def _calendar(bench: Bench, work: Work, path: Path) -> None:
    from planner.outputs import write_calendar
    from planner.rollout import roll_out

    fleet, plan = bench.plan(work)
    write_calendar(roll_out(fleet, plan, time_limit=_ROLLOUT_SECONDS, watch=work.watch), path)


def _mapping(bench: Bench, work: Work, path: Path) -> None:
    path.write_text(bench.brought(work).mapping(), encoding="utf-8")


def _fleet(bench: Bench, work: Work, path: Path) -> None:
    """Write the fleet as it is asked about; without a question that is the fleet as it was read, with its repairs."""
    from planner.outputs import write_repaired

    write_repaired(bench.asked(work), path)


_KINDS: dict[str, tuple[str, Callable[[Bench, Work, Path], None]]] = {
    "workbook": ("plan.xlsx", _workbook),
    "report": ("plan.html", _report),
    "json": ("plan.json", _json),
    "rollout": ("rollout.xlsx", _rollout),
    "calendar": ("rollout.ics", _calendar),
    "mapping": ("fleet.toml", _mapping),
    "fleet": ("fleet.xlsx", _fleet),
}
