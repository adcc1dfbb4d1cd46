"""Options of `castingvote plan` that say where it starts from: hosts emptied, assignments kept, moves against hosts."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import click

from planner.cli.options import Command

if TYPE_CHECKING:
    from planner.fleet import Fleet
    from planner.plan import Plan


@dataclass(frozen=True)
class FromToday:
    """``drain``: names of hosts and hubs to be emptied. ``freeze``: sites stay where the rules let them.

    ``extra_hosts`` more than the fewest may run to move fewer sites; ``trade_off``: weigh moves against hosts.
    """

    drain: tuple[str, ...]
    freeze: bool
    extra_hosts: int
    trade_off: bool

    def __post_init__(self) -> None:
        if self.freeze and self.trade_off:
            raise click.UsageError("--trade-off compares moves, but --freeze-assignments allows none: use one of them.")
        if self.freeze and self.extra_hosts:
            raise click.UsageError(
                "--extra-hosts adds hosts to save moves, but --freeze-assignments allows no moves: use one of them."
            )

    def emptied(self, fleet: Fleet) -> Fleet:
        """Return ``fleet`` without room at the hosts and hubs that are to be emptied."""
        from planner.sizing import drained

        return drained(fleet, self.drain)

    @property
    def make(self) -> Callable[..., Plan]:
        """Return what makes the plan; it takes a fleet and the options of solving."""
        if self.freeze:
            from planner.sizing import plan_frozen

            return plan_frozen
        from planner.sizing import plan

        return partial(plan, extra_hosts=self.extra_hosts)


def from_today(command: Command) -> Command:
    """Add the options, which the command takes together as ``start``."""

    @functools.wraps(command)
    def with_start(*, drain: tuple[str, ...], freeze: bool, extra_hosts: int, trade_off: bool, **others: Any) -> Any:
        return command(start=FromToday(drain, freeze, extra_hosts, trade_off), **others)

    options = (
        click.option(
            "--drain",
            multiple=True,
            metavar="HOST|HUB",
            help="Empty this host or hub; may be given several times.",
        ),
        click.option(
            "--freeze-assignments",
            "freeze",
            is_flag=True,
            help="Move no site that the rules allow to stay. Only add hosts, and place sites that have none.",
        ),
        click.option(
            "--extra-hosts",
            type=click.IntRange(min=0),
            default=0,
            show_default=True,
            help="Allow up to this number of hosts above the fewest, to move fewer sites.",
        ),
        click.option("--trade-off", is_flag=True, help="Print how many moves each further host would save."),
    )
    decorated: Any = with_start
    for option in reversed(options):
        decorated = option(decorated)
    return decorated  # type: ignore[no-any-return]
