"""`castingvote export`: a plan for maps, spreadsheets and tickets."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET, fleet_and_plan
from planner.cli.output_options import check_outputs, put_in_place
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, hand_over_pieces, is_stdout, say


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--geojson",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write sites, hubs and the lines between them as GeoJSON; - is standard output.",
)
@click.option(
    "--csv",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write every table of the plan as .csv into this folder; it is made if it does not exist.",
)
@click.option(
    "--markdown",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a summary to paste into a ticket; - is standard output.",
)
@click.option(
    "--certificate",
    type=click.Path(path_type=Path),
    metavar="FILE.vipr",
    help="Write the proof as a certificate (VIPR 1.0) that other programs check; - is standard output.",
)
@click.option(
    "--evidence",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write fleet, plan, proof, certificate, checks and approvals with hashes into a new folder, for an auditor.",
)
@click.option(
    "--approval",
    type=click.Path(path_type=Path),
    metavar="PLAN.xlsx",
    help="With --evidence: read the approvals from this workbook. Default: PLAN, where it is a workbook.",
)
@click.option(
    "--results",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="COPY.xlsx",
    help="With --evidence: a workbook that came back, with what was done; the plan workbook comes first. Repeatable.",
)
@QUIET
def export(
    fleet: Path,
    plan: Path,
    geojson: Path | None,
    folder: Path | None,
    markdown: Path | None,
    certificate: Path | None,
    evidence: Path | None,
    approval: Path | None,
    results: tuple[Path, ...],
    quiet: bool,
) -> int:
    """Write PLAN (a plan workbook or plan.json) of FLEET for other programs.

    Texts in .csv files that a spreadsheet program would take for a formula begin with an apostrophe. A
    certificate takes up to a minute; it says how much it proves, which may be less than the plan claims.
    With --evidence ends with 1 when the plan does not hold, or approvals or results are of another plan.

    \b
    Example:
        castingvote export fleet.xlsx plan.json --geojson plan.geojson --csv tables --markdown plan.md
        castingvote export fleet.xlsx plan.xlsx --evidence audit-2027
    """
    from planner.cli.certify import certify
    from planner.outputs import plan_to_geojson, plan_to_markdown, write_csv

    files = (geojson, markdown, certificate)
    if folder is None and evidence is None and not any(files):
        raise click.UsageError("Nothing to write: name --geojson, --csv, --markdown, --certificate or --evidence.")
    if evidence is None and (approval or results):
        raise click.UsageError("--approval and --results go with --evidence.")
    printed = [path for path in files if is_stdout(path)]
    if len(printed) > 1:
        raise click.UsageError("Only one of --geojson, --markdown and --certificate can go to standard output.")
    _keep_inputs(fleet, plan, [path for path in files if path], folder)
    check_outputs(fleet, *files)
    inventory, made = fleet_and_plan(fleet, plan)
    certified = None if certificate is None else certify(Stages(quiet=quiet), inventory, made, None)
    with put_in_place():
        written = [] if folder is None else write_csv(inventory, made, folder)
        for path, render in ((geojson, plan_to_geojson), (markdown, plan_to_markdown)):
            hand_over(partial(render, inventory, made), path)
        if certified is not None and certificate is not None:
            hand_over_pieces(certified.text(), certificate)
        more, holds = list[Path](), True
        if evidence is not None:
            from planner.cli.evidence import Folder, hand_to_auditor

            asked = Folder(fleet, plan, approval, results, evidence)
            more, holds = hand_to_auditor(asked, inventory, made, Stages(quiet=quiet))
    written += [*files_among(*files), *more]
    if not quiet:
        if certified is not None:
            say(certified.words(), err=bool(printed))
        for path in written:
            say(f"Written: {path}", err=bool(printed))
    if not holds:
        say("The plan does not hold, or approvals or results are of another plan: see checks/verify.txt.", err=True)
    return 0 if holds else 1


def _keep_inputs(fleet: Path, plan: Path, files: Sequence[Path], folder: Path | None) -> None:
    """Refuse outputs that would replace the plan, or mix with the .csv files of a fleet."""
    for path in files:
        if path.resolve() == plan.resolve():
            raise click.UsageError(f"{path} is the plan itself; name another file.")
    if folder is not None and folder.resolve() == fleet.resolve():
        raise click.UsageError(f"{folder} is the folder of the fleet; name another one.")
