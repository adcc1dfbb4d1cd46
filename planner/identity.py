"""Which fleet a plan is of, which of its plans it is, and a hash of what is to be carried out.

The id of a fleet is its setting ``fleet_id``; else it is derived from the ids of the hubs, which change least. A plan
that follows another of the same fleet has the next number. The hash is the SHA-256 of hosts, assignments, and sites
without a host: whoever approves a plan approves these, and any change of them changes the hash.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Mapping
from typing import Any

from planner.fleet import Fleet
from planner.plan import Plan

_SHOWN = 12  # digits of a hash that people compare
_DIGITS = 9  # after the point: spreadsheets keep 15 digits of a number
_HOST = ("host", "hub", "pool", "release", "cap")
_ASSIGNMENT = ("site", "host", "hub", "clusters", "rtt_ms", "budget_ms", "evidence", "standby")


def fleet_id(fleet: Fleet) -> str:
    """Return the setting ``fleet_id``, else an id that hangs on the ids of the hubs alone."""
    given = fleet.policy.fleet_id
    return given or str(uuid.uuid5(uuid.NAMESPACE_OID, f"castingvote fleet {json.dumps(fleet.hub_ids)}"))


def plan_hash(plan: Plan) -> str:
    """Return the SHA-256 of what ``plan`` has carried out, in hex.

    It is that of JSON in ASCII with sorted keys and no blanks: ``hosts``, ``assignments``, ``unserved`` and
    ``no_host_needed``, each sorted, numbers rounded to nine decimals. Proof, findings and times do not count.
    """
    content = {
        "hosts": sorted((_row(host, _HOST) for host in plan.host_list), key=_order),
        "assignments": sorted((_row(one, _ASSIGNMENT) for one in plan.assignments), key=_order),
        "unserved": sorted(entry.site for entry in plan.unserved),
        "no_host_needed": sorted(entry.site for entry in plan.no_host_needed),
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def numbered(plan: Plan, before: Plan | None) -> Plan:
    """Return ``plan`` with its number: one more than that of ``before``, or the same where nothing else is to be done.

    A plan of another fleet, or None, is no plan before it: the number stays what it was.
    """
    if before is None or (before.fleet_id and before.fleet_id != plan.fleet_id):
        return plan
    hashed = plan_hash(before)
    if hashed == plan_hash(plan):
        return plan.replace(number=before.number, follows=before.follows)
    return plan.replace(number=before.number + 1, follows=hashed)


def identity_in_words(plan: Plan) -> str:
    """Return number, fleet and the beginning of the hash in one sentence."""
    fleet = f" of fleet {plan.fleet_id}" if plan.fleet_id else ""
    return f"Plan {plan.number}{fleet}, hash {plan_hash(plan)[:_SHOWN]}."


def _row(item: Any, names: tuple[str, ...]) -> dict[str, Any]:
    values = {name: getattr(item, name) for name in names}
    return {name: round(value, _DIGITS) if isinstance(value, float) else value for name, value in values.items()}


def _order(row: Mapping[str, Any]) -> str:
    return json.dumps(row, sort_keys=True)
