"""The scenario file (TOML): named changes, alone and combined, with seeds for random growth.

[scenario.tight]
policy = { latency_budget_ms = 30 }

[scenario.spring]
grow = { sites = 200, seeds = [1, 2, 3] }

[scenario.north_doubles]
sites = { "region=North" = { clusters = "x2" } }
hubs = { ESK = { max_hosts = 6 } }
close_sites = ["0042"]
close_hubs = ["OLD"]
add_hubs = [{ hub = "NEW", max_hosts = 4, rtt_like = "ESK" }]

[combine]
both = ["tight", "spring"]
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from planner import columns
from planner.errors import InputError
from planner.fleet import Finding
from planner.intake.findings import Findings, guess
from planner.scenarios.edits import column_of
from planner.scenarios.sweep_results import Edit, Growth, Scenario
from planner.scenarios.values import is_relative, numeric, read_value

_PARTS = ("policy", "sites", "hubs", "grow", "close_sites", "close_hubs", "add_hubs")
_GROW = ("sites", "clusters", "seeds")
_MOST_GROWN = 1_000_000


@dataclass
class _Log:
    """Findings of one file, all gathered before anything is raised."""

    file: str
    findings: list[Finding] = field(default_factory=list)

    def error(self, where: str, message: str, hint: str = "") -> None:
        self.findings.append(Finding("error", "scenario_file", where, message, hint, self.file))


def read_scenarios(path: str | Path) -> list[Scenario]:
    """Return the scenarios of a TOML file in its order, those with several seeds once for each.

    Raises InputError with every problem of the file at once.
    """
    path = Path(path)
    log = _Log(path.name)
    tree = _tree(path, log)
    single = {name: _scenario(name, body, log) for name, body in _table(tree, "scenario", "", log).items()}
    for key in tree:
        if key not in ("scenario", "combine"):
            log.error(key, "is not known here.", "Use [scenario.NAME] and [combine].")
    together = dict(_combined(_table(tree, "combine", "", log), single, log))
    if not single and not log.findings:
        log.error("", "The file names no scenario.", "Add one, such as [scenario.tight].")
    if log.findings:
        raise InputError(tuple(log.findings))
    return [one for several in (*single.values(), *together.values()) for one in several]


def _tree(path: Path, log: _Log) -> Mapping[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        log.error("", f"The file cannot be read: {error.strerror or error}.", "Check the path.")
    except RecursionError:
        log.error("", "The file is not read: its lists or tables are nested too deeply.", "Write it flat.")
    except ValueError as error:
        log.error("", f"The file is not TOML: {error}.", "Correct it there.")
    raise InputError(tuple(log.findings))


def _table(tree: Mapping[str, Any], key: str, where: str, log: _Log) -> Mapping[str, Any]:
    value = tree.get(key, {})
    if isinstance(value, dict):
        return value
    log.error(f"{where}{key}", "should be a table.", f"Write [{where}{key}] with one line for each entry.")
    return {}


def _scenario(name: str, body: Any, log: _Log) -> list[Scenario]:
    """Return the scenario once, or once for each seed."""
    where = f"scenario.{name}"
    if not isinstance(body, dict):
        log.error(where, "should be a table.", f"Write [{where}].")
        return []
    for key in body:
        if key not in _PARTS:
            log.error(f"{where}.{key}", "is not known.", guess(key, _PARTS) or f"Use {', '.join(_PARTS)}.")
    edits = tuple(_edits(body, where, log))
    closed = {key: _ids(body, key, where, log) for key in ("close_sites", "close_hubs")}
    base = Scenario(
        name,
        edits,
        closed_sites=closed["close_sites"],
        closed_hubs=closed["close_hubs"],
        new_hubs=tuple(_new_hubs(body, where, log)),
    )
    growths = _growths(body, where, log)
    if not growths:
        return [base]
    several = len(growths) > 1
    return [replace(base, name=f"{name} seed={growth.seed}" if several else name, growth=growth) for growth in growths]


def _edits(body: Mapping[str, Any], where: str, log: _Log) -> Iterator[Edit]:
    for column, value in _table(body, "policy", f"{where}.", log).items():
        yield from _edit("Policy", "*", column, value, f"{where}.policy.{column}", log)
    sheets: tuple[tuple[str, Literal["Sites", "Hubs"]], ...] = (("sites", "Sites"), ("hubs", "Hubs"))
    for key, sheet in sheets:
        for rows, changes in _table(body, key, f"{where}.", log).items():
            if not isinstance(changes, dict):
                log.error(f"{where}.{key}.{rows}", "should be a table of columns and values.")
                continue
            for column, value in changes.items():
                yield from _edit(sheet, rows, column, value, f"{where}.{key}.{rows}.{column}", log)


def _edit(
    sheet: Literal["Policy", "Sites", "Hubs"], rows: str, name: str, value: Any, where: str, log: _Log
) -> Iterator[Edit]:
    edit = Edit(sheet, name, _text(value), rows)
    try:
        column = column_of(edit)
    except KeyError:
        known = [c.name for c in columns.SETTINGS] if sheet == "Policy" else _sheet(sheet).names
        log.error(where, f"is no {'setting' if sheet == 'Policy' else f'column of {sheet}'}.", guess(name, known))
        return
    if column.kind == "release" and isinstance(value, float):
        log.error(where, f"{value} is a number, in which 8.10 and 8.1 are the same.", 'Quote it, as in "8.10".')
        return
    if name in ("site", "hub", "pool"):
        log.error(where, "is an id and cannot be changed.")
        return
    if not (numeric(column) and is_relative(column, edit.value)):
        _checked(column, edit.value, where, log)
    yield edit


def _sheet(name: str) -> columns.Sheet:
    return columns.SITES if name == "Sites" else columns.HUBS


def _checked(column: columns.Column, text: str, where: str, log: _Log) -> None:
    findings = Findings()
    read_value(column, text, where, findings)
    log.findings.extend(replace(f, file=log.file) for f in findings.result() if f.severity == "error")


def _text(value: Any) -> str:
    """Return a TOML value as a cell would show it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ";".join(map(str, value)) if isinstance(value, list) else str(value)


