"""Is a certificate one, and is it about this fleet? Checked by fractions, without a solver and without trust.

The derivation is checked line by line as any checker of the format does. Besides, the program in the file has to be
that of the fleet: variables, rows and coefficients are made again from it, by verify's own reading.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, islice, zip_longest
from typing import Literal

from planner.fleet import Fleet
from planner.plan import Plan
from planner.verify.certificate.arithmetic import Chain, LineError, unkept
from planner.verify.certificate.form import Constraint, FormError, Head, Number, Reader
from planner.verify.certificate.program import Expected, FleetProgram
from planner.verify.certificate.statement import Statement, read_statement
from planner.verify.certificate.told import in_words
from planner.verify.inventory import Inventory, read_inventory
from planner.verify.violation import Violation, differs

__all__ = ["CertificateCheck", "check_lines", "verify_certificate"]

_CENT = Fraction(1, 10**6)  # prices are added up in another order here; the certificate has them to six decimals


@dataclass(frozen=True, slots=True)
class CertificateCheck:
    """What became of a certificate: it ``holds``, or is ``broken`` as ``violations`` say; ``words`` sum it up.

    ``lower`` and ``upper`` are the bounds that it proves, as floats; None where it is broken.
    """

    verdict: Literal["holds", "broken"]
    words: str
    violations: tuple[Violation, ...] = ()
    lower: float | None = None
    upper: float | None = None


def verify_certificate(fleet: Fleet, lines: Iterable[str], plan: Plan | None = None) -> CertificateCheck:
    """Return whether the certificate in ``lines`` holds, and is about ``fleet`` (and ``plan``, if given).

    ``lines`` may be an open text file. Nothing in it is taken on trust, and nothing that stands there raises.
    """
    try:
        reader = Reader(lines)
        statement = read_statement(reader.head.comments)
    except FormError as error:
        return _broken([Violation("certificate_form", "certificate", str(error))])
    inventory, head = read_inventory(fleet), reader.head
    wrong = [*_scope(inventory, statement)]
    if not wrong:
        wrong = [*_program(FleetProgram(inventory, statement), statement, head)]
    if not wrong:
        wrong = [*_derivation(reader)]
    if plan is not None and not wrong:
        wrong = [*_same_plan(inventory, statement, head, plan)]
    if wrong or head.lower is None or head.upper is None:
        return _broken(wrong)
    words = in_words(inventory, statement, head.lower, head.upper, plan)
    return CertificateCheck("holds", words, (), float(head.lower), float(head.upper))


def check_lines(lines: Iterable[str]) -> str:
    """Return why a file of the format VIPR 1.0, of whatever origin, proves nothing; "" where it proves what it says."""
    try:
        reader = Reader(lines)
        return next((str(violation) for violation in _derivation(reader)), "")
    except FormError as error:
        return str(error)


def _derivation(reader: Reader) -> Iterator[Violation]:
    """Yield the first thing that is wrong with solutions or derivations."""
    if broken := unkept(reader.head):
        yield Violation("certificate_solution", "certificate", broken)
        return
    lines = Chain(reader.head)
    try:
        for line in reader.derivations():
            lines.check(line)
    except FormError as error:
        yield Violation("certificate_form", "certificate", str(error))
        return
    except LineError as error:
        yield Violation("certificate_line", "certificate", str(error))
        return
    if short := lines.ends():
        yield Violation("certificate_line", "certificate", short)


def _scope(inventory: Inventory, statement: Statement) -> Iterator[Violation]:
    """Yield what the comments say that is not so of the fleet."""

    def wrong(text: str) -> Violation:
        return Violation("certificate_scope", "certificate", text)

    policy = inventory.policy
    if statement.objective != policy.objective:
        yield wrong(f"its objective is {statement.objective}; the fleet's policy says {policy.objective}")
    if statement.standbys != (policy.cover in ("hub", "zone")):
        yield wrong(
            f"it is for plans {'with' if statement.standbys else 'without'} standbys, but cover in Policy "
            f"is {policy.cover}"
        )
    needing = {site.site for site in inventory.sites.values() if site.needs_host}
    strangers = (statement.left_out | statement.bare) - needing
    if strangers:
        yield wrong(f"it names {len(strangers)} sites that need no host or are not in the fleet")
    if statement.bare and statement.cover == "none":
        yield wrong("it lists sites without standby, but with cover none no site has a standby anyway")


def _program(program: FleetProgram, statement: Statement, head: Head) -> Iterator[Violation]:
    """Yield the first difference between the program in the file and that of the fleet."""
    found = chain(_variables(program, statement, head), _objective(program, statement, head), _rows(program, head))
    yield from (Violation("certificate_program", "certificate", text) for text in islice(found, 1))


def _variables(program: FleetProgram, statement: Statement, head: Head) -> Iterator[str]:
    if statement.pools != [pool.pool for pool in program.pools]:
        yield "it does not list the pools of the fleet, sorted by id"
    if statement.classes != [tuple(site.site for site in group.sites) for group in program.groups]:
        yield "it does not put the sites of the fleet into the same classes (groups of sites that are alike)"
    if program.not_covered():
        yield "it has a rule about the loss of a host, but cover in Policy is not host"
    if len(head.variables) != program.variables or len(head.whole) != program.variables or not head.minimise:
        yield (
            f"its model has {len(head.variables)} unknowns; the model of this fleet has {program.variables}, "
            "all whole numbers"
        )
    if any(name != expected for name, expected in zip(head.variables, program.names(), strict=True)):
        yield "its unknowns do not have the names that the comments at its top explain"


def _objective(program: FleetProgram, statement: Statement, head: Head) -> Iterator[str]:
    slack: Number = _CENT if statement.objective == "cost" else 0
    wanted: dict[int, Number] = program.objective()
    for j in wanted.keys() | head.objective.keys():
        more: Number = wanted.get(j, 0) - head.objective.get(j, 0)
        if not -slack <= more <= slack:
            yield (
                f"the unknown {head.variables[j]} has the factor {head.objective.get(j, 0)} in its objective; by the "
                f"fleet it is {wanted.get(j, 0)}"
            )


def _rows(program: FleetProgram, head: Head) -> Iterator[str]:
    if head.bounds != program.variables + len(program.pools):
        yield "it does not have one limit for each unknown of the fleet's model"
    for stated, expected in zip_longest(head.constraints, program.constraints()):
        if text := _unlike(stated, expected):
            yield text
    if head.infeasible or head.lower is None or head.upper is None or not head.solutions:
        yield "it must state a lower bound, an upper bound and a plan; one of them is missing"


def _unlike(stated: Constraint | None, expected: Expected | None) -> str:
    if stated is None or expected is None:
        return f"its model has {'fewer' if stated is None else 'more'} constraints than the model of this fleet"
    sense, rhs, terms = expected[0], expected[1], {j: a for j, a in expected[2].items() if a}
    if (stated.sense, stated.rhs) == (sense, rhs) and len(stated.at) == len(terms) and stated.terms() == terms:
        return ""
    return f"its constraint {stated.name} differs from the constraint of this fleet"


def _same_plan(inventory: Inventory, statement: Statement, head: Head, plan: Plan) -> Iterator[Violation]:
    """Yield what makes the certificate one of another plan."""

    def other(text: str) -> Violation:
        return Violation("certificate_plan", "certificate", text)

    if statement.left_out != {entry.site for entry in plan.unserved}:
        yield other("its list of unserved sites is not that of the plan")
    bare = set() if statement.cover == "none" else {row.site for row in plan.assignments if not row.standby}
    if statement.bare != bare:
        yield other("its list of sites without standby is not that of the plan")
    running = Counter(host.pool for host in plan.host_list)
    point = head.solutions[0]
    if any(point.get(p, 0) != running[pool] for p, pool in enumerate(statement.pools)):
        yield other("the plan in the certificate and the plan to check run different numbers of hosts in a pool")
    upper = _as_float(head.upper)
    if differs(plan.objective_value, upper, float(_CENT * max(1, len(inventory.sites)))):
        yield other(
            f"the plan inside it needs {upper:.12g} by the objective; the plan to check needs {plan.objective_value}"
        )


def _as_float(value: Number | None) -> float:
    return float("nan") if value is None else float(value)


def _broken(violations: list[Violation]) -> CertificateCheck:
    first = violations[0].message if violations else "it proves nothing about how much a plan needs"
    return CertificateCheck("broken", f"The certificate does not hold: {first}.", tuple(violations))
