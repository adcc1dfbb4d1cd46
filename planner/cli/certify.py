"""The stage of a command that makes a certificate."""

from __future__ import annotations

from planner.certificate import Certified, certify_plan
from planner.cli.progress import Stages
from planner.fleet import Fleet
from planner.plan import Plan


def certify(stages: Stages, fleet: Fleet, plan: Plan, seconds: float | None) -> Certified:
    """Return the certificate of ``plan``, made within ``seconds``."""
    with stages.stage("certificate", "Proving the bound line by line (Ctrl-C keeps the best so far)"):
        return certify_plan(fleet, plan, seconds=seconds)
