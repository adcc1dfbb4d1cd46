"""Write county_chain.xlsx: the county chain as people and programs leave such workbooks, untidy yet readable.

Nothing here changes a value of `county_fleet`: a reader that understands the workbook gets the same tables.
"""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import click
import numpy as np
import pandas as pd

from sample_fleets.county_fleet import county_tables
from sample_fleets.sheets import Rows, Shown, matrix_of, rows_of, write_workbook

_NBSP = "\u00a0"
_HEADERS = {
    "Sites": {
        "site": "Store ID",
        "name": "site name",
        "region": "REGION",
        "latitude": "Lat",
        "longitude": "Lng",
        "clusters": "Cluster Count",
        "release": "Software-Version",
        "latency_budget_ms": "RTT budget (ms)",
        "weight": "Importance",
        "zone": "Failure Zones",
        "pinned_hub": "pinned",
        "barred_hubs": "Excluded Hubs",
        "own_tie_breaker": "Own Tie-Breaker",
        "own_tie_breaker_cost": "Own tie-breaker cost",
        "nodes": "Nodes",
        "node_locations": "Node locations",
        "node_link": "Node Link",
        "node_link_gbps": "node-link Gbps",
        "uplink_mbps": "WAN Mbps",
        "tie_breaker_net": "Tie-breaker network",
        "storage_net": "Storage network",
        "management_net": "Mgmt Net",
        "manager": "Manager",
        "floor_area": "Floor area m²",
    },
    "Hubs": {
        "hub": "Hub ID",
        "pool": "Host pool",
        "zone": "failure zone",
        "cluster_cap": "Cap",
        "max_hosts": "Max Hosts",
    },
    "Latency": {"site": "STORE"},
    "Samples": {"site": "store id", "hub": "Data Centre", "at": "Timestamp", "rtt_ms": "RTT ms"},
    "Links": {"latency_ms": "delay ms", "km": "Route km"},
    "Current": {"site": "Branch", "hub": "Hub", "host": "Host Name"},
    "Policy": {"setting": "Name", "value": "Value"},
}
_TITLES = {
    "Sites": "Stores",
    "Hubs": "Host pools",
    "Latency": "Latency matrix",
    "Samples": "Probes",
    "Links": "WAN links",
    "Current": "Current assignments",
    "Policy": "Settings",
}
_VERSIONS = {"8.4": ("8.4", "v8.4", "8.4 build 1207", "8.4.0"), "8.6": ("8.6", f"8.6{_NBSP}GA", "V8.6")}
_YES_NO = {"yes": ("Yes", "YES"), "no": ("no", "No", None), "possible": ("possible",)}
_CLOSED_STORE = ("0998", "ELM", "ELM-01")
_NOTES: Rows = (
    ("Notes",),
    ("Stores opened since the last survey are not on the latency matrix: see Probes and WAN links.",),
    ("Probes come from the monitoring export.",),
    ("Hollin Park has two rooms; the old one goes when its hosts do.",),
)


def untidy_sheets(seed: int = 22) -> dict[str, Rows]:
    """Return the sheets of the workbook: `county_tables` of the same seed, written untidily."""
    tables = county_tables(seed)
    rng = np.random.Generator(np.random.PCG64(seed + 1))
    sheets = {name: rows_of(table) for name, table in tables.items() if name != "Latency"}
    sheets["Latency"] = matrix_of(tables["Latency"])
    sheets["Sites"] = _sites(rng, tables["Sites"].drop(columns=["role", "preparation"]))
    for row in _some_rows(rng, sheets["Latency"], 40):
        _write_oddly(rng, row, int(rng.integers(1, len(row))))
    for row in sheets["Samples"][1:]:
        row[0] = int(row[0])  # the monitoring export lost the zeros
    sheets["Current"].append(list(_CLOSED_STORE))
    for name, rows in sheets.items():
        rows[0] = [_HEADERS[name].get(header, header) for header in rows[0]]
    return {_TITLES[name]: sheets[name] for name in tables} | {"Notes": _NOTES}


def _sites(rng: np.random.Generator, table: pd.DataFrame) -> list[list[Any]]:
    """Return the rows of Sites: written oddly here and there, a blank row between two regions, a total at the end."""
    header, *rows = rows_of(table.sort_values(["region", "site"]))
    at = {name: position for position, name in enumerate(header)}
    choices = {"release": _VERSIONS, "own_tie_breaker": _YES_NO}
    for row in rows:
        for name, ways in choices.items():
            row[at[name]] = rng.choice(np.array(ways.get(row[at[name]], (row[at[name]],)), dtype=object))
        for name in ("tie_breaker_net", "storage_net", "management_net"):
            if str(row[at[name]]).isdecimal():
                row[at[name]] = int(row[at[name]])  # what is typed as 30 is a number
    as_number = next(row for row in rows if row[at["release"]] == "8.10")
    as_number[at["release"]] = Shown(8.1, "0.00")
    for row in _some_rows(rng, rows, 12):
        _write_oddly(rng, row, at["latency_budget_ms"])
    for row in _some_rows(rng, rows, 5):
        row[at["site"]] = f"{row[at['site']]}{_NBSP}"
    for row in _some_rows(rng, rows, 6):
        row[at["clusters"]] = str(row[at["clusters"]])
    for row in _some_rows(rng, rows, 8):
        row[at["region"]] = str(row[at["region"]]).lower()
    total = [None] * len(header)
    total[at["site"]], total[at["clusters"]] = "Total", int(table["clusters"].sum())
    blank = [None] * len(header)
    groups = [list(group) for _, group in itertools.groupby(rows, key=lambda row: str(row[at["region"]]).casefold())]
    return [header, *(row for group in groups for row in (*group, blank)), total]


def _some_rows(rng: np.random.Generator, rows: list[list[Any]], count: int) -> list[list[Any]]:
    """Return ``count`` different rows below the header."""
    return [rows[1 + position] for position in rng.permutation(len(rows) - 1)[:count].tolist()]


def _write_oddly(rng: np.random.Generator, row: list[Any], column: int) -> None:
    """Turn a number into text: as it is, with a decimal comma, or behind a non-breaking space."""
    value = row[column]
    if value is not None:
        ways = (str(value), str(float(value)).replace(".", ","), f"{_NBSP}{value}")
        row[column] = ways[int(rng.integers(len(ways)))]


@click.command(context_settings={"help_option_names": ["-h", "--help"], "show_default": True})
@click.option("--seed", type=click.IntRange(0), default=22, help="The same seed gives the same fleet.")
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path(__file__).with_name("county_chain.xlsx"),
    show_default="county_chain.xlsx beside this script",
    help="Workbook to write.",
)
def main(seed: int, output: Path) -> None:
    """Write the county chain of 180 garden centres as an untidy workbook.

    Example: python -m sample_fleets.make_county_chain --output county_chain.xlsx
    """
    write_workbook(output, untidy_sheets(seed))
    click.echo(f"wrote {output}", err=True)


if __name__ == "__main__":
    main()
