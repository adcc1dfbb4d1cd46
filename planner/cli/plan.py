"""`castingvote plan`: the main job, from fleet workbook to plan workbook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.from_today import FromToday, from_today
from planner.cli.numbering import AFTER, of_known_number
from planner.cli.options import FLEET, PROGRESS, QUIET, command_line, read_inventory, solving
from planner.cli.output_options import check_outputs, json_file, page_name, put_in_place, workbook
from planner.cli.progress import Stages, in_words
from planner.cli.streams import files_among, hand_over, hand_over_pieces, is_stdout, say

if TYPE_CHECKING:
    from planner.certificate import Certified
    from planner.explain import BudgetPoint
    from planner.fleet import Fleet
    from planner.plan import Plan
    from planner.readiness import Readiness
    from planner.sizing import Point


@click.command()
@FLEET
@workbook("PLAN", "Write the plan workbook here.")
@json_file("PLAN", "the plan")
@click.option(
    "--measure-first",
    type=click.FloatRange(min=0.0),
    default=5.0,
    show_default=True,
    metavar="SECONDS",
    help="Time to search for unmeasured pairs of site and hub that could change the host count. 0: no search.",
)
@click.option(
    "--report",
    "report_path",
    type=click.Path(path_type=Path),
    callback=page_name,
    metavar="PLAN.html",
    help="Write the report (map, drill, charts) here; its chart of budgets takes up to 20 s more.",
)
@click.option(
    "--certificate",
    "certificate_path",
    type=click.Path(path_type=Path),
    metavar="PLAN.vipr",
    help="Write the proof as a certificate (VIPR 1.0) that other programs check; takes up to a minute more.",
)
@click.option(
    "--compare-cover", is_flag=True, help="Also plan with cover none, host, hub and zone, and show what each needs."
)
@AFTER
@from_today
@PROGRESS
@solving
@QUIET
def plan(
    fleet: Path,
    output: Path | None,
    json_path: Path | None,
    measure_first: float,
    report_path: Path | None,
    certificate_path: Path | None,
    compare_cover: bool,
    after: Path | None,
    start: FromToday,
    time_limit: float | None,
    seed: int,
    thorough: bool,
    quiet: bool,
) -> int:
    """Find the fewest tie-breaker hosts for FLEET, with a proof, and who uses which.

    FLEET is a workbook (.xlsx, .xlsm, .ods) or a folder of .csv files named after the sheets. With a
    sheet Current the plan moves the fewest sites that its hosts allow; a move is a site that changes
    host. Ends with 1 when some site cannot be served; the rest is planned all the same. Ctrl-C keeps
    the best plan so far.

    \b
    Example:
        castingvote plan fleet.xlsx -o plan.xlsx --json plan.json
        castingvote plan fleet.xlsx --progress returned.xlsx --drain ESK-01 --trade-off
    """
    from planner.identity import numbered
    from planner.intake import REPAIRS
    from planner.outputs import plan_to_json
    from planner.readiness import audit

    if is_stdout(json_path) and is_stdout(certificate_path):
        raise click.UsageError("Only one of --json and --certificate can go to standard output.")
    check_outputs(fleet, output, json_path, report_path, certificate_path)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet"):
        inventory, before = of_known_number(start.emptied(read_inventory(fleet)), after, output, json_path)
    # Before the solving, so that Ctrl-C after it loses nothing.
    with stages.stage("audit", "Auditing readiness"):
        readiness = audit(inventory)
    words = f"Solving for {len(inventory.site_ids):,} sites (Ctrl-C keeps the best so far)"
    with stages.stage("solve", words) as show:
        result = start.make(
            inventory,
            time_limit=stages.left(time_limit),
            seed=seed,
            thorough=thorough,
            watch=lambda progress: show(f"{words}: {in_words(progress)}"),
        )
    points = _weighed(stages, inventory, result, time_limit, seed) if start.trade_off else ()
    if compare_cover:
        result = _with_cover_prices(stages, inventory, result, stages.left(time_limit), seed)
    if measure_first > 0:
        result = _with_pairs_to_measure(stages, inventory, result, _within(measure_first, stages, time_limit), seed)
    result = numbered(result, *before).replace(seconds={"read": stages.seconds["read"], **result.seconds, "write": 0.0})
    certified = None if certificate_path is None else _certified(stages, inventory, result, stages.left(time_limit))
    curve = () if report_path is None else _curve(stages, inventory, result, stages.left(time_limit))
    with put_in_place():
        if output is not None:
            _write_workbook(stages, inventory, result, readiness, output)
            result = result.replace(seconds={**result.seconds, "write": stages.seconds["write"]})
        hand_over(lambda: plan_to_json(result, readiness), json_path)
        if report_path is not None:
            _write_page(stages, inventory, result, curve, report_path)
        if certified is not None and certificate_path is not None:
            with stages.stage("certificate", "Writing the certificate"):
                hand_over_pieces(certified.text(), certificate_path)
    if not quiet:
        from planner.cli.report import print_findings, print_summary, print_trade_off
        from planner.intake.found import repairs_in_words

        print_findings([one for one in inventory.findings if one.code not in REPAIRS], least="warning")
        print_findings([one for one in result.findings if one not in inventory.findings])
        if repairs := repairs_in_words(inventory.findings):
            say(repairs, err=True)
        to_stdout = is_stdout(json_path) or is_stdout(certificate_path)
        files = files_among(output, json_path, report_path, certificate_path if certified else None)
        print_summary(inventory, result, files, err=to_stdout, readiness=readiness)
        if certified is not None:
            say(certified.words(), err=to_stdout)
        if points:
            print_trade_off(inventory, result, points, err=to_stdout)
        if output is not None:
            say(f"Next: {command_line('verify', fleet, output)}", err=to_stdout)
    return 1 if result.unserved or (certificate_path and certified is None) else 0


def _within(seconds: float, stages: Stages, limit: float | None) -> float:
    """Return ``seconds``, or what is left of the command's time ``limit`` where that is less."""
    left = stages.left(limit)
    return seconds if left is None else min(seconds, left)


