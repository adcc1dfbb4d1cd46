"""The answer of the model of single hosts, read from its columns, and the draft that it is."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from planner.arrays import indices, int_zeros, minus_ones, rounded, totals
from planner.fleet import Bools, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts, Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import running
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solution.served_aims import Worth


@dataclass(frozen=True)
class HostByHost:
    """An answer: seats (hosts are named by pool and number), the standby of each, who is left out, value and bound."""

    seats: tuple[Seat, ...]
    standbys: tuple[str | None, ...]
    unserved: Bools
    own: Bools
    value: float
    bound: float
    word: str


def name(p: int, number: int) -> str:
    """Return the working name of a host: pool and number, both from 0."""
    return f"{p}/{number}"


def units_placed(units: Ints, covered: Ints, lives: Ints, standby: Ints) -> list[tuple[int, int, int]]:
    """Return position of x, units and standby (-1: none) of what lives together and has one standby.

    ``units`` (X,) are the values of x, ``covered`` (Y,) those of y; ``lives`` and ``standby`` (Y,) as in the model.
    """
    y = np.flatnonzero(covered)
    bare = units - rounded(totals(lives[y], covered[y], len(units)))
    x = np.flatnonzero(bare)
    followed = np.column_stack((lives[y], covered[y], standby[y]))
    alone = np.column_stack((x, bare[x], minus_ones(len(x))))
    placed = np.concatenate((followed, alone))
    order = np.argsort(placed[:, 0], kind="stable")
    return [(at, number, host) for at, number, host in placed[order].tolist()]


def draft_of_hosts(case: Case, losses: Losses, exact: HostByHost, *, by_name: bool = False) -> Draft:
    """Return the draft of an answer host by host; ``by_name``: its numbers are positions among the names of a pool."""
    problem = case.problem
    used = {seat.host for seat in exact.seats}
    used.update(filter(None, exact.standbys))
    names: dict[int, list[str]] = {}
    named: dict[str, str] = {}
    of_pool: dict[int, list[int]] = {}
    for p, number in sorted(tuple(map(int, key.split("/"))) for key in used):
        of_pool.setdefault(p, []).append(number)
    for p, numbers in of_pool.items():
        known = case.today.names[p]
        positions = _named_first(numbers, known, case.today.named) if by_name else indices(numbers)
        names[p] = [known[position] for position in positions]
        working = [name(p, number) for number in numbers]
        named |= zip(working, names[p], strict=True)
    seats = [dataclasses.replace(seat, host=named[seat.host]) for seat in exact.seats]
    standbys = tuple(named.get(key or "") for key in exact.standbys)
    placement = Placement.of(seats, exact.unserved, exact.own)
    seating = Seating(seats, names)
    draft = Draft(_sized(problem, exact), placement, seating, standbys)
    can = losses.coverable_sites(problem)[draft.bare]
    bare = problem.weights[draft.bare]
    least: dict[Worth, float] = {"covered": float(bare.sum())}
    counts = dataclasses.replace(draft.sized.counts, hosts=running(problem, draft))
    uncovered = int(bare[can].sum())
    sized = dataclasses.replace(draft.sized, counts=counts, uncovered=uncovered, least=least)
    return dataclasses.replace(draft, sized=sized)


def _named_first(numbers: list[int], names: list[str], named: frozenset[str]) -> list[int]:
    """Return positions in ``names`` for hosts by number; one without a name takes that of a named one that is idle.

    Nobody moves by that who would stay otherwise: a site that names no host may be on any that runs.
    """
    of_named = [at for at, host in enumerate(names) if host in named]
    idle = [at for at in of_named if at not in numbers]
    return [idle.pop(0) if idle and at not in of_named else at for at in numbers]


def _sized(problem: Problem, exact: HostByHost) -> Sized:
    """Return what is known of the answer, with no counts yet."""
    classes = group(problem, by_weight=True)
    counts = Counts.of_hosts(classes, int_zeros(problem.pools))
    return Sized(classes, counts, exact.value, exact.bound, True, exact.word)
