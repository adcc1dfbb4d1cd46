"""What the engine is meant to reach, next to what was measured. Nothing here judges: no time is ever asserted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from tests.benchmarks.runs import Row
from tests.benchmarks.summary import Total, growths, totals
from tests.benchmarks.words import seconds

NOT_RUN = "not measured"
_COVER_HUB = ("cover-hub", "cover-hub-towns", "cover-hub-mixed")


def targets(rows: Sequence[Row]) -> list[tuple[str, str]]:
    """Return (target, measured) pairs, in words."""
    said: list[tuple[str, Callable[[], str]]] = [
        ("1,000 x 40: 20 times faster than PuLP and HiGHS", lambda: _times(rows, "1000x40")),
        ("5,000 x 100: 500 times faster than PuLP and HiGHS", lambda: _times(rows, "5000x100")),
        ("20,000 x 200, tight budgets: proven in under 30 s", lambda: _whole(rows, "tight", "20000x200")),
        (
            "100,000 x 300: proven in under 60 s and 4 GB",
            lambda: _wholes(rows, ("towns", "tight"), "100000x300"),
        ),
        ("10,000 to 100,000 sites at 100 hubs: at most 12 times the seconds", lambda: _growth(rows)),
        (
            "1,000,000 x 2,000 with 30 eligible hubs a site: fits in memory (the count)",
            lambda: _whole(rows, "nearby", "1000000x2000", "castingvote-count"),
        ),
        ("mixed caps, kept-together sites, 2,000 x 50: gap of at most one host in 60 s", lambda: _mixed(rows)),
        ("1,000 x 20, cover hub: proven in 15 s", lambda: _wholes(rows, _COVER_HUB, "1000x20")),
        ("5,000 x 60, cover hub: gap of at most one host in 120 s", lambda: _wholes(rows, _COVER_HUB, "5000x60")),
        ("Holmberg and OR-Library: all optima, no slower than the straight model", lambda: _public(rows)),
        ("total RTT with the fewest hosts, 1,000 x 40: gap under 0.5 % in 30 s", lambda: _rtt(rows, "1000x40")),
        ("total RTT with the fewest hosts, 5,000 x 100: gap under 2 % in 60 s", lambda: _rtt(rows, "5000x100")),
    ]
    return [(target, measured() or NOT_RUN) for target, measured in said]


def _join(parts: Iterable[str]) -> str:
    return "; ".join(filter(None, parts))


def _of(rows: Sequence[Row], engine: str, instance: str) -> dict[str, Row]:
    """Return the rows of an engine at one size by set, those with an answer."""
    return {
        row.set: row
        for row in rows
        if row.engine == engine and row.instance == instance and row.seconds is not None and row.value is not None
    }


def _times(rows: Sequence[Row], instance: str) -> str:
    straight, count, whole = (
        _of(rows, engine, instance) for engine in ("pulp-straight", "castingvote-count", "castingvote")
    )
    parts = []
    for of_set, rival in straight.items():
        mine = count.get(of_set)
        if of_set not in ("towns", "uniform", "tight") or mine is None or not mine.proven:
            continue
        least = "" if rival.proven else "more than "
        text = f"{of_set} {least}{_ratio(rival, mine)}"
        if of_set in whole:
            text += f" (the whole plan {least}{_ratio(rival, whole[of_set])})"
        if rival.proven and rival.value != mine.value:
            text += f", values differ: {rival.value:g} and {mine.value:g}"
        parts.append(text)
    return "; ".join(parts)


def _ratio(rival: Row, mine: Row) -> str:
    # Processor time: on a machine that others use too, time on the clock says more about them.
    times = (rival.cpu_seconds or 0.0) / max(mine.cpu_seconds or 0.0, 1e-6)
    return f"{times:,.0f}" if times >= 10 else f"{times:.1f}"


def _wholes(rows: Sequence[Row], sets: Iterable[str], instance: str) -> str:
    return _join(_whole(rows, of_set, instance) for of_set in sets)


def _whole(rows: Sequence[Row], of_set: str, instance: str, engine: str = "castingvote") -> str:
    row = _of(rows, engine, instance).get(of_set)
    if row is None:
        return ""
    memory = "" if row.peak_mb is None else f", {row.peak_mb / 1024:.1f} GB"
    return f"{of_set}: {_state(row)} in {seconds(row.seconds)} s (processor {seconds(row.cpu_seconds)} s){memory}"


def _state(row: Row) -> str:
    return "proven" if row.proven else f"{row.value:g} with bound {row.bound:g}"


def _growth(rows: Sequence[Row]) -> str:
    wanted = [row for row in rows if row.hubs == 100 and row.instance in ("10000x100", "100000x100")]
    return _join(
        f"{one.set} {one.times:.1f} ({one.engine})"
        for one in growths(wanted)
        if one.engine in ("castingvote", "castingvote-count")
    )


def _mixed(rows: Sequence[Row]) -> str:
    row = _of(rows, "castingvote", "2000x50").get("mixed")
    return "" if row is None else f"{_state(row)} in {seconds(row.seconds)} s"


def _public(rows: Sequence[Row]) -> str:
    found = [one for one in totals(rows) if one.set in ("holmberg", "orlib")]
    return _join(_total(one) for one in found)


def _total(one: Total) -> str:
    took = f"{seconds(one.cpu_seconds)} s of processor time"
    return f"{one.set} {one.engine}: {one.agree} of {one.comparable} optima in {took}"


def _rtt(rows: Sequence[Row], instance: str) -> str:
    return _join(
        f"{of_set} {row.rtt_gap:.2%} in {seconds(row.seconds)} s"
        for of_set, row in _of(rows, "castingvote-thorough", instance).items()
        if row.rtt_gap is not None
    )
