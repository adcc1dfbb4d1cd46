"""A comparison as a summary to paste into a ticket: Markdown, with every text from the input escaped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from planner.differences.difference import Difference
from planner.outputs import CAUTIONS
from planner.outputs.markdown import escaped

_MOST_ROWS = 30  # a ticket is no data file


def difference_to_markdown(found: Difference) -> str:
    """Return headline, causes, figures, and the first hosts and sites that differ."""
    return "\n".join(_lines(found)) + "\n"


def _lines(found: Difference) -> Iterator[str]:
    yield f"**{escaped(found.headline)}**"
    yield ""
    yield from (f"- {escaped(line)}" for line in found.words)
    yield from (f"- Note: {escaped(note)}" for note in found.notes)
    yield from ("", f"| figure | {escaped(found.old.name)} | {escaped(found.new.name)} |", "| --- | ---: | ---: |")
    yield from (f"| {escaped(one.label)} | {one.old_text} | {one.new_text} |" for one in found.figures)
    hosts = [(row.host, row.what, row.from_to, row.cause_in_words, row.why) for row in found.hosts]
    yield from _table(("host", "difference", "clusters", "cause", "why"), hosts)
    sites = [(row.site, row.what, row.from_to, row.cause_in_words, row.why) for row in found.sites]
    yield from _table(("site", "difference", "from -> to", "cause", "why"), sites)
    yield ""
    yield from (f"- {caution}" for caution in CAUTIONS)
    yield ""
    for side in (found.old, found.new):
        for source in side.sources:
            yield f"{escaped(side.name)}: {escaped(source.name)}, SHA-256 {source.sha256}."
    yield f"Compared by castingvote {escaped(found.version)}."


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    if not rows:
        return
    yield from ("", f"| {' | '.join(headings)} |", f"| {' | '.join('---' for _ in headings)} |")
    yield from (f"| {' | '.join(map(escaped, row))} |" for row in rows[:_MOST_ROWS])
    if len(rows) > _MOST_ROWS:
        yield from ("", f"and {len(rows) - _MOST_ROWS:,} more.")
