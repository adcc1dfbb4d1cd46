"""Makes the pictures of the README from plans of sample fleets; needs LibreOffice, poppler-utils and chromium.

Run as ``python -m sample_fleets.make_pictures``.
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

import click
import openpyxl
from PIL import Image
from playwright.sync_api import sync_playwright

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


def picture_of_report(page: Path, picture: Path) -> None:
    """Draw the top of the report, from the map on, to PNG."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": 1180, "height": 700})
        tab.goto(page.as_uri())
        tab.wait_for_selector("body[data-ready]")
        tab.locator("#map").evaluate("heading => heading.scrollIntoView()")
        tab.screenshot(path=picture)
        browser.close()
    Image.open(picture).quantize(128).save(picture, optimize=True)  # a third of the size


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
        page = Path(folder) / "plan.html"
        national = planner.read_fleet(HERE / "national_1200.xlsx")
        planner.write_report(national, planner.plan(national), page)
        picture_of_report(page, pictures / "report.png")


if __name__ == "__main__":
    main()
