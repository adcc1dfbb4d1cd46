"""Ways to run the command line, and the small fleets that its tests need."""

import csv
import os
import pty
import random
import re
import select
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace

import pytest

import planner
from planner.cli import main

ROOT = Path(__file__).parents[2]
PATIENCE_S = 120  # far above what anything here takes, so that a busy machine fails no test


def environment(**changes):
    """The environment of a child: this working copy's planner, and nothing of the tester's terminal settings."""
    dropped = {
        "FORCE_COLOR",
        "TTY_COMPATIBLE",
        "NO_COLOR",
        "COLUMNS",
        "LINES",
        "CASTINGVOTE_TRACEBACK",
        "CASTINGVOTE_CONFIG",
    }
    kept = {name: value for name, value in os.environ.items() if name not in dropped}
    return {**kept, "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", **changes}


def command(arguments):
    return [sys.executable, "-m", "planner", *map(str, arguments)]


@pytest.fixture
def run(tmp_path):
    """Run the command line as a child process in tmp_path, without a terminal."""

    def run_it(*arguments, **options):
        options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "env": environment(), **options}
        return subprocess.run(
            command(arguments), text=True, encoding="utf-8", cwd=tmp_path, timeout=PATIENCE_S, check=False, **options
        )

    return run_it


@pytest.fixture
def call(tmp_path, monkeypatch, capfd):
    """Run `main` in this process, in tmp_path; what the C level prints is captured as well."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CASTINGVOTE_TRACEBACK", raising=False)

    def call_it(*arguments):
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        printed = capfd.readouterr()
        return SimpleNamespace(code=ended.value.code, out=printed.out, err=printed.err)

    return call_it


class Terminal:
    """A child process whose standard error, or all its output, is a terminal; `seen` is what it showed."""

    def __init__(self, arguments, folder, *, all_output=False, **env):
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            command(arguments),
            stdout=slave if all_output else subprocess.DEVNULL,
            stderr=slave,
            cwd=folder,
            env=environment(**env),
        )
        os.close(slave)
        self.seen = ""

    def read(self, until=None):
        """Read until some words are seen or the process has closed its end."""
        give_up = time.monotonic() + PATIENCE_S
        while until is None or until not in self.seen:
            ready, _, _ = select.select([self._master], [], [], give_up - time.monotonic())
            assert ready, f"nothing more than this was shown in time: {self.seen}"
            try:
                data = os.read(self._master, 65536)
            except OSError:  # how Linux says that nobody holds the other end any more
                data = b""
            if not data:
                assert until is None, f"{until!r} was never shown: {self.seen}"
                return
            self.seen += data.decode(errors="replace")

    def interrupt(self, signal):
        self.process.send_signal(signal)

    def end(self):
        """Read the rest and return the exit code."""
        self.read()
        return self.process.wait(timeout=PATIENCE_S)

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        with suppress(OSError):
            os.close(self._master)


@pytest.fixture
def terminal(tmp_path):
    """Start the command line at a terminal, in tmp_path."""
    started = []

    def start(*arguments, **options):
        started.append(Terminal(arguments, tmp_path, **options))
        return started[-1]

    yield start
    for one in started:
        one.close()


@pytest.fixture(scope="session")
def bare():
    """Return text without what steers a terminal: colours, cursor moves, links."""
    return lambda text: re.sub(r"\x1b(\[[0-9;?]*[a-zA-Z]|\][^\x07]*\x07)", "", text)


def write_fleet(folder, sheets):
    """Write a folder of .csv files."""
    folder.mkdir(parents=True, exist_ok=True)
    for title, rows in sheets.items():
        with (folder / f"{title}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
    return folder


def small(**sheets):
    """Rows of two sites and one hub that serves both; sheets given by name take the place of these."""
    return {
        "Sites": [["site", "release"], ["0001", "8.2"], ["0002", "8.2"]],
        "Hubs": [["hub", "max_hosts", "host_release"], ["ESK", 2, "8.2"]],
        "Latency": [["site", "ESK"], ["0001", 12], ["0002", 14]],
        "Policy": [["setting", "value"], ["latency_budget_ms", 20]],
        **sheets,
    }


@pytest.fixture
def fleets(tmp_path):
    """Fleets as folders of .csv files in tmp_path/fleet: `write(**sheets)` for a small one, or one of a kind."""
    folder = tmp_path / "fleet"
    one_too_far = [["site", "ESK"], ["0001", 12], ["0002", 61.2]]
    wrong_cells = [["setting", "value"], ["latency_budget_ms", "soon"], ["cluster_cap", 0]]
    return SimpleNamespace(
        folder=folder,
        write=lambda **sheets: write_fleet(folder, small(**sheets)),
        sound=lambda: write_fleet(folder, small()),
        unserved=lambda: write_fleet(folder, small(Latency=one_too_far)),
        wrong=lambda: write_fleet(folder, small(Policy=wrong_cells)),
        slow_to_solve=lambda: write_fleet(folder, located(400, 60)),
        slow_to_cover=lambda: write_fleet(folder, covered(400, 20)),
        slow_to_read=lambda: write_fleet(folder, located(2500, 60)),
    )


def located(sites, hubs):
    """Rows of a capacitated location problem with random prices, which takes far longer to prove than to plan."""
    rng = random.Random(1)
    points = [complex(rng.random(), rng.random()) for _ in range(sites)]
    places = [complex(rng.random(), rng.random()) for _ in range(hubs)]
    pairs = [
        [f"S{i:04d}", f"H{j:03d}", round(1 + 10 * abs(point - place), 2), round(100 * abs(point - place), 1)]
        for i, point in enumerate(points)
        for j, place in enumerate(places)
    ]
    prices = [[f"H{j:03d}", 2, rng.randint(15, 30), rng.randint(300, 900)] for j in range(hubs)]
    return {
        "Sites": [["site"], *([f"S{i:04d}"] for i in range(sites))],
        "Hubs": [["hub", "max_hosts", "cluster_cap", "host_cost"], *prices],
        "Latency": [["site", "hub", "rtt_ms", "pair_cost"], *pairs],
        "Policy": [["setting", "value"], ["objective", "cost"], ["latency_budget_ms", 50]],
    }


def covered(sites, hubs):
    """The same without prices, and with a standby for every site: other budgets take a plan each."""
    rows = located(sites, hubs)
    places, pairs = ([row[:3] for row in rows[sheet]] for sheet in ("Hubs", "Latency"))
    asked = [["setting", "value"], ["latency_budget_ms", 30], ["cover", "host"]]
    return {"Sites": rows["Sites"], "Hubs": places, "Latency": pairs, "Policy": asked}


@pytest.fixture(scope="session")
def twelve_sites():
    """The sample fleet that README.md solves by hand: 4 hosts."""
    return ROOT / "sample_fleets" / "twelve_sites.xlsx"


@pytest.fixture(scope="session")
def twelve_planned(twelve_sites, tmp_path_factory):
    """A folder with the plan of that fleet, as workbook and JSON; to be copied, not changed."""
    place = tmp_path_factory.mktemp("twelve")
    with pytest.raises(SystemExit) as ended:
        main(["plan", str(twelve_sites), "-q", "-o", str(place / "plan.xlsx"), "--json", str(place / "plan.json")])
    assert ended.value.code == 0
    return place


@pytest.fixture(scope="module")
def small_planned(tmp_path_factory):
    """A folder with a small fleet and its plan, as workbook and JSON."""
    place = tmp_path_factory.mktemp("planned")
    write_fleet(place / "fleet", small())
    fleet = planner.read_fleet(place / "fleet")
    plan = planner.plan(fleet)
    planner.write_workbook(fleet, plan, place / "plan.xlsx")
    planner.write_json(plan, place / "plan.json")
    return place
