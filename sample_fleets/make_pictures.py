"""Makes the pictures of the README from plans of sample fleets; needs LibreOffice, poppler-utils and chromium.

Run as ``python -m sample_fleets.make_pictures``.
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

import click
from PIL import Image
from playwright.sync_api import sync_playwright

import planner

HERE = Path(__file__).parent


def picture_of(sheet: str, workbook: Path, picture: Path) -> None:
    """Print a workbook to PDF, and the top of the first page of one sheet to PNG; a footer begins with its sheet."""
    with tempfile.TemporaryDirectory() as folder:
        profile = f"-env:UserInstallation=file://{folder}/profile"
        subprocess.run(
            ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", folder, workbook],
            check=True,
            capture_output=True,
        )
        pdf = Path(folder) / workbook.with_suffix(".pdf").name
        text = subprocess.run(["pdftotext", "-layout", pdf, "-"], check=True, capture_output=True, text=True).stdout
        footers = [page.rstrip().splitlines()[-1].split() for page in text.split("\f") if page.strip()]
        number = str(1 + next(at for at, words in enumerate(footers) if words[:2] == [sheet, "page"]))
        size = ["-singlefile", "-r", "110", "-x", "20", "-y", "20", "-W", "1250", "-H", "330"]
        pages = ["-f", number, "-l", number]
        subprocess.run(["pdftoppm", "-png", *pages, *size, pdf, picture.with_suffix("")], check=True)


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
