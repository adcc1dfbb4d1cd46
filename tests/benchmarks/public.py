"""Public instances with published optima, where they are at hand: facility location with single sourcing, bin packing.

A facility is a pool of one host: capacity its cap, opening cost its price. A customer is a site whose demand, in
clusters, stays together; the cost of serving it is the pair cost. A bin packing problem is one hub; items are sites.
Layout, sources and traps of the files are in the README beside them.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from planner import columns
from planner.fleet import Fleet, Ints, Policy, typed_table
from sample_fleets.straight_model import packed

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "benchmarks"
_FACILITY = FOLDER / "sscflp"
_PACKING = FOLDER / "binpack"
_ANY_RTT_MS = 1.0  # these problems know no latency


class Published(NamedTuple):
    """A published value; ``exact`` when it is the optimum of this very problem, else it is a lower bound."""

    value: float
    exact: bool


def facility_names(folder: str) -> list[str]:
    """Return the instances of a folder in their natural order, ``"holmberg/p2"`` before ``"holmberg/p10"``."""
    names = [f"{folder}/{path.name.split('.')[0]}" for path in (_FACILITY / folder).glob("*.txt*")]
    return sorted(names, key=lambda name: [int(number) for number in re.findall(r"\d+", name)])


def facility_fleet(name: str) -> Fleet:
    """Return the instance as a fleet with objective ``cost``."""
    path = next((_FACILITY / name).parent.glob(f"{Path(name).name}.txt*"))
    with gzip.open(path, "rt") if path.suffix == ".gz" else path.open() as file:
        numbers = np.array(file.read().split(), dtype=np.float64)
    facilities, customers = numbers[:2].astype(int)
    capacity, opening, demand, cost = np.split(numbers[2:], np.cumsum([facilities, facilities, customers]))
    sites = [f"C{number:04d}" for number in range(1, customers + 1)]
    pools = [f"F{number:04d}" for number in range(1, facilities + 1)]
    at = np.indices((customers, facilities)).reshape(2, -1)
    return Fleet(
        sites=typed_table(columns.SITES, {"site": sites, "clusters": demand}),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": pools,
                "pool": pools,
                "cluster_cap": capacity,
                "max_hosts": np.ones(facilities),
                "host_cost": opening,
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {
                "site": pd.Categorical.from_codes(at[0], sites),
                "hub": pd.Categorical.from_codes(at[1], pools),
                "rtt_ms": np.full(at.shape[1], _ANY_RTT_MS),
                "pair_cost": cost,
            },
        ),
        policy=Policy(objective="cost", latency_budget_ms=_ANY_RTT_MS),
    )


def facility_published(name: str) -> Published | None:
    """Return the published value; a split optimum (or one listed as single that is split) is a lower bound."""
    row = _optima().get(name)
    if row is None or np.isnan(row["published"]):
        return None
    # The list takes two split optima of TBED1 for single-source ones: the bounds proved since then lie above them.
    return Published(row["published"], row["kind"] == "single" and not row["lower"] > row["published"] + 0.011)


@cache
def _optima() -> dict[str, dict[str, float | str]]:
    table = pd.read_csv(_FACILITY / "optima.csv")
    table.index = pd.Index([name.split(".")[0] for name in table["instance"]])
    return table.to_dict("index")


def packing_names() -> list[str]:
    """Return the names of the packing problems."""
    return list(_packings())


def packing_fleet(name: str) -> Fleet:
    """Return a packing problem as a fleet with one hub and as many hosts as first fit decreasing needs."""
    capacity, sizes = _packings()[name]
    sites = [f"I{number:04d}" for number in range(1, len(sizes) + 1)]
    return Fleet(
        sites=typed_table(columns.SITES, {"site": sites, "clusters": sizes}),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": ["BINS"],
                "pool": ["BINS"],
                "cluster_cap": [capacity],
                "max_hosts": [packed(sizes.tolist(), capacity)],
            },
        ),
        latency=typed_table(
            columns.LATENCY, {"site": sites, "hub": ["BINS"] * len(sites), "rtt_ms": np.full(len(sites), _ANY_RTT_MS)}
        ),
        policy=Policy(latency_budget_ms=_ANY_RTT_MS),
    )


def packing_published(name: str) -> Published | None:
    """Return the published number of bins, optimal in all of them."""
    table = pd.read_csv(_PACKING / "best_known.csv", index_col="instance")
    return Published(float(table.loc[name, "best_known"]), exact=True)


@cache
def _packings() -> dict[str, tuple[int, Ints]]:
    return {name: (capacity, sizes) for path in sorted(_PACKING.glob("*.txt")) for name, capacity, sizes in _read(path)}


def _read(path: Path) -> Iterator[tuple[str, int, Ints]]:
    tokens = iter(path.read_text().split())
    for _ in range(int(next(tokens))):
        name, capacity, items, _best = (next(tokens) for _ in range(4))
        yield name, int(capacity), np.array([int(next(tokens)) for _ in range(int(items))], dtype=np.int64)
