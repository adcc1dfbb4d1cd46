"""Which plan a fleet follows, from the workbooks that came back, so that the next plan counts on."""

from __future__ import annotations

from planner.fleet import Fleet
from planner.identity import fleet_id, identity_of, last_plan, of_one_fleet
from planner.plan import Plan
from planner.progress import Merged, StateChange


def with_last_plan(fleet: Fleet, plan: Plan, merged: Merged) -> tuple[Fleet, list[StateChange], list[str]]:
    """Return ``fleet`` that knows ``plan`` as its last one, what that changes in its settings, and notes.

    It takes the id of the plan's fleet where the setting ``fleet_id`` is blank, so that plans and calendars stay those
    of one fleet when hubs change. A plan of another fleet, or one that is older than the last one known, changes
    nothing.
    """
    made = merged.plan or identity_of(plan)
    found = of_one_fleet(fleet, made)
    if made.fleet_id not in ("", fleet_id(found)):
        note = (
            f"The plan is of fleet {made.fleet_id}, and the setting fleet_id is {fleet_id(found)}: "
            "the next plan does not count on from it."
        )
        return fleet, [], [note]
    known = last_plan(found)
    if known is None or known.number <= made.number:
        numbers = {"last_plan": made.number, "last_plan_hash": made.hash, "last_plan_follows": made.follows}
        policy = found.policy.replace(**numbers)
        found = found.replace(policy=policy)
    source = f"plan {made.number}, hash {made.hash}"
    changes = [
        StateChange("policy", name, str(before or ""), str(after), source)
        for name in ("fleet_id", "last_plan", "last_plan_hash", "last_plan_follows")
        if (before := getattr(fleet.policy, name)) != (after := getattr(found.policy, name))
    ]
    return found, changes, []
