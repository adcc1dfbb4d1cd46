"""What a certificate that holds proves, in words: first what is not met."""

from __future__ import annotations

from collections.abc import Iterable

from planner.counted_words import counted, first_few
from planner.plan import Plan
from planner.verify.certificate.form import Number
from planner.verify.certificate.statement import Statement
from planner.verify.inventory import Inventory
from planner.verify.violation import RELATIVE_TOLERANCE


def in_words(inventory: Inventory, statement: Statement, lower: Number, upper: Number, plan: Plan | None) -> str:
    """Return what is proven, what is not, and whom it leaves out."""
    same = "serves the same sites" if statement.cover == "none" else "serves and covers the same sites"
    below = "less" if statement.objective == "cost" else "fewer"
    least, needs = _amount(inventory, statement, lower), _amount(inventory, statement, upper)
    slack = RELATIVE_TOLERANCE * float(upper) if statement.objective == "cost" else 0.0
    proven = float(upper) - float(lower) <= slack
    words = ["The certificate holds." if proven else "The certificate holds, but does not prove that the plan is best."]
    words.append(f"The plan in it needs {needs}. Proven: no plan that {same} needs {below} than {least}.")
    if plan is not None and float(lower) < plan.lower_bound - slack:
        words.append(
            f"The plan to check claims a higher lower bound, {plan.lower_bound:,g}; the certificate does "
            "not prove that."
        )
    if plan is not None and float(lower) > plan.lower_bound + slack:
        words.append(f"The plan to check claims less: a lower bound of {plan.lower_bound:,g}.")
    if statement.left_out:
        words.append(f"Sites that stay unserved, as in the plan: {_listed(statement.left_out)}.")
    if statement.bare:
        words.append(f"Sites without standby: {_listed(statement.bare)}.")
    if inventory.policy.cover != statement.cover:
        words.append(f"The certificate does not say whether the plan survives the loss of a {inventory.policy.cover}.")
    return " ".join(words)


def _amount(inventory: Inventory, statement: Statement, value: Number) -> str:
    if statement.objective == "cost":
        return f"{float(value):,.2f} {inventory.policy.currency or 'money'} a year"
    return counted(int(value), "host" if statement.objective == "hosts" else "new host")


def _listed(sites: Iterable[str]) -> str:
    names = sorted(sites)
    return f"{counted(len(names), 'site')} ({first_few(names)})"
