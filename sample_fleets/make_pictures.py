"""Makes the picture of the README from the plan of county_chain; needs LibreOffice and poppler-utils.

Run as ``python -m sample_fleets.make_pictures``.
"""

import subprocess
import tempfile
from pathlib import Path

import click
import openpyxl

import planner

HERE = Path(__file__).parent


def picture_of(sheet: str, workbook: Path, picture: Path) -> None:
    """Print one sheet of a workbook to PDF and the top of its first page to PNG."""
    book = openpyxl.load_workbook(workbook)
    for name in book.sheetnames:
        if name != sheet:
            book[name].sheet_state = "hidden"
    book.active = book.sheetnames.index(sheet)
    with tempfile.TemporaryDirectory() as folder:
        alone = Path(folder) / "alone.xlsx"
        book.save(alone)
        profile = f"-env:UserInstallation=file://{folder}/profile"
        subprocess.run(
            ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", folder, alone],
            check=True,
            capture_output=True,
        )
        size = ["-singlefile", "-r", "110", "-x", "20", "-y", "20", "-W", "1250", "-H", "330"]
        target = picture.with_suffix("")
        subprocess.run(["pdftoppm", "-png", *size, Path(folder) / "alone.pdf", target], check=True)


@click.command()
def main() -> None:
    """Write the pictures to the folder pictures beside this script."""
    fleet = planner.read_fleet(HERE / "county_chain.xlsx")
    pictures = HERE / "pictures"
    pictures.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        workbook = Path(folder) / "plan.xlsx"
        planner.write_workbook(fleet, planner.plan(fleet), workbook)
        picture_of("Hosts", workbook, pictures / "plan_hosts.png")


if __name__ == "__main__":
    main()
