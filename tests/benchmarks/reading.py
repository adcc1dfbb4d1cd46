"""Reads a latency matrix of 5,000 x 100, and the same cells with python-calamine alone: the target is twice.

Run by hand: python -m tests.benchmarks.reading
"""

import random
import tempfile
import time
from pathlib import Path

import openpyxl
import python_calamine

from planner.intake import read_fleet

ROUNDS = 5


def large_fleet(folder):
    rng, book = random.Random(1), openpyxl.Workbook(write_only=True)
    hubs, sites = [f"H{j:03d}" for j in range(100)], [f"S{i:05d}" for i in range(5000)]
    for title, rows in (
        ("Sites", [["site", "release", "latency_budget_ms"], *([site, "8.2", 40] for site in sites)]),
        ("Hubs", [["hub", "max_hosts", "host_release"], *([hub, 4, "8.2"] for hub in hubs)]),
        ("Latency", [["site", *hubs], *([site, *(round(rng.uniform(1, 80), 2) for _ in hubs)] for site in sites)]),
    ):
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    path = folder / "fleet.xlsx"
    book.save(path)
    return path


def seconds(read):
    start = time.process_time()
    read()
    return time.process_time() - start


def bare(path):
    workbook = python_calamine.load_workbook(str(path))
    for name in workbook.sheet_names:
        workbook.get_sheet_by_name(name).to_python()


def main() -> None:
    """Each is measured in turn and the quickest counts: another program's work only ever adds time."""
    with tempfile.TemporaryDirectory() as folder:
        path = large_fleet(Path(folder))
        times = [(seconds(lambda: bare(path)), seconds(lambda: read_fleet(path))) for _ in range(ROUNDS)]
    bare_s, ours_s = (min(column) for column in zip(*times, strict=True))
    print(f"bare {bare_s:.3f} s, castingvote {ours_s:.3f} s, ratio {ours_s / bare_s:.2f}")


if __name__ == "__main__":
    main()
