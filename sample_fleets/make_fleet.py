"""Write a random fleet of any size as a workbook; national_1200.xlsx is the one that the defaults give."""

from __future__ import annotations

from pathlib import Path

import click
import pandas as pd

from planner.errors import InputError
from sample_fleets.random_fleet import generate
from sample_fleets.sheets import Rows, matrix_of, rows_of, write_workbook

__all__ = ["generate", "workbook_rows"]

_SHARE = click.FloatRange(0, 1)


def workbook_rows(tables: dict[str, pd.DataFrame]) -> dict[str, Rows]:
    """Return what `generate` gave as rows of sheets, latencies as a matrix: a third of the cells of a list of pairs."""
    return {name: matrix_of(table) if name == "Latency" else rows_of(table) for name, table in tables.items()}


@click.command(context_settings={"help_option_names": ["-h", "--help"], "show_default": True})
@click.option("--sites", type=click.IntRange(1), default=1200, help="Sites.")
@click.option("--hubs", type=click.IntRange(1), default=24, help="Hubs, one pool each.")
@click.option("--seed", type=click.IntRange(0), default=2, help="The same seed gives the same fleet.")
@click.option("--tightness", type=_SHARE, default=0.5, help="0: most sites reach many hubs; 1: most reach one or two.")
@click.option("--kept-together", type=_SHARE, default=0.08, help="Share of sites with 2 to 4 clusters.")
@click.option("--regional", type=_SHARE, default=0.15, help="Share of hubs that serve one or two regions only.")
@click.option("--mixed-caps/--one-cap", default=True, help="Pools of different or of one cluster cap.")
@click.option("--cluster-cap", type=click.IntRange(8), default=64, help="Usual cluster cap of a host.")
@click.option("--current", type=_SHARE, default=0.9, help="Share of sites that have a host today, if there is room.")
@click.option(
    "--nearest-hubs",
    type=click.IntRange(1),
    show_default="all, or 40 in fleets of more than 60 hubs",
    help="Hubs that each site has measured.",
)
@click.option("--unservable", type=click.IntRange(0), default=3, help="Sites that break a rule everywhere.")
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path(__file__).with_name("national_1200.xlsx"),
    show_default="national_1200.xlsx beside this script",
    help="Workbook to write.",
)
def main(
    sites: int,
    hubs: int,
    seed: int,
    tightness: float,
    kept_together: float,
    regional: float,
    mixed_caps: bool,
    cluster_cap: int,
    current: float,
    nearest_hubs: int | None,
    unservable: int,
    output: Path,
) -> None:
    """Write a random fleet as a workbook.

    Example: python -m sample_fleets.make_fleet --sites 5000 --hubs 100 --seed 7 --output big.xlsx
    """
    try:
        tables = generate(
            sites,
            hubs,
            seed,
            tightness=tightness,
            kept_together=kept_together,
            regional=regional,
            mixed_caps=mixed_caps,
            cluster_cap=cluster_cap,
            current=current,
            nearest_hubs=nearest_hubs,
            unservable=unservable,
        )
        write_workbook(output, workbook_rows(tables))
    except (ValueError, InputError) as error:
        raise click.UsageError(str(error)) from error
    click.echo(f"wrote {output}: {sites} sites, {hubs} hubs, {len(tables['Latency'])} measured pairs", err=True)


if __name__ == "__main__":
    main()
