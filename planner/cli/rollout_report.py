"""What `castingvote rollout` prints for people: a screenful of waves, what is left out, cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from rich.table import Table
from rich.text import Text

from planner.cli.console import console
from planner.cli.streams import printable
from planner.counted_words import counted
from planner.fleet import Fleet
from planner.outputs import CAUTIONS
from planner.outputs.calendar_words import heeded_in_words
from planner.outputs.plan_sentences import left_in_place_in_words
from planner.outputs.run_words import headline
from planner.plan import Plan
from planner.schedule import Rollout, Wave

_WAVES_SHOWN = 12
_CONFLICTS_SHOWN = 8
_KINDS = (("move", "moves"), ("attach", "attached"), ("detour", "detours"), ("site_release", "releases"))


def print_rollout(fleet: Fleet, plan: Plan, rollout: Rollout, written: Sequence[Path], *, err: bool) -> None:
    """Print headline, waves, what is left out, cautions and where the rollout was written."""
    target = console(err=err)
    target.print(Text(headline(rollout), style="bold"))
    if rollout.waves:
        target.print(Text(printable(f"Why not fewer: {rollout.why}")))
    if rollout.detours:
        proof = "proven minimum" if rollout.detours == rollout.lower_bound_detours else "the fewest found"
        first = "first moves" if rollout.detours == 1 else "first move"
        target.print(Text(f"{counted(rollout.detours, 'site')} {first} to a free place for a time ({proof})."))
    for words in heeded_in_words(fleet):
        target.print(Text(printable(words)))
    if rollout.waves:
        target.print(_waves(rollout.waves[:_WAVES_SHOWN]))
    if len(rollout.waves) > _WAVES_SHOWN:
        target.print(Text(f"... and {counted(len(rollout.waves) - _WAVES_SHOWN, 'more wave')}."))
    due = [one.order_by for one in rollout.materials if one.order_by is not None]
    if due:
        target.print(Text(f"First order by {min(due)}. Sheet Materials lists what to buy."))
    if left := left_in_place_in_words(fleet, plan):
        target.print(Text(printable(left)))
    for conflict in rollout.conflicts[:_CONFLICTS_SHOWN]:
        words = printable(f"{conflict} [{conflict.code}]")
        target.print(Text.assemble(("not yet  ", "yellow"), words))
    if len(rollout.conflicts) > _CONFLICTS_SHOWN:
        more = len(rollout.conflicts) - _CONFLICTS_SHOWN
        target.print(Text(f"... and {counted(more, 'more conflict')}, see sheet Conflicts."))
    for caution in (*rollout.cautions, " ".join(CAUTIONS)):
        target.print(Text(printable(f"Caution: {caution}"), style="dim"))
    for path in written:
        target.print(Text(f"Written: {path}"))


def _waves(waves: Sequence[Wave]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("wave", justify="right", no_wrap=True)
    for heading in ("starts", "ends"):
        table.add_column(heading, no_wrap=True)
    for _, heading in (("", "sites"), *_KINDS, ("", "host changes")):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for wave in waves:
        kinds = Counter(step.kind for step in wave.steps)
        hosts = sum(count for kind, count in kinds.items() if kind.startswith("host_"))
        numbers = (len(wave.sites), *(kinds[kind] for kind, _ in _KINDS), hosts)  # type: ignore[index]
        times = (f"{wave.starts:%a %Y-%m-%d %H:%M %Z}", f"{wave.ends:%H:%M %Z}")
        table.add_row(str(wave.wave), *times, *map(str, numbers), "pilot" if wave.pilot else "")
    return table
