"""One fleet's certificate: written, checked, and read by the words of the original checker."""

from __future__ import annotations

from dataclasses import dataclass

import planner
from planner.certificate import certify_plan
from planner.errors import InputError
from planner.verify.certificate import verify_certificate
from tests.independent.generator import Wanted, tables_of

USUAL = Wanted()
CLOSE = 1e-6  # relative; of money


@dataclass(frozen=True)
class Trial:
    """What came out: ``lines`` of the file, what the plan proves, what the certificate does, and what is wrong."""

    seed: int
    lines: tuple[str, ...]
    kind: str
    claimed: float
    proven: float
    value: float
    wrong: str

    @property
    def reaches(self) -> bool:
        """Whether the certificate proves as much as the plan claims."""
        return self.proven >= self.claimed - CLOSE * abs(self.claimed)


def fleet_of(seed: int, wanted: Wanted = USUAL) -> planner.Fleet:
    """Return a random small fleet of any kind, that of `tests.independent`; raises InputError as intake does."""
    tables = tables_of(seed, wanted)
    return planner.fleet_from_tables(tables.frames(), tables.policy)


def trial(seed: int, fleet: planner.Fleet) -> Trial:
    """Plan ``fleet``, write the certificate and check it."""
    plan = planner.plan(fleet)
    made = certify_plan(fleet, plan)
    lines = tuple("".join(made.text()).splitlines())
    checked = verify_certificate(fleet, lines, plan)
    wrong = "" if checked.verdict == "holds" else checked.words
    if abs(float(made.value) - plan.objective_value) > CLOSE * max(1.0, plan.objective_value):
        wrong = wrong or f"the plan's objective is {plan.objective_value}, in the certificate {float(made.value)}"
    return Trial(seed, lines, plan.proof.kind, plan.lower_bound, float(made.bound), plan.objective_value, wrong)


def trials(first: int, count: int, wanted: Wanted = USUAL) -> list[Trial]:
    """Return one trial for each seed whose tables make a fleet."""
    found = []
    for seed in range(first, first + count):
        try:
            fleet = fleet_of(seed, wanted)
        except InputError:
            continue
        found.append(trial(seed, fleet))
    return found
