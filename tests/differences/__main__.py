"""Compare pairs of random fleets of all kinds: ``python -m tests.differences 60`` holds what must hold of any."""

import random
import sys
from collections import Counter

import planner
from planner.differences.difference_markdown import difference_to_markdown
from planner.differences.fleets_between import ORDER, fleet_between
from tests.differences.test_compare import differing
from tests.outputs.test_same_from_either import KINDS as NAMED
from tests.outputs.test_same_from_either import random_fleet

KINDS = (*NAMED, "split sites")


def later(fleet, other, plan, rng):
    """The fleet a while later: some kinds of change taken from another fleet, the old plan carried out or not."""
    kinds = [kind for kind in ORDER if rng.random() < 0.4]
    changed = fleet_between(fleet, other, kinds, plan)
    return changed if rng.random() < 0.5 else changed.replace(current=fleet.current)


def main(count):
    causes = Counter()
    for seed in range(count):
        rng = random.Random(seed)
        kind = rng.choice(KINDS)
        fleet = random_fleet(kind, seed)
        plan = planner.plan(fleet)
        new = later(fleet, random_fleet(kind, seed + 1), plan, rng)
        try:
            made = planner.plan(new)
        except planner.InputError:
            continue
        found = planner.compare((fleet, plan), (new, made), time_limit=None)
        rows = {row.site for row in found.sites if row.what not in ("margin", "standby", "other reasons")}
        assert rows == differing(plan, made), (seed, kind)
        assert sorted(s for step in found.between for s in step.moved) == list(found.fewest_moves.moved), (seed, kind)
        unknown = [row for row in (*found.sites, *found.hosts) if row.cause == "unknown"]
        if unknown:
            print(seed, kind, "not known:", unknown[:2])
        difference_to_markdown(found)
        causes.update(row.cause for row in found.sites)
    print(count, "pairs;", dict(causes.most_common()))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
