"""Which scenarios are looser than which, and what the bounds of one say about another.

Scenario B is looser than A when every plan of A is a plan of B with the same objective value. That holds where both
change the same things and differ only in figures that have a loose side (`_LOOSE`): a larger latency budget or cap,
more hosts at a hub, less reserve, a lower percentile, less cover, and so on. It says nothing about what looser plans
may serve on top, so bounds pass between A and B only where both leave the same weight unserved. Then

    least(B) <= value(A)     and     least(A) >= bound(B)

(and, where cover is asked for, every site of both has a standby),
because a plan of A that serves as much is a plan of B, and `Plan.lower_bound` holds for all plans that serve at
least as much weight. A scenario M between A and B (B's weight proven, or nobody unserved) serves the same weight,
so where value(A) = bound(B) it needs exactly that much, and need not be planned.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from planner.fleet import Fleet
from planner.releases import parse_release
from planner.scenarios.edits import SETTINGS, column_of
from planner.scenarios.sweep_results import Edit, Point, Scenario
from planner.scenarios.values import is_relative

_WORDS = {
    "unknown_latency": ("ineligible", "estimate"),
    "split_sites": ("no", "yes"),
    "loss_uses_reserve": ("no", "yes"),
}
_LIMITS = tuple(
    f"{what}{where}" for what in ("max_blast_radius", "max_share_percent") for where in ("", "_hub", "_zone")
)
# +1: a larger figure is looser, -1: a smaller one.
_LOOSE: dict[tuple[str, str], int] = {
    ("Policy", "latency_budget_ms"): 1,
    ("Policy", "cluster_cap"): 1,
    ("Policy", "max_hosts_per_hub"): 1,
    **{("Policy", name): 1 for name in _LIMITS},
    ("Policy", "max_loss_percent"): 1,
    ("Policy", "reserve_percent"): -1,
    ("Policy", "third_location_km"): -1,
    ("Policy", "percentile"): -1,
    ("Policy", "unknown_latency"): 1,
    ("Policy", "split_sites"): 1,
    ("Policy", "loss_uses_reserve"): 1,
    ("Sites", "latency_budget_ms"): 1,
    ("Hubs", "cluster_cap"): 1,
    ("Hubs", "max_hosts"): 1,
    ("Hubs", "uplink_mbps"): 1,
}
# None is looser than each of the others, which are not compared with each other.
_COVER = {"none": 1.0, "host": 0.0, "hub": 0.0, "zone": 0.0}
_CLOSE = 1e-9


@dataclass(frozen=True, slots=True)
class Place:
    """Where a scenario stands: ``fixed`` must be equal to compare two, ``ranks`` grow as it gets looser.

    ``cover`` is the word of the policy; none is looser than either of the others.
    """

    fixed: tuple[Any, ...]
    ranks: tuple[float, ...]
    cover: str

    def looser_than(self, other: Place) -> bool:
        """Say whether every plan of ``other`` is one of this scenario; True for equal places."""
        if self.fixed != other.fixed or len(self.ranks) != len(other.ranks):
            return False
        covers = self.cover in (other.cover, "none")
        return covers and all(a >= b for a, b in zip(self.ranks, other.ranks, strict=True))

    @property
    def full_ranks(self) -> tuple[float, ...]:
        """Ranks with the cover as the last."""
        return (*self.ranks, _COVER[self.cover])


def places(fleet: Fleet, scenarios: Sequence[Scenario]) -> dict[str, Place]:
    """Return the place of each scenario by its name."""
    axes = sorted({_axis(edit) for s in scenarios for edit in s.edits if _comparable(edit)})
    return {scenario.name: _place(fleet, scenario, axes) for scenario in scenarios}


Axis = tuple[str, str, str]


def _axis(edit: Edit) -> Axis:
    """Return what an edit turns: relative and absolute values of one column are axes of their own."""
    sign = edit.value[0] if is_relative(column_of(edit), edit.value) else ""
    return edit.sheet, edit.column, sign


def _comparable(edit: Edit) -> bool:
    key = (edit.sheet, edit.column)
    wide = edit.sheet == "Policy" or edit.rows == "*"
    release = edit.column in ("release_floor", "cover") and edit.sheet == "Policy"
    return wide and (key in _LOOSE or release) and not (edit.sheet == "Policy" and _axis(edit)[2])


def _place(fleet: Fleet, scenario: Scenario, axes: Sequence[Axis]) -> Place:
    fixed: list[Any] = [
        scenario.growth,
        tuple(sorted(scenario.closed_sites)),
        tuple(sorted(scenario.closed_hubs)),
        scenario.new_hubs,
    ]
    found: dict[Axis, Edit] = {}
    for edit in scenario.edits:
        # A second edit of one column is not thought through: such scenarios compare with equal ones only.
        if _comparable(edit) and _axis(edit) not in found:
            found[_axis(edit)] = edit
        else:
            fixed.append(edit)
    ranks = []
    cover = fleet.policy.cover
    for axis in axes:
        if axis[:2] == ("Policy", "cover"):
            cover = found[axis].value if axis in found else cover  # type: ignore[assignment]
            continue
        rank = _rank(fleet, axis, found.get(axis))
        if rank is None:
            fixed.append((axis, found.get(axis)))
            rank = 0.0
        ranks.append(rank)
    return Place(tuple(fixed), tuple(ranks), cover if cover in _COVER else "none")


def _rank(fleet: Fleet, axis: Axis, edit: Edit | None) -> float | None:
    """Return how loose a scenario is on one axis; None where it cannot be compared."""
    sheet, column, sign = axis
    if sheet != "Policy":
        neutral = {"x": "x1", "+": "+0", "-": "-0"}.get(sign)
        text = neutral if edit is None else edit.value
        if text is None:
            return None
        number = float(text[1:] if sign else text or "nan")
        number = -number if sign == "-" else number
        return None if math.isnan(number) else _LOOSE[sheet, column] * number
    return _setting_rank(column, getattr(fleet.policy, column) if edit is None else edit.value)


def _setting_rank(column: str, value: Any) -> float | None:
    if column == "release_floor":
        return _floor_rank(str(value))
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if column in _WORDS:
        return float(_WORDS[column].index(value)) if value in _WORDS[column] else None
    if value in (None, ""):
        # A blank of these is no limit at all; a blank of the others is their default, which edits do not use.
        default = SETTINGS[column].default
        value = math.inf if column in _LIMITS else default
    return None if value is None else _LOOSE["Policy", column] * float(value)


def _floor_rank(text: str) -> float | None:
    """Return a number that falls as the floor rises; inf without a floor. Suffixes are not ranked here."""
    if not text:
        return math.inf
    release = parse_release(text)
    if len(release.suffixes) > 1 or len(release.numbers) > 3 or any(n >= 10_000 for n in release.numbers):
        return None
    numbers = (*release.numbers, 0, 0, 0)[:3]
    return -float(numbers[0] * 10**8 + numbers[1] * 10**4 + numbers[2])


def same_weight(tight: Point, loose: Point) -> bool:
    """Say whether both points have figures, leave the same weight unserved and nobody without a standby they want.

    They also keep the same weight served, where the policy keeps any.
    """
    a, b = tight.figures, loose.figures
    if a is None or b is None or a.objective != b.objective or a.uncovered or b.uncovered:
        return False
    pairs = ((a.unserved_weight, b.unserved_weight), (a.kept_weight, b.kept_weight))
    return all(math.isclose(*pair, rel_tol=_CLOSE, abs_tol=_CLOSE) for pair in pairs)


def settled(scenario: Scenario, at: dict[str, Place], known: Iterable[Point]) -> Point | None:
    """Return the point of a scenario that lies between two known ones which leave nothing open; else None."""
    here = at[scenario.name]
    tight, loose = [], []
    for point in known:
        there = at[point.scenario.name]
        if point.figures is None or there.fixed != here.fixed:
            continue
        if here.looser_than(there):
            tight.append(point)
        if there.looser_than(here) and point.figures.weight_proven:
            loose.append(point)
    for a in tight:
        for b in loose:
            if same_weight(a, b) and a.figures and b.figures and a.figures.value <= b.figures.bound + _CLOSE:
                names = tuple(dict.fromkeys((a.scenario.name, b.scenario.name)))
                figures = replace(
                    a.figures,
                    proof="between",
                    words=f"Its limits and hosts are between those of {' and '.join(names)}.",
                )
                return Point(scenario, figures, origin="bounds", rests_on=names)
    return None


def with_shared_bounds(points: Sequence[Point], at: dict[str, Place]) -> list[Point]:
    """Return the points with the bounds of looser ones and the plans of tighter ones where these are better."""
    return [_sharpened(point, points, at) if point.gap > 0 else point for point in points]


def _sharpened(point: Point, points: Sequence[Point], at: dict[str, Place]) -> Point:
    here, figures, rests = at[point.scenario.name], point.figures, list(point.rests_on)
    assert figures is not None  # a point with a gap has figures
    for other in points:
        if other is point or other.figures is None or not same_weight(point, other):
            continue
        there = at[other.scenario.name]
        if there.looser_than(here) and other.figures.bound > figures.bound:
            figures = replace(figures, bound=min(other.figures.bound, figures.value))
            rests.append(other.scenario.name)
        if here.looser_than(there) and other.figures.value < figures.value:
            bound = figures.bound
            figures = replace(other.figures, bound=min(bound, other.figures.value))
            rests.append(other.scenario.name)
    return replace(point, figures=figures, rests_on=tuple(dict.fromkeys(rests)))


def next_wave(pending: Sequence[Scenario], done: Iterable[str], at: dict[str, Place]) -> list[Scenario]:
    """Return the scenarios to plan next: the ends of every chain first, then the middles of what is open.

    A chain is a set of scenarios that differ on one axis only. Waves depend on results alone, not on timing, so that
    every way of running a sweep plans the same scenarios.
    """
    finished = set(done)
    wave: list[str] = []
    for chain in _chains([s.name for s in pending], finished, at):
        known = [i for i, name in enumerate(chain) if name in finished]
        if not known:
            picks = {0, len(chain) - 1}
        else:
            edges = [-1, *known, len(chain)]
            picks = set[int]()
            for a, b in itertools.pairwise(edges):
                if b - a > 1:
                    picks.add(0 if a == -1 else len(chain) - 1 if b == len(chain) else (a + b) // 2)
        wave.extend(chain[i] for i in sorted(picks))
    chosen = set(wave)
    return [scenario for scenario in pending if scenario.name in chosen]


def _chains(pending: Sequence[str], done: set[str], at: dict[str, Place]) -> list[list[str]]:
    """Return the chains that pending scenarios are on, tightest first, along the axis with most values."""
    groups: dict[tuple[Any, ...], list[str]] = {}
    for name in (*pending, *sorted(done)):
        groups.setdefault(at[name].fixed, []).append(name)
    chains: list[list[str]] = []
    for names in groups.values():
        width = len(at[names[0]].full_ranks)
        if not width:
            chains.extend([name] for name in names)
            continue
        spread = [len({at[name].full_ranks[k] for name in names}) for k in range(width)]
        axis = spread.index(max(spread))
        along: dict[tuple[Any, ...], list[str]] = {}
        for name in names:
            ranks = at[name].full_ranks
            along.setdefault((*ranks[:axis], *ranks[axis + 1 :], at[name].cover), []).append(name)
        chains.extend(sorted(chain, key=lambda name: at[name].full_ranks[axis]) for chain in along.values())
    waiting = set(pending)
    return [chain for chain in chains if waiting.intersection(chain)]
