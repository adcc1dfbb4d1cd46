"""`castingvote desk`: the same road on a page of one's own machine, with sliders."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import given_mapping, given_pings, reading
from planner.cli.streams import say


@click.command()
@click.argument("fleet", required=False, type=click.Path(path_type=Path))
@reading
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="PORT", help="Port; 0 takes any free one.")
@click.option("--no-browser", is_flag=True, help="Print the address, and open no browser.")
@click.option("--host", default="127.0.0.1", show_default=True, metavar="ADDRESS", help="Address to listen on.")
@click.option("--share", is_flag=True, help="Allow an address that others can reach; read the warning.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Keep workspaces here, not in your own folder for settings.",
)
def desk(fleet: Path | None, port: int, no_browser: bool, host: str, share: bool, folder: Path | None) -> int:
    """Open the desk: a page in your browser that leads from FLEET, or a file dropped on it, to the plan.

    On the page you choose columns, mend findings and change limits, and see the new proven host count. It asks no
    network for anything, and files are copied, never changed. Ctrl-C ends it; workspaces are kept and offered
    again for 30 days.

    \b
    Example:
        castingvote desk fleet.xlsx
    """
    from planner.desk.serving import Brought, is_loopback, serve

    if not is_loopback(host) and not share:
        raise click.UsageError(
            f"{host} can be reached by others. Leave --host out, or add --share if that is what you want."
        )
    _check_mapping(given_mapping())
    brought = None if fleet is None else Brought(_there(fleet), given_mapping(), given_pings())
    try:
        serve(
            folder or Path(click.get_app_dir("castingvote")) / "desk",
            brought,
            host=host,
            port=port,
            share=share,
            browser=not no_browser,
            say=say,
        )
    except OSError as error:
        raise click.UsageError(
            f"The desk cannot open: {error.strerror or error}. Try another --port or --folder."
        ) from error
    say("The desk is closed. Open it again to go on.")
    return 0


def _there(fleet: Path) -> Path:
    if not fleet.exists():
        raise click.UsageError(f"There is no file or folder {fleet}. Check the path.")
    return fleet


def _check_mapping(mapping: Path | None) -> None:
    """Refuse a mapping file that cannot be read, or says what is not understood, before anything is opened."""
    if mapping is None:
        return
    from planner.errors import InputError
    from planner.intake.findings import Findings
    from planner.intake.mapping import read_mapping

    findings = Findings()
    read_mapping(mapping, findings)
    if findings.any_error:
        raise InputError(findings.result())
