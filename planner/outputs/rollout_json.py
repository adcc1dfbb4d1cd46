"""rollout.json: the waves as data, one line a step, beside the workbook."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import asdict
from typing import Any

from planner.schedule import Rollout, Step, Wave


def rollout_to_json(rollout: Rollout) -> str:
    """Return ``rollout`` as JSON text in plain ASCII, ending in a line end; moments are ISO 8601 with an offset."""
    head = [f"{_text(key)}: {_text(value)}" for key, value in _claims(rollout).items()]
    waves = ",\n".join(_wave(wave) for wave in rollout.waves)
    return '{\n"waves": [\n' + waves + "\n],\n" + ",\n".join(head) + "\n}\n"


def _claims(rollout: Rollout) -> dict[str, Any]:
    return {
        "format": 1,
        "lower_bound_waves": rollout.lower_bound_waves,
        "why": rollout.why,
        "lower_bound_detours": rollout.lower_bound_detours,
        "conflicts": [asdict(conflict) for conflict in rollout.conflicts],
        "cautions": list(rollout.cautions),
        "fleet_id": rollout.fleet_id,
        "plan_number": rollout.plan_number,
        "plan_hash": rollout.plan_hash,
        "materials": [asdict(material) for material in rollout.materials],
        "budget": [asdict(line) for line in rollout.budget],
    }


def _wave(wave: Wave) -> str:
    steps = ",\n".join(_text(_step(step)) for step in wave.steps)
    times = f'"starts": {_text(_iso(wave.starts))}, "ends": {_text(_iso(wave.ends))}'
    times += f', "pilot": {_text(wave.pilot)}, "timezone": {_text(wave.timezone)}'
    return f'{{"wave": {wave.wave}, {times}, "steps": [\n{steps}\n]}}'


def _step(step: Step) -> dict[str, Any]:
    return {
        "id": step.id,
        "kind": step.kind,
        "site": step.site,
        "from_host": step.from_host,
        "to_host": step.to_host,
        "host": step.host,
        "release": step.release,
        "starts": _iso(step.starts),
        "ends": _iso(step.ends),
        "needs": list(step.needs),
        "hub": step.hub,
        "clusters": step.clusters,
        "crew": step.crew,
        "cautions": list(step.cautions),
    }


def _iso(moment: dt.datetime) -> str:
    return moment.isoformat(timespec="seconds")  # RFC 3339 asks for them


def _text(value: Any) -> str:
    return json.dumps(value, allow_nan=False, default=dt.date.isoformat)
