"""Rows -> results.csv and results.md: the table, who is how much faster, and totals of the public sets."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Iterable, Sequence

from tests.benchmarks.engines import ENGINES
from tests.benchmarks.runs import Row
from tests.benchmarks.sets import SETS
from tests.benchmarks.summary import Growth, Ratio, Total, growths, ratios, totals

_READING = """\
Sites are those that need a host and can use one; pairs are the eligible ones. Seconds run from the Fleet (castingvote)
or from the eligible pairs (all others) to the answer and include building the model; CPU seconds add up all threads.
HiGHS runs on one thread, CP-SAT on all cores. Peak memory is that of the whole process, the instance
included. Every plan of castingvote is checked by `planner.verify`; what it finds is in the notes."""

_FIELDS = tuple(field.name for field in dataclasses.fields(Row))


def as_csv(rows: Iterable[Row]) -> str:
    """Return the rows as CSV with a header; blank where not known."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_FIELDS)
    writer.writerows([getattr(row, name) for name in _FIELDS] for row in rows)
    return text.getvalue()


def as_markdown(rows: Sequence[Row], machine: Sequence[str], limit_s: float) -> str:
    """Return the rows as Markdown, with ``machine`` on top and what the words mean."""
    sets, engines = (dict.fromkeys(getattr(row, name) for row in rows) for name in ("set", "engine"))
    parts = [
        "# Benchmarks of the sizing engine",
        "\n".join(f"- {line}" for line in (*machine, f"Limit of each solve: {limit_s:g} s")),
        _READING,
        "\n".join(f"- Set **{name}**: {SETS[name].words}" for name in sets),
        "\n".join(f"- Engine **{name}**: {ENGINES[name].words}" for name in engines),
        "## Results",
        _table(
            "set|instance|sites|hubs|pairs|engine|value|bound|proven|seconds|CPU s|peak MB|published|note",
            [_cells(row) for row in rows],
        ),
        _section("Seconds against castingvote, times as many", _ratio_table(ratios(rows))),
        _section("Growth with sites at the same hubs", _growth_table(growths(rows))),
        _section("Public sets", _total_table(totals(rows))),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _section(title: str, table: str) -> str:
    return f"## {title}\n\n{table}" if table else ""


def _cells(row: Row) -> list[str]:
    published = "" if row.published is None else f"{'' if row.exact else '≥ '}{_amount(row.published)}"
    return [
        row.set,
        row.instance,
        f"{row.sites:,}",
        f"{row.hubs:,}",
        f"{row.pairs:,}",
        row.engine,
        _amount(row.value),
        _amount(row.bound),
        "yes" if row.proven else "no",
        _seconds(row.seconds),
        _seconds(row.cpu_seconds),
        "" if row.peak_mb is None else f"{row.peak_mb:,.0f}",
        published,
        row.note.replace("|", "/"),
    ]


def _ratio_table(found: list[Ratio]) -> str:
    cells = [
        [one.set, one.instance, one.engine, one.against, f"{'> ' if one.at_least else ''}{one.times:,.1f}"]
        for one in found
    ]
    return _table("set|instance|engine|against|times", cells) if cells else ""


def _growth_table(found: list[Growth]) -> str:
    cells = [
        [
            one.set,
            one.engine,
            f"{one.hubs:,}",
            f"{one.sites[0]:,} → {one.sites[1]:,}",
            f"{one.sites[1] / one.sites[0]:,.1f}",
            f"{one.times:,.1f}",
        ]
        for one in found
    ]
    return _table("set|engine|hubs|sites|times the sites|times the seconds", cells) if cells else ""


def _total_table(found: list[Total]) -> str:
    cells = [
        [
            one.set,
            one.engine,
            str(one.instances),
            str(one.proven),
            f"{one.agree} of {one.comparable}",
            _seconds(one.seconds),
            _seconds(one.cpu_seconds),
        ]
        for one in found
    ]
    return _table("set|engine|instances|proven|published optimum found|seconds|CPU s", cells) if cells else ""


def _table(header: str, rows: Iterable[Sequence[str]]) -> str:
    names = header.split("|")
    lines = [names, ["---"] * len(names), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _amount(value: float | None) -> str:
    return "" if value is None else f"{value:,.4f}".rstrip("0").rstrip(".")


def _seconds(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds:,.3f}" if seconds < 10 else f"{seconds:,.1f}"
