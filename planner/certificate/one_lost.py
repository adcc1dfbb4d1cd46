"""Which classes are asked about the loss of one host, where that is covered.

Some host runs that they may use. When it is lost, all the others have to carry them, so that hosts may be lost as well
before as after both sides are divided by a number and rounded up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from planner.certificate.certificate_parts import Program
from planner.certificate.sets import classes_of

_CONFINED = 100  # sets of classes that no pool outside a set can take, those with the fewest pools


def sets_to_cover(program: Program, found: Sequence[Sequence[str]]) -> list[tuple[int, ...]]:
    """Return sets of classes: those of the sites in ``found``, all together, and some that have few pools."""
    covered = [c for c in range(len(program.classes)) if _has_to_be_covered(program, c)]
    sets = [tuple(c for c in classes_of(program, sites) if _has_to_be_covered(program, c)) for sites in found]
    sets += [tuple(covered), *_confined(program, covered)]
    return [each for each in dict.fromkeys(sets) if each]


def reach(program: Program, c: int) -> frozenset[int]:
    """Return the pools that may be home or standby of a class."""
    return frozenset((*program.classes[c].homes, *program.classes[c].standbys))


def _has_to_be_covered(program: Program, c: int) -> bool:
    return program.classes[c].covered and program.blocks[c].own is None


def _confined(program: Program, covered: Sequence[int]) -> Iterator[tuple[int, ...]]:
    pools = sorted({reach(program, c) for c in covered}, key=lambda pools: (len(pools), sorted(pools)))
    for inside in pools[:_CONFINED]:
        yield tuple(c for c in covered if reach(program, c) <= inside)
