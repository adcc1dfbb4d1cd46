"""The stage of a command that makes a certificate."""

from __future__ import annotations

from planner.certificate import Certified, certify_plan
from planner.cli.progress import Stages
from planner.cli.report import print_findings
from planner.errors import InputError
from planner.fleet import Fleet
from planner.plan import Plan


def certify(stages: Stages, fleet: Fleet, plan: Plan, seconds: float | None) -> Certified:
    """Return the certificate of ``plan``, made within ``seconds``."""
    with stages.stage("certificate", "Proving the bound line by line (Ctrl-C keeps the best so far)"):
        return certify_plan(fleet, plan, seconds=seconds)


def certify_or_say_why(stages: Stages, fleet: Fleet, plan: Plan, seconds: float | None) -> Certified | None:
    """Return the certificate; None, after the reason was printed, where none can be made: the plan is not lost then."""
    try:
        return certify(stages, fleet, plan, seconds)
    except InputError as error:
        print_findings(error.findings)
        return None
