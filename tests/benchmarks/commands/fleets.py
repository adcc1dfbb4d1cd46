"""Fleet workbooks of the sizes that people have, written once for both sides."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pandas as pd

from planner.fleet import Fleet
from sample_fleets.random_fleet import generate
from sample_fleets.sheets import matrix_of, rows_of, write_workbook
from tests.benchmarks import generated

Tables = dict[str, pd.DataFrame]


def towns(sites: int, hubs: int, seed: int, *, tightness: float = 0.5, mixed: bool = False) -> Tables:
    """Return the tables of `sample_fleets.random_fleet`: today's hosts, zones, releases, regions, pins."""
    kept = 0.3 if mixed else 0.0
    return generate(sites, hubs, seed, tightness=tightness, kept_together=kept, mixed_caps=mixed, unservable=0)


def plain(sites: int, hubs: int, *budgets_ms: float) -> Tables:
    """Return the tables of `generated.plain`: budgets uniform between the two, and no other rule."""
    fleet: Fleet = generated.plain(f"{sites}x{hubs}", budgets_ms=(budgets_ms[0], budgets_ms[1]))
    return {
        "Sites": fleet.sites[["site", "latency_budget_ms"]],
        "Hubs": fleet.pools[["hub", "cluster_cap", "max_hosts"]],
        "Latency": fleet.latency[["site", "hub", "rtt_ms"]],
    }


FLEETS: dict[str, Callable[[], Tables]] = {
    "1000x40 towns": partial(towns, 1000, 40, 1),
    "1000x40 mixed": partial(towns, 1000, 40, 2, mixed=True),
    "1000x40 near": partial(towns, 1000, 40, 3, tightness=0.9),
    "1000x40 tight": partial(plain, 1000, 40, 12.0, 30.0),
    "1000x40 uniform": partial(plain, 1000, 40, 12.0, 60.0),
    "2000x60 tight": partial(plain, 2000, 60, 12.0, 30.0),
    "5000x60 towns": partial(towns, 5000, 60, 1),
    "5000x100 towns": partial(towns, 5000, 100, 1),
    "5000x100 uniform": partial(plain, 5000, 100, 12.0, 60.0),
    "20000x200 tight": partial(plain, 20000, 200, 12.0, 30.0),
}


def write_fleet(name: str, path: Path) -> None:
    """Write the fleet of that name as a workbook with its latencies as a matrix."""
    tables = FLEETS[name]()
    latency = tables["Latency"]
    ids = {column: latency[column].astype("category") for column in ("site", "hub")}
    rows = {sheet: rows_of(table) for sheet, table in tables.items() if sheet != "Latency"}
    write_workbook(path, {**rows, "Latency": matrix_of(latency.assign(**ids))})
