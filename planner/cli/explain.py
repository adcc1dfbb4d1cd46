"""`castingvote explain`: why the plan is as it is, and the smallest changes that would help."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, is_stdout, say


@click.command()
@FLEET
@click.option("--site", metavar="ID", help="Explain this site only: every pool, and what keeps the site out of it.")
@json_file("EXPLAIN", "the explanation")
@QUIET
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="Finish within this time and tell what was found by then.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0, max=2**31 - 1),
    metavar="NUMBER",
    default=0,
    show_default=True,
    help="Same fleet and seed, same explanation, unless time ends it.",
)
def explain(
    fleet: Path,
    site: str | None,
    json_path: Path | None,
    quiet: bool,
    time_limit: float,
    seed: int,
) -> int:
    """Say why FLEET needs its number of hosts, who is unserved and why, and which small changes would help.

    Every change is tried by planning the changed fleet. Ctrl-C tells what was found so far. Ends with
    0 also when sites are unserved.

    \b
    Example:
        castingvote explain fleet.xlsx
        castingvote explain fleet.xlsx --site 0042
    """
    from planner.cli.explanation import print_explanation, print_site
    from planner.explain import explain as make_explanation
    from planner.outputs import headline
    from planner.outputs.noun_json import noun_to_json

    check_outputs(fleet, json_path)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet"):
        inventory = read_inventory(fleet)
    words = "Planning (Ctrl-C keeps what was found so far)"
    with stages.stage("explain", words) as show:
        found = make_explanation(
            inventory,
            site=site,
            time_limit=stages.left(time_limit),
            seed=seed,
            tell=lambda doing: show(f"{words}: {doing}"),
        )
    said = {"headline": headline(found.plan)}
    told = [field.name for field in dataclasses.fields(found) if field.name != "plan"]
    with put_in_place():
        hand_over(lambda: noun_to_json(said | {name: getattr(found, name) for name in told}), json_path)
    if quiet or is_stdout(json_path):
        return 0
    if found.site is not None:
        print_site(found.site)
    else:
        print_explanation(found)
    for path in files_among(json_path):
        say(f"Written: {path}")
    return 0
