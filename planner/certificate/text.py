"""A certificate as text in the format VIPR 1.0, piece by piece.

Source: K. K. H. Cheung, A. Gleixner, D. E. Steffy, "Verifying Integer Programming Results", IPCO 2017, LNCS 10328,
148-160, and the specification of the file format, version 1.0. Numbers are whole or fractions in lowest terms.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence

from planner.certificate.certificate_parts import Line, Number, Program, Reference, Row
from planner.version import VERSION

_STATEMENT = """\
This file proves how much any plan of a fleet needs. Format: VIPR 1.0; written by castingvote {version}.
To check it: use any checker of that format, or castingvote verify FLEET --certificate FILE.
The second also makes the model below again from the fleet, and compares.
The model covers every plan that serves all sites of the fleet, except those listed under left_out.
A class is a group of sites that are alike. The comments below say which pool and which class has which number.
The unknowns, here with pool 1, class 2 and standby pool 3 as an example:
n1: how many hosts run in pool 1.
a1: how many of these hosts must be added.
s1: for how many clusters pool 1 keeps room free.
x2_1: how many sites of class 2 have their host in pool 1. Where sites may be split, it counts clusters.
y2_1_3: the same, for sites with their standby in pool 3.
o2: how many sites of class 2 use an own tie-breaker.
The constraints:
serve_c: every site of class c is served.
room_p: the hosts of pool p carry no more clusters than they may.
kept_p: they carry no more than that during a loss, either.
ready_l_q: pool q keeps enough room free for the sites that come to it in loss l.
size_t_p: a host of pool p has room for only so many sites of t or more clusters.
limit_i: the sites at one hub or in one zone bring no more traffic, clusters or weight than is allowed there.
weight_p: the hosts of pool p carry no more weight than they may.
together_i: the hosts of several pools take no more than the pools share, such as rack units.
added_p: the hosts of pool p that do not exist today are counted as added.
one_lost_i: when one host is lost, the other hosts have room for the sites of the classes in comment one_lost.
The first number in that comment is a divisor: both sides of the constraint are divided by it and rounded up.
"""


def pieces(program: Program, last: Line, point: Mapping[int, Number], bound: Number, value: Number) -> Iterator[str]:
    """Yield the text: the program, the plan as ``point`` of ``value``, and the derivation of ``last`` from it."""
    yield from _comments(program)
    yield "VER 1.0\n"
    yield f"VAR {program.variables}\n"
    yield from (f"{name}\n" for name in program.names)
    yield f"INT {program.variables}\n"
    yield from (f"{j}\n" for j in range(program.variables))
    yield f"OBJ min\n{_pairs(program.objective.items(), len(program.objective))}\n"
    yield f"CON {program.constraints} {program.constraints - len(program.rows)}\n"
    yield from (_constraint(program.row(at)) for at in range(program.constraints))
    yield f"RTP range {bound} {value}\n"
    yield f"SOL 1\nplan {_pairs(point.items(), len(point))}\n"
    yield from _derivation(program, last)


def _comments(program: Program) -> Iterator[str]:
    """Yield the statement in words, and which pool, class and site is which."""
    for line in _STATEMENT.format(version=VERSION).splitlines():
        yield f"% {line}\n"
    scope = program.scope
    yield f"% objective {json.dumps(scope.objective)}\n"
    yield f"% cover {json.dumps(scope.cover)}\n"
    yield f"% left_out {json.dumps(scope.left_out)}\n"
    yield f"% without_standby {json.dumps(scope.bare)}\n"
    for p, pool in enumerate(program.pools, start=1):
        yield f"% pool {p} {json.dumps(pool)}\n"
    for c, kind in enumerate(program.classes, start=1):
        yield f"% class {c} {json.dumps(kind.sites)}\n"
    for number, (divisor, classes) in enumerate(program.told_lost, start=1):
        yield f"% one_lost {number} {json.dumps([divisor, [c + 1 for c in classes]])}\n"


def _pairs(pairs: Iterable[tuple[int, Number]], count: int) -> str:
    return " ".join([str(count), *(f"{j} {value}" for j, value in pairs)])


def _constraint(row: Row) -> str:
    return f"{row.name} {row.sense} {row.rhs} {_pairs(zip(row.at, row.by, strict=True), len(row.at))}\n"


def _derivation(program: Program, last: Line) -> Iterator[str]:
    lines = in_order(last)
    number = {line: program.constraints + at for at, line in enumerate(lines)}
    last_use = dict.fromkeys(lines, -1)
    for line in lines:
        for used, _ in line.uses:
            if isinstance(used, Line):
                last_use[used] = number[line]

    def index(reference: Reference) -> int:
        return number[reference] if isinstance(reference, Line) else reference

    yield f"DER {len(lines)}\n"
    for line in lines:
        left = "OBJ" if line.by is program.objective else _pairs(line.by.items(), len(line.by))
        reason = _reason(line, [(index(used), multiplier) for used, multiplier in line.uses])
        yield f"d{number[line]} {line.sense} {line.rhs} {left} {{ {reason} }} {last_use[line]}\n"


def _reason(line: Line, uses: Sequence[tuple[int, Number]]) -> str:
    if line.kind == "asm":
        return "asm"
    if line.kind == "uns":
        return " ".join(["uns", *(str(at) for at, _ in uses)])
    return f"{line.kind} {_pairs(uses, len(uses))}"


def in_order(last: Line) -> list[Line]:
    """Return ``last`` and all lines that it rests on, each after those that it uses itself."""
    found: dict[Line, None] = {}
    waiting: list[tuple[Line, bool]] = [(last, False)]
    while waiting:
        line, ready = waiting.pop()
        if line in found:
            continue
        if ready:
            found[line] = None
            continue
        waiting.append((line, True))
        waiting += [(used, False) for used, _ in reversed(line.uses) if isinstance(used, Line)]
    return list(found)
