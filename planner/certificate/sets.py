"""Sets of sites that force hosts, as lines: sums of rows of the program, and what rounding makes of them.

For a set S of classes and N(S) the pools that they can use, the rows that all of S are served and that pools carry no
more than they may add up to  sum over N(S) of C_p n_p >= demand(S)  (P. Hall, J. London Math. Soc. 10 (1935) 26-30),
which may be divided and rounded (V. Chvatal, Discrete Mathematics 4 (1973) 305-337).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any

from planner.certificate.certificate_parts import Line, Number, Program, Reference
from planner.certificate.combine import divided, on_hosts


def hall_lines(program: Program, classes: Sequence[int], size: int) -> Iterator[Line]:
    """Yield what a set of classes forces: as it stands, and divided by the largest room in it.

    ``size`` above 1 counts sites of as many clusters or more, else clusters are counted.
    """
    uses: dict[Reference, Number] = {}
    homes: set[int] = set()
    for c in classes:
        block = program.blocks[c]
        if block.own is not None or block.items < size:
            return
        uses[program.demand[c]] = block.items if size == 1 else 1
        homes |= {flow.home for flow in block.flows}
    for p in sorted(homes):
        at = program.sizes.get((size, p))
        if at is None:  # the size divides the room, so that counting clusters says as much
            uses[program.room[p]] = Fraction(-1, size)
        else:
            uses[at] = -1
    yield from both_forms(on_hosts(program, uses))


def both_forms(plain: Line | None) -> Iterator[Line]:
    """Yield a line as it stands, and divided by the largest room in it; nothing where it forces nothing."""
    if plain is None or plain.rhs <= 0 or not plain.by:
        return
    largest = int(max(plain.by.values()))
    yield plain
    if largest > 1:
        yield divided(plain, largest)


def classes_of(program: Program, sites: Iterable[str]) -> list[int]:
    """Return the classes all of whose sites are among ``sites``."""
    inside = set(sites)
    return [c for c, kind in enumerate(program.classes) if inside.issuperset(kind.sites)]


def standby_lines(program: Program, told: Iterable[dict[str, Any]]) -> Iterator[Line]:
    """Yield what the sets of a proof of cover force of hosts and of the room that they keep free.

    ``told``: the sets as plan.json has them. One that the program does not bear out is passed over.
    """
    at = {pool: p for p, pool in enumerate(program.pools)}
    for each in told:
        uses: dict[Reference, Number] = {}
        for c in classes_of(program, each["sites"]):
            if program.blocks[c].own is None:
                uses[program.demand[c]] = program.blocks[c].items
        for p in each["full"]:
            uses[program.room[at[p]]] = -1
        for p in each["kept"]:
            uses[program.kept[at[p]]] = -1
        for home, standbys in each["ready"].items():
            for q in standbys:
                constraint = program.ready.get((program.group[at[home]], at[q]))
                if constraint is not None:
                    uses[constraint] = -1
        line = on_hosts(program, uses)
        if line is not None and line.rhs > 0:
            yield line


def kept_lines(program: Program) -> Iterator[Line]:
    """Yield that no pool keeps more room free than its hosts have while a loss lasts."""
    for constraint in program.kept.values():
        line = on_hosts(program, {constraint: -1})
        if line is not None:
            yield line
