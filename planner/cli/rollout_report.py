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
from planner.outputs.plan_sentences import left_in_place_in_words
from planner.outputs.run_words import left_out_in_words, steps_in_words
from planner.plan import Plan
from planner.schedule import Rollout, Wave

_WAVES_SHOWN = 12
_CONFLICTS_SHOWN = 8
_KINDS = (("move", "moves"), ("attach", "attached"), ("detour", "detours"), ("site_release", "releases"))


def print_rollout(fleet: Fleet, plan: Plan, rollout: Rollout, written: Sequence[Path], *, err: bool) -> None:
    """Print headline, waves, what is left out, cautions and where the rollout was written."""
    target = console(err=err)
    target.print(Text(_headline(rollout), style="bold"))
    if rollout.waves:
        target.print(Text(printable(f"Why not fewer: {rollout.why}")))
    if rollout.detours:
        proof = "no order has fewer" if rollout.detours == rollout.lower_bound_detours else "the fewest found"
        target.print(Text(f"{counted(rollout.detours, 'detour')} past hosts that are full; {proof}."))
    if rollout.waves:
        target.print(_waves(rollout.waves[:_WAVES_SHOWN]))
    if len(rollout.waves) > _WAVES_SHOWN:
        target.print(Text(f"... and {counted(len(rollout.waves) - _WAVES_SHOWN, 'more wave')}."))
    if left := left_in_place_in_words(fleet, plan):
        target.print(Text(printable(left)))
    for conflict in rollout.conflicts[:_CONFLICTS_SHOWN]:
        words = printable(f"{conflict} [{conflict.code}]")
        target.print(Text.assemble(("left out ", "yellow"), words))
    if len(rollout.conflicts) > _CONFLICTS_SHOWN:
        more = len(rollout.conflicts) - _CONFLICTS_SHOWN
        target.print(Text(f"... and {counted(more, 'more conflict')}, see the JSON."))
    for caution in (*rollout.cautions, *CAUTIONS):
        target.print(Text(printable(f"Caution: {caution}"), style="dim"))
    for path in written:
        target.print(Text(f"Written: {path}"))


def _headline(rollout: Rollout) -> str:
    if not rollout.waves:
        return "Nothing to roll out." if not rollout.conflicts else "Nothing can be rolled out; see what is left out."
    if rollout.gap == 0:
        quality = "no schedule of these steps has fewer waves"
    else:
        quality = f"at least {counted(rollout.lower_bound_waves, 'wave')} are needed"
    first, last = rollout.waves[0].starts.date(), rollout.waves[-1].ends.date()
    waves = f"{counted(len(rollout.waves), 'wave')} from {first} to {last}"
    return f"{waves}: {steps_in_words(rollout)}; {quality}{left_out_in_words(rollout)}."


def _waves(waves: Sequence[Wave]) -> Table:
    table = Table(box=None, pad_edge=False, collapse_padding=True)
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
