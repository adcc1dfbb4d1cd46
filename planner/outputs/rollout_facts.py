"""What the sheets of a rollout say beyond the rollout itself, looked up once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from zoneinfo import ZoneInfo

from planner.fleet import Fleet
from planner.plan import Plan
from planner.schedule import Rollout, Step, Wave


@dataclass(frozen=True)
class RolloutFacts:
    """A rollout with the fleet and the plan that it belongs to; ``tickets`` are numbers by the id of a step."""

    fleet: Fleet
    plan: Plan
    rollout: Rollout
    tickets: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def names(self) -> dict[str | None, str]:
        """Name of each site for people."""
        return dict(zip(self.fleet.sites["site"], self.fleet.sites["name"], strict=True))

    @cached_property
    def regions(self) -> dict[str | None, str]:
        """Region of each site."""
        return dict(zip(self.fleet.sites["site"], self.fleet.sites["region"], strict=True))

    @cached_property
    def _budgets(self) -> dict[str | None, float]:
        return dict(zip(self.fleet.site_ids, self.fleet.budgets_ms.tolist(), strict=True))

    def limit_ms(self, step: Step) -> float | None:
        """Return the largest RTT that may be measured before a site joins a host; None for other steps."""
        return self._budgets.get(step.site) if step.to_host is not None else None

    def place(self, step: Step) -> str:
        """Return where people work: the site with its region, or the hub of the host."""
        if step.site is None:
            return f"hub {step.hub}" if step.hub else f"host {step.host}"
        region = self.regions.get(step.site)
        return f"{step.site} ({region})" if region else step.site

    def when(self, wave: Wave) -> str:
        """Return day, time and zone of a wave in words."""
        zone = ZoneInfo(wave.timezone)
        starts, ends = wave.starts.astimezone(zone), wave.ends.astimezone(zone)
        until = f"{ends:%H:%M}" if ends.date() == starts.date() else f"{ends:%a %H:%M}"
        others = {step.starts.tzinfo for step in wave.steps} - {wave.starts.tzinfo}
        local = "; times in lines are those of each site or hub" if others else ""
        return f"{starts:%A %Y-%m-%d %H:%M} to {until}, {wave.timezone}{local}"