def _ids(body: Mapping[str, Any], key: str, where: str, log: _Log) -> tuple[str, ...]:
    value = body.get(key, [])
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    log.error(f"{where}.{key}", "should be a list of ids in quotation marks.", f'Write it as {key} = ["A", "B"].')
    return ()


def _new_hubs(body: Mapping[str, Any], where: str, log: _Log) -> Iterator[tuple[tuple[str, str], ...]]:
    rows = body.get("add_hubs", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        log.error(f"{where}.add_hubs", "should be a list of tables.", 'Write it as add_hubs = [{ hub = "NEW" }].')
        return
    for row in rows:
        for name, value in row.items():
            if name in columns.HUBS.names:
                _checked(columns.HUBS.column(name), _text(value), f"{where}.add_hubs.{name}", log)
            elif name != "rtt_like":
                log.error(f"{where}.add_hubs.{name}", "is no column of Hubs.", guess(name, columns.HUBS.names))
        yield tuple((name, _text(value)) for name, value in row.items())


def _growths(body: Mapping[str, Any], where: str, log: _Log) -> list[Growth]:
    if "grow" not in body:
        return []
    grow = _table(body, "grow", f"{where}.", log)
    for key in grow:
        if key not in _GROW:
            log.error(f"{where}.grow.{key}", "is not known.", f"Use {', '.join(_GROW)}.")
    seeds = grow.get("seeds", [0])
    numbers = [grow.get("sites", 0), grow.get("clusters", 0), *(seeds if isinstance(seeds, list) else [None])]
    if not all(type(number) is int and number >= 0 for number in numbers) or not seeds:
        log.error(f"{where}.grow", "sites, clusters and seeds are whole numbers from 0 on.", "Write seeds = [1, 2, 3].")
        return []
    if max(numbers[:2]) > _MOST_GROWN:
        most = f"{_MOST_GROWN:,}"
        log.error(f"{where}.grow", f"sites and clusters are at most {most}.", "Plan for fewer, or in several fleets.")
        return []
    return [Growth(numbers[0], numbers[1], seed) for seed in seeds]


def _combined(
    table: Mapping[str, Any], single: Mapping[str, list[Scenario]], log: _Log
) -> Iterator[tuple[str, list[Scenario]]]:
    for name, parts in table.items():
        where = f"combine.{name}"
        if name in single:
            log.error(where, "is the name of a scenario already.", "Choose another name.")
        elif not isinstance(parts, list) or not parts or not all(part in single for part in parts):
            log.error(where, "should be a list of scenarios of this file.", 'Write it as both = ["tight", "spring"].')
        else:
            yield name, _merged(name, [single[part] for part in parts], where, log)


def _merged(name: str, parts: list[list[Scenario]], where: str, log: _Log) -> list[Scenario]:
    """Return the parts as one scenario, once for each seed of the part that grows."""
    growing = [part for part in parts if any(one.growth for one in part)]
    if len(growing) > 1:
        log.error(where, "combines two scenarios that grow.", "Put both growths into one scenario.")
        return []
    merged = []
    for growth in [one.growth for one in growing[0]] if growing else [None]:
        several = growing and len(growing[0]) > 1 and growth is not None
        merged.append(
            Scenario(
                f"{name} seed={growth.seed}" if several and growth is not None else name,
                tuple(edit for part in parts for edit in (part[0].edits if part else ())),
                growth,
                tuple(dict.fromkeys(one for part in parts for one in (part[0].closed_sites if part else ()))),
                tuple(dict.fromkeys(one for part in parts for one in (part[0].closed_hubs if part else ()))),
                tuple(row for part in parts for row in (part[0].new_hubs if part else ())),
            )
        )
    return merged
