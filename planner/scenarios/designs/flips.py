"""All prices at which the cheapest mix of shared and own votes changes, exactly.

A plan with k clusters on votes of their own and everything else for F costs F + k x at price x, so the least cost over
all plans is concave and piecewise linear in x. Two plans that are best at two prices meet at one price between
them; if no plan is cheaper there, it is a breakpoint, else the cheaper one splits the interval (M. J. Eisner,
D. G. Severance, Mathematical techniques for efficient record segmentation, J. ACM 23 (1976) 619-635). Each plan is
solved with its proof, so a breakpoint holds as far as its plans are proven.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from planner.scenarios.designs.design_comparison import Segment

_CLOSE = 1e-7  # relative


@dataclass(frozen=True)
class Line:
    """A plan as a line: ``fixed`` + ``own`` times the price, with what is needed to tell it."""

    fixed: float
    own: int
    hosts: int
    proven: bool
    own_sites: tuple[str, ...]

    def at(self, price: float) -> float:
        """Return the cost at ``price``."""
        return self.fixed + self.own * price


def flip_prices(
    best_at: Callable[[float], Line], highest: float, may_plan: Callable[[int], bool]
) -> tuple[tuple[Segment, ...], bool]:
    """Return the segments from price 0 on in order, and whether all of them were found, each by plans that are proven.

    ``best_at`` returns the best plan at a price; ``may_plan`` says whether another may be made after so many. Above
    ``highest`` the last segment is taken to go on.
    """
    plans = 2
    left, right = best_at(0.0), best_at(highest)
    lines = [left]
    complete = left.proven and right.proven
    stack = [(left, right)]
    while stack:
        a, b = stack.pop()
        if a.own == b.own:
            lines.append(b)
            continue
        price = (b.fixed - a.fixed) / (a.own - b.own)
        if not may_plan(plans):
            complete = False
            lines.append(b)
            continue
        middle = best_at(price)
        plans += 1
        complete = complete and middle.proven
        if middle.at(price) >= a.at(price) - _CLOSE * max(1.0, abs(a.at(price))):
            lines.append(b)
        else:
            stack += [(middle, b), (a, middle)]
    return _segments(lines), complete


def _segments(lines: list[Line]) -> tuple[Segment, ...]:
    """Return the lines, in order of price, with the prices between which each is best."""
    distinct = [line for n, line in enumerate(lines) if n == 0 or line.own != lines[n - 1].own]
    segments, low = [], 0.0
    for line, after in zip(distinct, [*distinct[1:], None], strict=True):
        high = math.inf if after is None else (after.fixed - line.fixed) / (line.own - after.own)
        segments.append(Segment(low, high, line.own, line.hosts, line.fixed, line.proven, line.own_sites))
        low = high
    return tuple(segment for segment in segments if segment.high > segment.low + _CLOSE * max(1.0, segment.low))
