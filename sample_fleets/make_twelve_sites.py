"""Write twelve_sites.xlsx: twelve garden centres, three hubs, solved by hand in README.md."""

from __future__ import annotations

from pathlib import Path

import click

from sample_fleets.sheets import Rows, write_workbook

SITES: Rows = (
    (
        *("site", "name", "region", "latitude", "longitude", "clusters", "release", "latency_budget_ms", "zone"),
        *("pinned_hub", "own_tie_breaker", "note"),
    ),
    ("M01", "Pippinford", "West", 53.92, -2.14, 1, "4.1", None, None, None, "no", None),
    ("M02", "Thistleby", "West", 53.81, -2.31, 1, "4.1", None, None, None, "no", None),
    ("M03", "Sorrelham", "West", 53.87, -2.02, 1, "4.1", None, "alder-park", None, "no", "same yard as ALDER"),
    ("M04", "Quincebourne", "West", 53.70, -2.20, 2, "4.1", None, None, None, "no", "shop and nursery: 2 clusters"),
    ("M05", "Marlowick", "West", 53.66, -1.88, 1, "4.0", None, None, None, "no", "opened in spring"),
    ("M06", "Tansystead", "Middle", 53.48, -1.46, 1, "4.1", None, None, "BIRCH", "no", "circuit to BIRCH is paid for"),
    ("M07", "Medlarcross", "Middle", 53.45, -1.21, 1, "4.1", None, None, None, "no", None),
    ("M08", "Hazelleigh", "Middle", 53.31, -1.08, 1, "4.1", None, None, None, "no", None),
    ("M09", "Fennelthwaite", "Middle", 53.26, -1.33, 1, "4.0", None, None, None, "no", None),
    ("M10", "Boragemere", "East", 53.02, -0.61, 1, "4.2", None, None, None, "no", "pilot of release 4.2"),
    ("M11", "Yarrowholt", "East", 52.94, -0.48, 1, "4.1", 12, None, None, "no", "tills time out early"),
    ("M12", "Burdockcombe", "East", 52.71, -0.22, 1, "4.1", None, None, None, "yes", "satellite link only"),
)

HUBS: Rows = (
    (
        *("hub", "name", "region", "latitude", "longitude", "zone", "max_hosts", "existing_hosts", "host_release"),
        "host_cost",
    ),
    ("ALDER", "Alder Park offices", "West", 53.87, -2.01, "alder-park", 2, 1, "4.1", 900),
    ("BIRCH", "Birch Lane depot", "Middle", 53.38, -1.25, "birch-lane", 2, 1, "4.1", 900),
    ("CEDAR", "Cedar Road depot", "East", 52.97, -0.55, "cedar-road", 2, 1, "4.2", 900),
)

LATENCY: Rows = (
    ("site", "ALDER", "BIRCH", "CEDAR"),
    ("M01", 6, 24, 38),
    ("M02", 8, 22, 35),
    ("M03", 2, 14, 31),
    ("M04", 9, 26, 33),
    ("M05", 12, 20.4, 36),
    ("M06", 15, 9, 17),
    ("M07", 18, 7, 19),
    ("M08", 23, 8, 16),
    ("M09", 21, 11, 20),
    ("M10", 28, 12, 10),
    ("M11", 33, 18, 6),
    ("M12", 610, 605, 602),
)

CURRENT: Rows = (
    ("site", "hub", "host"),
    ("M01", "ALDER", "ALDER-01"),
    ("M02", "ALDER", "ALDER-01"),
    ("M03", "ALDER", "ALDER-01"),
    ("M06", "BIRCH", "BIRCH-01"),
    ("M07", "BIRCH", "BIRCH-01"),
    ("M08", "BIRCH", "BIRCH-01"),
    ("M09", "BIRCH", "BIRCH-01"),
    ("M10", "CEDAR", "CEDAR-01"),
    ("M11", "CEDAR", "CEDAR-01"),
)

POLICY: Rows = (
    ("setting", "value"),
    ("cluster_cap", 4),
    ("latency_budget_ms", 20),
    ("release_floor", "4.0"),
    ("currency", "GBP"),
    ("timezone", "Europe/London"),
    ("window", "Sun 20:00-23:30"),
)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path(__file__).with_name("twelve_sites.xlsx"),
    show_default="beside this script",
    help="Workbook to write.",
)
def main(output: Path) -> None:
    """Write the fleet of twelve garden centres.

    Example: python -m sample_fleets.make_twelve_sites --output twelve_sites.xlsx
    """
    write_workbook(output, {"Sites": SITES, "Hubs": HUBS, "Latency": LATENCY, "Current": CURRENT, "Policy": POLICY})
    click.echo(f"wrote {output}", err=True)


if __name__ == "__main__":
    main()
