"""Campaigns too long for every day: `python -m tests.rollout replay`, `small` and `table`."""

from __future__ import annotations

import datetime as dt
import time
from collections import Counter

import click

from planner.rollout import roll_out
from planner.verify import verify, verify_rollout
from tests.rollout.large import KINDS, large_case
from tests.rollout.plain import plain_nights, project_of
from tests.rollout.replays import holds, replay_case
from tests.rollout.test_waves import fewest_waves, tight_case

START = dt.date(2027, 3, 1)  # Europe and America change their clocks in the weeks after it, at different times


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Check many rollouts, or measure large ones."""


@main.command()
@click.option("--first", default=0, show_default=True, help="Seed of the first rollout.")
@click.option("--count", default=1000, show_default=True, help="How many.")
@click.option("--searched", default=20, show_default=True, help="One of so many is searched, too; 0 for none.")
def replay(first: int, count: int, searched: int) -> None:
    """Replay random rollouts by verify, which shares no code with the planning, and list what it finds."""
    found, waves, conflicts, held = 0, Counter(), Counter(), Counter()
    began = time.process_time()
    for done, seed in enumerate(range(first, first + count), start=1):
        fleet, plan, start = replay_case(seed)
        assert not [v for v in verify(fleet, plan) if v.severity == "violation"]
        limit = 1.0 if searched and seed % searched == seed // 10 % searched else 0
        rollout = roll_out(fleet, plan, start=start, time_limit=limit)
        wrong = verify_rollout(fleet, plan, rollout)
        waves[rollout.gap] += 1
        conflicts.update(conflict.code for conflict in rollout.conflicts)
        held.update(holds(fleet, rollout))
        if wrong:
            found += 1
            click.echo(f"seed {seed}: {[str(v) for v in wrong[:3]]}")
        if done % 100 == 0 or done == count:
            click.echo(f"{done} rollouts, {found} with an objection; {time.process_time() - began:.0f} s of processor")
    click.echo(f"waves above the bound: {dict(sorted(waves.items()))}; left out: {dict(conflicts)}")
    click.echo(f"rollouts with: {dict(sorted(held.items()))}")


@main.command()
@click.option("--first", default=0, show_default=True, help="Seed of the first rollout.")
@click.option("--count", default=300, show_default=True, help="How many are compared.")
@click.option("--search", type=float, help="Seconds of search for each; by default each ends by itself.")
def small(first: int, count: int, search: float | None) -> None:
    """Compare waves and bound of small rollouts with a search of all ways from today to the plan."""
    found, seed, began = Counter(), first, time.process_time()
    while found.total() < count:
        case, seed = tight_case(seed), seed + 1
        if case is None:
            continue
        (fleet, plan), moves, limits = case
        rollout = roll_out(fleet, plan, start=START, time_limit=search)
        if rollout.conflicts:
            continue
        least = fewest_waves(*moves, **limits, detours=rollout.detours)
        found[len(rollout.waves) - least, max(0, rollout.lower_bound_waves - least)] += 1
        if rollout.lower_bound_waves > least or len(rollout.waves) > least:
            click.echo(f"seed {seed - 1}: {len(rollout.waves)} waves, bound {rollout.lower_bound_waves}, least {least}")
    click.echo(
        f"{found.total()} of {seed - first} seeds compared: waves above the least {_sums(found, 0)}, bound above "
    )
    click.echo(f"it {_sums(found, 1)}; {time.process_time() - began:.0f} s of processor time")


def _sums(found: Counter, place: int) -> dict[int, int]:
    sums = Counter()
    for key, count in found.items():
        sums[key[place]] += count
    return dict(sorted(sums.items()))


@main.command()
@click.option("--seed", default=1, show_default=True)
@click.option("--thorough", is_flag=True)
@click.option("--kind", "kinds", type=click.Choice(list(KINDS)), multiple=True)
def table(seed: int, thorough: bool, kinds: tuple[str, ...]) -> None:
    """Print waves, those of a plain greedy, and the bound for each kind of large rollout."""
    for kind in kinds or KINDS:
        fleet, plan = large_case(kind, seed)
        project = project_of(fleet, plan, START)
        plain = min((plain_nights(project, share) for share in (0.0, 0.3, 0.5, 0.7)), key=lambda p: (p[1], len(p[0])))
        began = time.process_time()
        rollout = roll_out(fleet, plan, start=START, thorough=thorough)
        spent = time.process_time() - began
        wrong = len(verify_rollout(fleet, plan, rollout))
        left = f" ({plain[1]} steps left)" if plain[1] else ""
        click.echo(
            f"{kind} {seed}: {len(rollout.waves)} waves, greedy {len(plain[0])}{left}, bound "
            f"{rollout.lower_bound_waves}, {spent:.0f} s, {wrong} objections; {rollout.why} "
            f"{[len(wave.steps) for wave in rollout.waves]} to {rollout.waves[-1].ends:%Y-%m-%d}"
        )


if __name__ == "__main__":
    main()
