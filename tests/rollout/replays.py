"""Rollouts to be replayed by the thousand: changes of the clock, freezes, releases, retirements."""

import datetime as dt
import random

from planner import columns
from planner.fleet import typed_table

from .cases import WINDOWS, random_case
from .large import Kind, case_of_kind

CHANGES = [dt.date(2027, 3, 13), dt.date(2027, 3, 27), dt.date(2027, 10, 30), dt.date(2027, 11, 6)]
WITHIN = ["Sat 22:00-04:00", "Sun 00:30-02:45", "Sun 01:15-05:00; Wed 22:00-02:00", "Sat 21:00-01:30; Sun 02:30-06:00"]
_MIDDLE = 10  # one of so many is of the middle size
_HALF_A_DAY = 12 * 3600


def replay_case(seed):
    """Return (fleet, plan, first day); most begin within a week of a change of the clock, with windows across it."""
    rng = random.Random(f"replay {seed}")
    start = dt.date(2027, 1, 1) + dt.timedelta(days=rng.randrange(365))
    if rng.random() < 0.7:
        start = rng.choice(CHANGES) - dt.timedelta(days=rng.randint(0, 6))
    if seed % _MIDDLE:
        fleet, plan = random_case(seed, windows=[*WINDOWS, *WITHIN, *WITHIN])
    else:
        fleet, plan = case_of_kind(_middle(rng), rng, windows=[*WINDOWS[:-1], *WITHIN])
    frozen = {"first": [], "last": [], "regions": []}
    for _ in range(rng.choice([0, 1, 1, 2])):
        first = start + dt.timedelta(days=rng.randint(0, 12))
        frozen["first"].append(f"{first}")
        frozen["last"].append(f"{first + dt.timedelta(days=rng.choice([0, 1, 4, 10]))}")
        frozen["regions"].append(rng.choice([(), ("south",), ("r1", "R2 ")]))
    return fleet.replace(freezes=typed_table(columns.FREEZES, frozen)), plan, start


def _middle(rng):
    hosts, sites = rng.randint(4, 9), rng.randint(40, 160)
    limits = [("per_host", rng.randint(2, 6)), ("per_region", rng.randint(4, 9)), ("per_wave", rng.randint(8, 30))]
    return Kind(
        sites,
        rng.randint(sites // 2, sites),
        hosts,
        rng.randint(1, 4),
        zones=rng.randint(1, 6),
        gone=rng.randint(0, 2),
        crews=rng.randint(2, 8),
        named=rng.randint(0, 3),
        limits=tuple(one for one in limits if rng.random() < 0.4),
    )


def holds(fleet, rollout):
    """Return what the rollout holds, in words, each once."""
    kinds = {step.kind for step in rollout.steps}
    found = {f"a step {kind}" for kind in kinds - {"move", "attach"}}
    if any(_near_a_change(step) for step in rollout.steps):
        found.add("a step within half a day of a change of the clock")
    if any(_across_a_change(step) for step in rollout.steps):
        found.add("a step across one")
    days = [(row.first.date(), row.last.date()) for row in fleet.freezes.itertuples()]
    if rollout.waves:
        began, ended = rollout.waves[0].starts.date(), rollout.waves[-1].ends.date()
        if any(began <= last and first <= ended for first, last in days):
            found.add("a freeze between its first and last wave")
    return found


def _near_a_change(step):
    at, zone = step.starts.timestamp(), step.starts.tzinfo
    early, late = (dt.datetime.fromtimestamp(at + by, zone).utcoffset() for by in (-_HALF_A_DAY, _HALF_A_DAY))
    return early != late


def _across_a_change(step):
    return step.starts.utcoffset() != step.ends.utcoffset()
