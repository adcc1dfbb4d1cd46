"""A log-log chart of seconds against sites, a line for each engine and a panel for each generated set."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.engines import ENGINES
from tests.benchmarks.runs import Row
from tests.benchmarks.sets import SETS

_WIDTH, _HEIGHT, _ACROSS = 4.2, 3.6, 3  # inches of a panel; panels side by side


def draw(rows: Sequence[Row], path: Path) -> bool:
    """Write the chart to ``path``, a PNG; False when matplotlib or anything to draw is missing.

    Solves that ended without a proof are hollow: their time says only that the limit came first.
    """
    rows = [row for row in rows if row.seconds is not None and SETS[row.set].generated]
    sizes = {name: {row.sites for row in rows if row.set == name} for name in dict.fromkeys(row.set for row in rows)}
    sets = [name for name, of_set in sizes.items() if len(of_set) > 1]
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure
        from matplotlib.ticker import EngFormatter, LogLocator
    except ImportError:
        return False
    if not sets:
        return False
    colours = dict(zip(ENGINES, mpl.color_sequences["tab10"], strict=False))
    across = min(len(sets), _ACROSS)
    down = -(-len(sets) // across)
    figure = Figure(figsize=(_WIDTH * across, _HEIGHT * down), layout="constrained")
    drawn = {}
    for axes, of_set in zip(figure.subplots(down, across, sharey=True, squeeze=False).flat, sets, strict=False):
        for engine in ENGINES:
            mine = sorted(
                (row.sites, row.seconds, row.proven) for row in rows if (row.set, row.engine) == (of_set, engine)
            )
            if not mine:
                continue
            line = axes.plot([s for s, _, _ in mine], [t for _, t, _ in mine], color=colours[engine], linewidth=1.2)
            for proven, fill in ((True, colours[engine]), (False, "white")):
                at = [(sites, seconds) for sites, seconds, was in mine if was is proven]
                axes.plot([x for x, _ in at], [y for _, y in at], "o", color=colours[engine], mfc=fill)
            drawn[engine] = line[0]
        axes.set(xscale="log", yscale="log", title=of_set, xlabel="sites")
        axes.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
        axes.xaxis.set_major_formatter(EngFormatter(sep=""))  # 10k: ten thousand in full runs into its neighbour
        axes.minorticks_off()
        axes.grid(which="major", linewidth=0.4)
    for unused in figure.axes[len(sets) :]:
        unused.set_axis_off()
    figure.supylabel("seconds (hollow: not proven)")
    figure.legend(drawn.values(), drawn.keys(), loc="outside lower center", ncols=len(drawn), frameon=False)
    figure.savefig(path, dpi=100)
    return True
