"""The plots of the nouns, drawn by matplotlib (the extra ``charts``) from their tables; each returns its Axes.

``ax`` is the Axes to draw on; a new figure is made where there is none. What is not met is drawn in vermilion, a colour
that people with colour-blindness tell from the others (M. Okabe and K. Ito, Color Universal Design, 2002).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import pandas as pd

from planner.errors import InputError
from planner.policy import Finding

_BAD, _PLAIN, _PALE = "#D55E00", "#0072B2", "#999999"
_HUBS = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#F0E442")
_MOST_NAMED = 40  # bars that can be named legibly


def axes(ax: Any = None, size: tuple[float, float] = (8, 4.5)) -> Any:
    """Return ``ax``, or the Axes of a new figure; InputError where matplotlib is not installed."""
    if ax is not None:
        return ax
    try:
        from matplotlib import pyplot
    except ImportError:
        hint = 'Install it: pip install "castingvote[charts]".'
        raise InputError((Finding("error", "matplotlib_missing", "", "matplotlib is not installed.", hint),)) from None
    return pyplot.subplots(figsize=size, layout="constrained")[1]


def draw_map(sites: pd.DataFrame, hubs: pd.DataFrame, assignments: pd.DataFrame, ax: Any = None) -> Any:
    """Draw sites in the colour of their hub with a line to it, hubs as squares by hosts, unserved sites as crosses.

    ``sites`` (site, latitude, longitude, unserved), ``hubs`` (hub, latitude, longitude, hosts), ``assignments`` (site,
    hub). Places without coordinates are left out, and their number is said in the title.
    """
    ax = axes(ax, (7, 7))
    placed, stand = sites.dropna(subset=["latitude", "longitude"]), hubs.dropna(subset=["latitude", "longitude"])
    at_hub, at_site = stand.set_index("hub"), placed.set_index("site")
    for number, (hub, rows) in enumerate(assignments.groupby("hub")):
        here = at_site.loc[at_site.index.intersection(pd.Index(rows["site"]))]
        colour = _HUBS[number % len(_HUBS)]
        if hub in at_hub.index:
            end = at_hub.loc[[str(hub)]]
            ends = [_broken_line(here[name], end[name].iloc[0]) for name in ("longitude", "latitude")]
            ax.plot(*ends, color=colour, linewidth=0.5, alpha=0.5)
        ax.scatter(here["longitude"], here["latitude"], s=14, color=colour, zorder=2)
    rest = placed[~placed["site"].isin(assignments["site"]) & ~placed["unserved"]]
    if len(rest):
        ax.scatter(rest["longitude"], rest["latitude"], s=14, color=_PALE, label="needs no shared host", zorder=2)
    left_out = placed[placed["unserved"]]
    if len(left_out):
        ax.scatter(left_out["longitude"], left_out["latitude"], marker="x", color=_BAD, label="unserved", zorder=3)
    if len(rest) + len(left_out):
        ax.legend()
    ax.scatter(stand["longitude"], stand["latitude"], marker="s", s=30 + 12 * stand["hosts"], color="black", zorder=4)
    for row in stand.itertuples():
        ax.annotate(
            f"{row.hub} ({row.hosts})", (row.longitude, row.latitude), xytext=(6, 6), textcoords="offset points"
        )
    if len(placed):
        ax.set_aspect(1 / max(0.1, math.cos(math.radians(float(placed["latitude"].mean())))))
    missing = len(sites) - len(placed)
    ax.set_title("Sites and their hubs" + (f" ({missing:,} sites without coordinates)" if missing else ""))
    ax.set_xlabel("longitude")
    ax.set_ylabel("latitude")
    return ax


def _broken_line(starts: pd.Series[float], end: float) -> list[float]:
    """Return one line from each start to ``end``, with gaps between, which draws faster than many."""
    return [value for start in starts for value in (start, end, math.nan)]


def draw_bars(
    names: Iterable[str], values: pd.Series[Any], limits: pd.Series[Any] | None = None, ax: Any = None
) -> Any:
    """Draw a bar for each of ``values``, those above their limit in vermilion, with a mark at each limit."""
    ax = axes(ax)
    over = [False] * len(values) if limits is None else list(values.to_numpy() > limits.to_numpy())
    ax.bar(range(len(values)), values, color=[_BAD if bad else _PLAIN for bad in over])
    if limits is not None:
        ax.scatter(range(len(values)), limits, marker="_", s=120, color="black", zorder=2)
    if len(values) <= _MOST_NAMED:
        ax.set_xticks(range(len(values)), list(names), rotation=60, ha="right")
    ax.grid(axis="y", alpha=0.3)
    return ax


def draw_stack(table: pd.DataFrame, ax: Any = None) -> Any:
    """Draw a bar for each row of ``table``, made of its columns, which are named in the legend."""
    ax = axes(ax)
    floor = [0.0] * len(table)
    for number, name in enumerate(table.columns):
        ax.bar(range(len(table)), table[name], bottom=floor, label=str(name), color=_HUBS[number % len(_HUBS)])
        floor = [below + float(value) for below, value in zip(floor, table[name], strict=True)]
    ax.set_xticks(range(len(table)), [str(name) for name in table.index], rotation=60, ha="right")
    ax.grid(axis="y", alpha=0.3)
    if len(table.columns):
        ax.legend(fontsize="small")
    return ax


def draw_shares(shares: pd.Series[Any], ax: Any = None) -> Any:
    """Draw how many of ``shares`` of a limit (1 is the limit) lie in each twentieth of it."""
    ax = axes(ax)
    ax.hist(shares, bins=[step / 20 for step in range(21)], color=_PLAIN)
    ax.axvline(1.0, color=_BAD, linestyle="--")
    ax.grid(axis="y", alpha=0.3)
    return ax


def titled(ax: Any, title: str, across: str, up: str) -> Any:
    """Return ``ax`` with its words."""
    ax.set_title(title)
    ax.set_xlabel(across)
    ax.set_ylabel(up)
    return ax
