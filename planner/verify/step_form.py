"""The form of a rollout: ids, kinds, lengths and needs of its steps, the numbers of its waves, and its bound."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping

from planner.fleet import Fleet, Policy
from planner.schedule import STEP_KINDS, Rollout, Step
from planner.verify.violation import Violation

_SITE_STEPS = ("attach", "move", "detour", "site_release")


def step_form(fleet: Fleet, rollout: Rollout) -> Iterator[Violation]:
    """Yield what is wrong with ids, kinds, times and needs of the steps, and with the numbers of the waves."""
    steps = {step.id: step for step in rollout.steps}
    if len(steps) < len(list(rollout.steps)):
        yield Violation("step_form", "rollout", "two of its steps have the same id")
    for number, wave in enumerate(rollout.waves, start=1):
        if wave.wave != number or not wave.steps:
            text = f"waves must be numbered from 1 and have steps; this one is at place {number}"
            yield Violation("step_form", f"wave {wave.wave}", text)
        elif (wave.starts, wave.ends) != (min(s.starts for s in wave.steps), max(s.ends for s in wave.steps)):
            text = "it must begin with its first step and end with its last"
            yield Violation("step_form", f"wave {wave.wave}", text)
    sites = set(fleet.sites["site"])
    for step in rollout.steps:
        yield from _names(step, sites)
        yield from _length(step, fleet.policy)
        yield from _order(step, steps)
    if rollout.lower_bound_waves > len(rollout.waves):
        yield Violation("bound", "rollout", "it says that any rollout needs more waves than it has itself")


def _names(step: Step, sites: Collection[str]) -> Iterator[Violation]:
    where = f"step {step.id}"
    of_site = step.kind in _SITE_STEPS
    if step.kind not in STEP_KINDS or (step.site in sites) != of_site or bool(step.host) == of_site:
        text = "its kind is unknown, or it names a site where a host is needed, or a host where a site is needed"
        yield Violation("step_form", where, text)
    elif step.kind in ("attach", "detour") and step.to_host is None:
        yield Violation("step_form", where, "it does not say which host the site goes to")


def _length(step: Step, policy: Policy) -> Iterator[Violation]:
    minutes = policy.site_minutes if step.kind in _SITE_STEPS else policy.host_minutes
    if step.ends - step.starts != dt.timedelta(minutes=minutes):
        yield Violation("step_length", f"step {step.id}", f"it must take {minutes} minutes, as the policy says")


def _order(step: Step, steps: Mapping[str, Step]) -> Iterator[Violation]:
    for need in step.needs:
        if need not in steps or steps[need].ends > step.starts:
            yield Violation("step_order", f"step {step.id}", f"it begins before step {need} has ended, which it needs")
