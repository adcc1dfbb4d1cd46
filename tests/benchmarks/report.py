"""Rows -> results.md: targets, the ladder with a column for each engine, totals of the public sets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tests.benchmarks.engines import ENGINES
from tests.benchmarks.runs import Row
from tests.benchmarks.sets import SETS
from tests.benchmarks.summary import growths, totals
from tests.benchmarks.targets import targets
from tests.benchmarks.words import amount, seconds

_READING = """\
Cells are seconds and peak memory. Seconds run from the Fleet (castingvote, castingvote-thorough) or from the eligible
pairs (all others) to the answer and include building the model. Where the value is not proven, the value and the bound
are given. HiGHS runs on one thread, CP-SAT on all cores. Memory is that of the whole process, libraries and
instance included. Every plan of castingvote is checked by `planner.verify`; what it finds is in the notes of
results.csv."""


def as_markdown(rows: Sequence[Row], machine: Sequence[str]) -> str:
    """Return the rows as Markdown, with ``machine`` on top and what the words mean."""
    sets, engines = (list(dict.fromkeys(getattr(row, name) for row in rows)) for name in ("set", "engine"))
    generated = [row for row in rows if SETS[row.set].generated]
    parts = [
        "# Benchmarks of the sizing engine",
        _list([*machine, *_measured(rows)]),
        _section("Targets", _table("target|measured", targets(rows))),
        _section("Generated fleets", _ladder(generated)),
        _section("Growth with sites at the same hubs", _growth_table(rows)),
        _section("Public sets", _total_table(rows)),
        _READING,
        _list(f"Set **{name}**: {SETS[name].words}" for name in sets),
        _list(f"Engine **{name}**: {ENGINES[name].words}" for name in engines),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _list(lines: Iterable[str]) -> str:
    return "\n".join(f"- {line}" for line in lines)


def _measured(rows: Sequence[Row]) -> list[str]:
    times = sorted(row.measured for row in rows if row.measured)
    return [f"Measured from {times[0]} to {times[-1]}"] if times else []


def _section(title: str, table: str) -> str:
    return f"## {title}\n\n{table}" if table else ""


def _ladder(rows: Sequence[Row]) -> str:
    """Return a line for each instance and a column for each engine."""
    engines = [name for name in ENGINES if any(row.engine == name for row in rows)]
    at = {(row.set, row.instance, row.engine): row for row in rows}
    instances = {(row.set, row.instance): row for row in rows}
    lines = []
    for (of_set, instance), one in instances.items():
        found = [at.get((of_set, instance, engine)) for engine in engines]
        proven = sorted({row.value for row in found if row is not None and row.proven and row.value is not None})
        hosts = " or ".join(amount(value) for value in proven)  # more than one would be a fault
        size = f"{one.sites:,} x {one.hubs:,}"
        lines.append([of_set, size, f"{one.pairs:,}", hosts, *(_cell(row) for row in found)])
    return _table("|".join(("set", "sites x hubs", "pairs", "proven", *engines)), lines) if lines else ""


def _cell(row: Row | None) -> str:
    if row is None:
        return ""
    if row.seconds is None:
        return row.note.partition(":")[0]
    open_gap = "" if row.proven else f", {amount(row.value) or 'no plan'} ≥ {amount(row.bound) or '?'}"
    memory = "" if row.peak_mb is None else f", {row.peak_mb:,.0f} MB"
    return f"{seconds(row.seconds)} s{open_gap}{memory}"


def _growth_table(rows: Sequence[Row]) -> str:
    cells = [
        [one.set, one.engine, f"{one.hubs:,}", f"{one.sites[0]:,} to {one.sites[1]:,}", f"{one.times:,.1f}"]
        for one in growths(rows)
    ]
    return _table("set|engine|hubs|sites|times the seconds", cells) if cells else ""


def _total_table(rows: Sequence[Row]) -> str:
    cells = [
        [
            one.set,
            one.engine,
            str(one.instances),
            str(one.proven),
            f"{one.agree} of {one.comparable}",
            "" if one.largest_gap is None else f"{one.largest_gap:.2%}",
            seconds(one.seconds),
            seconds(one.cpu_seconds),
        ]
        for one in totals(rows)
    ]
    return (
        _table("set|engine|instances|proven|published optimum found|largest gap|seconds|processor s", cells)
        if cells
        else ""
    )


def _table(header: str, rows: Iterable[Sequence[str]]) -> str:
    names = header.split("|")
    lines = [names, ["---"] * len(names), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
