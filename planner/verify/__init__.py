"""Checks a Plan against a Fleet by arithmetic of its own: it shares no code with sizing, nor with its rules.

Every rule is read a second time here, one site and one pool at a time, in plain Python. Nothing that a plan
claims is taken on trust except its lower bound and that unserved sites found no room.
"""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING

from planner.fleet import Fleet
from planner.on_demand import on_demand
from planner.plan import Plan
from planner.verify.aims import check_aims
from planner.verify.assignments import check_assignments
from planner.verify.case import Case
from planner.verify.cover import check_cover
from planner.verify.hosts import check_hosts
from planner.verify.inventory import read_inventory
from planner.verify.kept import check_kept
from planner.verify.running import check_running
from planner.verify.sites import check_sites
from planner.verify.totals import check_totals
from planner.verify.violation import CODES, Violation

if TYPE_CHECKING:
    from planner.verify.proof import ProofCheck, verify_proof
    from planner.verify.rollout import verify_rollout

__all__ = ["CODES", "ProofCheck", "Violation", "verify", "verify_proof", "verify_rollout"]

# They take solvers to load, which most checks do not ask.
_HOMES = {"ProofCheck": "proof", "verify_proof": "proof", "verify_rollout": "rollout"}
__getattr__ = on_demand(__name__, _HOMES)


def verify(fleet: Fleet, plan: Plan) -> tuple[Violation, ...]:
    """Return everything in ``plan`` that ``fleet`` contradicts; the plan holds when no ``violation`` is among it.

    ``plan`` may come from a file that people have edited: whatever its cells hold is answered with a violation,
    never with an exception. Codes are those of `CODES`. Time and memory grow with the rows of the plan and of
    the latency sheets.
    """
    case = Case(read_inventory(fleet), plan)
    checks = (
        check_sites,
        check_kept,
        check_assignments,
        check_hosts,
        check_running,
        check_cover,
        check_totals,
        check_aims,
    )
    return tuple(chain.from_iterable(check(case) for check in checks))
