"""A sweep as curves: one axis of numbers along the bottom, and a curve for everything else that was varied.

Without such an axis there is nothing to join, and every scenario is a bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from planner.scenarios.sweep_results import Point, Sweep


@dataclass(frozen=True, slots=True)
class Curve:
    """Points in order of ``x``; ``name`` tells the curve from the others."""

    name: str
    x: tuple[float, ...]
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Curves:
    """``axis`` is what runs along the bottom; it is blank where points are bars, one curve with x 0, 1, …

    ``label`` says the same for people, with what the numbers are relative to.
    """

    axis: str
    curves: tuple[Curve, ...]
    label: str = ""


def curves_of(sweep: Sweep) -> Curves:
    """Return the curves of the points that have figures."""
    known = [point for point in sweep.points if point.figures is not None]
    axis = _numeric_axis(known)
    if axis is None:
        return Curves("", (Curve("", tuple(float(i) for i in range(len(known))), tuple(known)),))
    groups: dict[str, list[tuple[float, Point]]] = {}
    for point in known:
        axes = dict(point.scenario.axes)
        if axis not in axes:
            continue
        varied = [f"{name}={value}" for name, value in axes.items() if name != axis]
        base = point.scenario.name.split(f"{next(iter(axes))}=")[0].strip()
        groups.setdefault(" ".join(part for part in (base, *varied) if part), []).append((_number(axes[axis]), point))
    curves = []
    for name, pairs in groups.items():
        pairs.sort(key=lambda pair: pair[0])
        curves.append(Curve(name or "hosts", tuple(x for x, _ in pairs), tuple(point for _, point in pairs)))
    sign = next(value[:1] for point in known for name, value in point.scenario.axes if name == axis)
    added = ", added to today's value"
    relative = {"x": ", as a multiple of today's value", "+": added, "-": added}.get(sign, "")
    return Curves(axis, tuple(curves), f"{axis}{relative}")


def _numeric_axis(points: Sequence[Point]) -> str | None:
    """Return the axis of numbers with most values; the first of equals, None without any."""
    values: dict[str, set[str]] = {}
    for point in points:
        for name, value in point.scenario.axes:
            values.setdefault(name, set()).add(value)
    usable = [name for name, texts in values.items() if len(texts) > 1 and _all_numbers(texts)]
    return max(usable, key=lambda name: len(values[name]), default=None)


def _all_numbers(texts: set[str]) -> bool:
    if len({text[:1] if text[:1] in "x+-" else "" for text in texts}) > 1:
        return False
    try:
        for text in texts:
            _number(text)
    except ValueError:
        return False
    return True


def _number(text: str) -> float:
    """Return the number of a value; a relative one without its sign, except that what is taken away is negative."""
    return float(text.lstrip("x+"))
