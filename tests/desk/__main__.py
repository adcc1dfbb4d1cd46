"""Measure the desk in a real browser: ``python -m tests.desk 1000x40 fleet.xlsx``. Prints a line for each figure.

``ready``: from the command to the address; ``first page``: from the address to the page, in a browser that runs;
``fleet``: from the command to its first proven count on the page. ``move``: from a slider's move to the count. ``row``:
60 moves in 10 s, then how long after the last one its count is there. ``input``: from a slider's move to the next
picture, while the plan is searched, which is how long the page takes to answer a hand.
"""

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from sample_fleets.make_fleet import workbook_rows
from sample_fleets.random_fleet import generate
from sample_fleets.sheets import write_workbook
from tests.desk.conftest import Served

MOVE = """async ([label, value]) => {
    const range = document.getElementById(`k-${label}`.replace(/\\W+/g, "-"));
    const began = performance.now();
    range.value = value;
    range.dispatchEvent(new Event("input", { bubbles: true }));
    const drawn = await new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()))));
    const { asked } = document.body.dataset;
    while (!document.body.dataset.counted?.startsWith(`${asked} `)) await new Promise((done) => setTimeout(done, 2));
    return [performance.now() - began, drawn - began];
}"""
ROW = """async ([label, values, pause]) => {
    const range = document.getElementById(`k-${label}`.replace(/\\W+/g, "-"));
    for (const value of values) {
        range.value = value;
        range.dispatchEvent(new Event("input", { bubbles: true }));
        await new Promise((done) => setTimeout(done, pause));
    }
    const last = performance.now();
    const { asked } = document.body.dataset;
    while (!document.body.dataset.counted?.startsWith(`${asked} `)) await new Promise((done) => setTimeout(done, 2));
    return performance.now() - last;
}"""
COUNTED = "() => document.body.dataset.counted?.startsWith(`${document.body.dataset.asked} `)"
KNOBS = {
    "Cluster cap of a host": range(40, 70),
    "Reserve kept free (%)": range(30),
    "Budgets of all sites (%)": range(60, 200, 5),
}


def fleet_file(folder, size):
    if size.endswith(".xlsx"):
        return Path(size)
    sites, hubs = map(int, size.split("x"))
    path = folder / f"{size}.xlsx"
    write_workbook(path, workbook_rows(generate(sites, hubs, 2)))
    return path


def measure(folder, size, chromium):
    path, began = fleet_file(folder, size), time.perf_counter()
    began = time.perf_counter()
    desk = Served(folder / f"kept-{path.stem}", path)
    size = path.stem
    tell(size, "ready", time.perf_counter() - began)
    page = chromium.new_page()
    page.set_default_timeout(600_000)
    opened = time.perf_counter()
    page.goto(desk.address)
    tell(size, "first page", time.perf_counter() - opened)
    page.wait_for_function(COUNTED)
    tell(size, "fleet", time.perf_counter() - began)
    for label, values in KNOBS.items():
        took, until = [], time.perf_counter() + 20
        for value in values:
            if time.perf_counter() < until:
                took.append(page.evaluate(MOVE, [label, str(value)]))
        counts, inputs = ([one[k] / 1000 for one in took] for k in (0, 1))
        tell(size, f"move of {label}", statistics.median(counts), f"largest {max(counts):.3f}")
        tell(size, f"input of {label}", statistics.median(inputs), f"largest {max(inputs):.3f}")
    values = [str(40 + number % 30) for number in range(60)]
    tell(size, "row", page.evaluate(ROW, ["Cluster cap of a host", values, 166]) / 1000)
    page.close()
    desk.end()


def tell(size, what, seconds, more=""):
    print(f"{size:>10}  {what:36} {seconds:8.3f} s  {more}", flush=True)


def main():
    folder = Path(tempfile.mkdtemp())
    try:
        with sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            for size in sys.argv[1:] or ["1000x40"]:
                measure(folder, size, chromium)
            chromium.close()
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
