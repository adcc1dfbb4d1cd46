"""`castingvote demo`: the whole road on a small invented fleet."""

from __future__ import annotations

import shutil
import tempfile
from importlib.resources import as_file, files
from pathlib import Path

import click

from planner.cli.options import QUIET
from planner.cli.output_options import keep_beside, put_in_place
from planner.cli.streams import say

_SAMPLE = "twelve_sites.xlsx"


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default=".")
@click.option(
    "--force", is_flag=True, help="Replace files of an earlier demo; a copy of what people changed is kept beside them."
)
@QUIET
def demo(folder: Path, force: bool, quiet: bool) -> int:
    """Write a small invented fleet and its plan to FOLDER, to look at.

    FOLDER is made if it does not exist; without it, the current folder is used.

    \b
    Example:
        castingvote demo
    """
    from planner.cli.report import print_summary
    from planner.intake import read_fleet
    from planner.outputs import write_workbook
    from planner.outputs.atomic import replacing
    from planner.outputs.typed import typed_into
    from planner.readiness import audit
    from planner.resilience import drill
    from planner.sizing import plan as make_plan

    fleet_path, plan_path = folder / "demo_fleet.xlsx", folder / "demo_plan.xlsx"
    if not force and (taken := [str(path) for path in (fleet_path, plan_path) if path.exists()]):
        raise click.UsageError(f"{' and '.join(taken)} exists; name another folder or add --force.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise click.UsageError(f"{folder} cannot be created: {error.strerror}.") from error
    # Inside the installed package, or beside it in a working copy.
    packed = files("planner") / "samples" / _SAMPLE
    with (
        as_file(packed if packed.is_file() else files("planner") / ".." / "sample_fleets" / _SAMPLE) as sample,
        tempfile.TemporaryDirectory() as aside,
    ):
        # Read under the name that it will have, since the plan says from which file it was made.
        own = Path(shutil.copyfile(sample, Path(aside) / fleet_path.name))
        changed = fleet_path.is_file() and fleet_path.read_bytes() != own.read_bytes()
        keep_beside([path for path, kept in ((fleet_path, changed), (plan_path, typed_into(plan_path))) if kept])
        inventory = read_fleet(own)
        result = make_plan(inventory)
        with put_in_place():
            with replacing(fleet_path) as copy:
                shutil.copyfile(own, copy)
            write_workbook(inventory, result, plan_path, readiness=audit(inventory), drills=drill(inventory, result))
    if not quiet:
        print_summary(inventory, result, [fleet_path, plan_path], err=False)
        say(f"Next: castingvote verify {fleet_path} {plan_path}")
    return 1 if result.unserved else 0
