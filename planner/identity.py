"""Which fleet a plan is of, which of its plans it is, and a hash of what is to be carried out.

The id of a fleet is its setting ``fleet_id``; else it is derived from the ids of the hubs, which change least. A plan
that follows another of the same fleet has the next number. Which one it follows is told by the earlier plan itself, or
by the settings ``last_plan``, ``last_plan_hash`` and ``last_plan_follows`` of the fleet. The hash is the SHA-256 of
hosts, assignments, and sites without a host: whoever approves a plan approves these, and any change changes the hash.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Callable, Iterable, Iterator
from operator import attrgetter
from typing import Any
from weakref import ref

from planner.fleet import Fleet
from planner.plan import Plan
from planner.plan_parts import Identity

_SHOWN = 12  # digits of a hash that people compare
_DIGITS = 9  # after the point: spreadsheets keep 15 digits of a number
_HOST = ("cap", "host", "hub", "pool", "release")
_ASSIGNMENT = ("budget_ms", "clusters", "evidence", "host", "hub", "rtt_ms", "site", "standby")
_TEXT = json.JSONEncoder(separators=(",", ":"))
# The outputs of a plan ask for its hash one after the other.
_latest: list[tuple[Callable[[], Plan | None], str]] = [(lambda: None, "")]


def fleet_id(fleet: Fleet) -> str:
    """Return the setting ``fleet_id``, else an id that hangs on the ids of the hubs alone."""
    given = fleet.policy.fleet_id
    return given or str(uuid.uuid5(uuid.NAMESPACE_OID, f"castingvote fleet {json.dumps(fleet.hub_ids)}"))


def plan_hash(plan: Plan) -> str:
    """Return the SHA-256 of what ``plan`` has carried out, in hex.

    It is that of JSON in ASCII with sorted keys and no blanks: ``hosts``, ``assignments``, ``unserved`` and
    ``no_host_needed``, each sorted, numbers rounded to nine decimals. Proof, findings and times do not count.
    """
    known, found = _latest[0]
    if known() is not plan:
        found = _hashed(plan)
        _latest[0] = ref(plan), found
    return found


def _hashed(plan: Plan) -> str:
    content = {
        "assignments": _listed(_rows(plan.assignments, _ASSIGNMENT)),
        "hosts": _listed(_rows(plan.host_list, _HOST)),
        "no_host_needed": _TEXT.encode(sorted(entry.site for entry in plan.no_host_needed)),
        "unserved": _TEXT.encode(sorted(entry.site for entry in plan.unserved)),
    }
    text = ",".join(f'"{name}":{members}' for name, members in content.items())
    return hashlib.sha256(f"{{{text}}}".encode("ascii")).hexdigest()


def identity_of(plan: Plan) -> Identity:
    """Return number, hash, fleet and predecessor of ``plan``."""
    return Identity(plan.number, plan_hash(plan), plan.fleet_id, plan.follows)


def last_plan(fleet: Fleet) -> Identity | None:
    """Return the last plan that ``fleet`` itself knows of, by its settings; None where it knows of none."""
    policy = fleet.policy
    if not policy.last_plan:
        return None
    of_plan, before = policy.last_plan_hash.casefold(), policy.last_plan_follows.casefold()
    return Identity(policy.last_plan, of_plan, fleet_id(fleet), before)


def numbered(plan: Plan, *before: Identity | None) -> Plan:
    """Return ``plan`` with its number: one more than that of the plan before it.

    Of the plans ``before`` that are of the same fleet, the one with the highest number is the plan before it. Where
    ``plan`` has nothing else carried out than that one, it is that plan, with the same number. Without a plan before
    it, the number stays what it was.
    """
    known = [one for one in before if one is not None and one.fleet_id in ("", plan.fleet_id)]
    if not known:
        return plan
    latest = max(known, key=lambda one: one.number)
    if latest.hash == plan_hash(plan):
        follows = next((one.follows for one in known if one.hash == latest.hash and one.follows), "")
        return plan.replace(number=latest.number, follows=follows)
    return plan.replace(number=latest.number + 1, follows=latest.hash)


def of_one_fleet(fleet: Fleet, before: Identity) -> Fleet:
    """Return ``fleet`` as the one that the plan ``before`` is of: with its id, where no setting gives another."""
    if fleet.policy.fleet_id or not before.fleet_id:
        return fleet
    return fleet.replace(policy=fleet.policy.replace(fleet_id=before.fleet_id))


def identity_in_words(plan: Plan) -> str:
    """Return number, fleet and the beginning of the hash in one sentence."""
    return in_words(identity_of(plan))


def in_words(identity: Identity) -> str:
    """Return `identity_in_words` of the plan that ``identity`` is of."""
    fleet = f" of fleet {identity.fleet_id}" if identity.fleet_id else ""
    return f"Plan {identity.number}{fleet}, hash {identity.hash[:_SHOWN]}."


def _rows(items: Iterable[Any], names: tuple[str, ...]) -> Iterator[str]:
    """Yield each item as JSON, with ``names``, which are sorted, as its keys."""
    values_of = attrgetter(*names)
    for item in items:
        values = [round(value, _DIGITS) if isinstance(value, float) else value for value in values_of(item)]
        yield _TEXT.encode(dict(zip(names, values, strict=True)))


def _listed(rows: Iterable[str]) -> str:
    return f"[{','.join(sorted(rows))}]"