def _weighed(stages: Stages, fleet: Fleet, made: Plan, limit: float | None, seed: int) -> tuple[Point, ...]:
    """Return how many moves each further host saves."""
    from planner.sizing import trade_off

    with stages.stage("trade_off", "Counting how many moves further hosts save") as show:
        return trade_off(fleet, made, time_limit=stages.left(limit), seed=seed, tell=show)


def _certified(stages: Stages, fleet: Fleet, made: Plan, time_limit: float | None) -> Certified | None:
    """Return the certificate of a plan; None, after the reason was printed, where none can be made."""
    from planner.cli.certify import certify_or_say_why

    return certify_or_say_why(stages, fleet, made, time_limit)


def _curve(stages: Stages, fleet: Fleet, made: Plan, time_limit: float | None) -> tuple[BudgetPoint, ...]:
    """Return hosts against latency budgets, for the report."""
    from planner.cli.write_report import CURVE_SECONDS, curve_of

    limit = CURVE_SECONDS if time_limit is None else min(time_limit, CURVE_SECONDS)
    return curve_of(stages, fleet, made, limit)


def _write_workbook(stages: Stages, fleet: Fleet, made: Plan, readiness: Readiness, path: Path) -> None:
    """Write the workbook with all that it shows."""
    from planner.outputs import write_workbook
    from planner.resilience import availability, drill

    with stages.stage("write", "Writing the workbook"):
        drills, uptime = drill(fleet, made), availability(fleet, made)
        write_workbook(fleet, made, path, readiness=readiness, drills=drills, availability=uptime)


def _write_page(stages: Stages, fleet: Fleet, made: Plan, curve: tuple[BudgetPoint, ...], path: Path) -> None:
    """Write the report."""
    from planner.outputs import write_report

    with stages.stage("report", "Writing the report"):
        write_report(fleet, made, path, curve=curve)


def _with_cover_prices(stages: Stages, fleet: Fleet, made: Plan, time_limit: float | None, seed: int) -> Plan:
    """Return the plan with what each kind of cover takes."""
    from planner.explain import cover_prices

    with stages.stage("cover", "Comparing cover") as show:
        prices = cover_prices(
            fleet,
            made,
            tell=lambda cover: show(f"Planning for cover {cover}"),
            time_limit=time_limit,
            seed=seed,
        )
    return made.replace(cover_prices=prices)


def _with_pairs_to_measure(stages: Stages, fleet: Fleet, made: Plan, seconds: float, seed: int) -> Plan:
    """Return the plan with the unmeasured pairs that decide it."""
    from planner.explain import pairs_to_measure

    with stages.stage("measure", "Looking for pairs to measure first"):
        pairs = pairs_to_measure(fleet, made, time_limit=seconds, seed=seed)
    return made.replace(measure_first=pairs)
