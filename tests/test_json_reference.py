"""The page of JSON files names every key that the commands really write."""

import contextlib
import io
import json
import os
import re
from pathlib import Path

import pytest

from planner.cli import main
from tests.cli.conftest import small, write_fleet
from tests.reference import REFERENCE

TEXT = (REFERENCE / "json.md").read_text(encoding="utf-8")
SHARED = TEXT.partition("## plan.json")[0]
BY_NAME = {"policy", "pools", "axes"}  # objects whose keys are names of the input

UPTIME = [[f"{part}_availability_percent", 99.9] for part in ("node", "site_uplink", "host", "hub", "hub_uplink")]
FLEET = small(
    Sites=[
        ["site", "release", "nodes"],
        ["0001", "8.2", 2],
        ["0002", "8.2", ""],
        ["0003", "8.2", ""],
        ["0004", "", ""],
    ],
    Hubs=[["hub", "existing_hosts", "host_release"], ["ESK", 1, "8.2"], ["TAY", 0, "8.2"]],
    Latency=[["site", "ESK", "TAY"], ["0001", 12, 13], ["0002", 14, ""], ["0003", 61, ""], ["0004", 5, 5]],
    Current=[["site", "hub", "host"], ["0001", "ESK", "ESK-01"]],
    Policy=[
        ["setting", "value"],
        ["latency_budget_ms", 20],
        ["release_floor", "8.0"],
        ["management_floor", "9.0"],
        ["cover", "host"],
        ["rehoming_minutes", 30],
        ["cluster_cap", 2],
        *UPTIME,
    ],
    Prices=[["item", "buy", "yearly"], ["node", 900, 0], ["host", 900, 100], ["own_tie_breaker", 100, 10]],
)
CALLS = {
    "plan": "plan fleet --json plan.json --certificate plan.vipr --compare-cover -q",
    "rollout": "rollout fleet plan.json --json rollout.json --start 2027-03-01 -q",
    "check": "check fleet --json -",
    "verify": "verify fleet plan.json --proof --certificate plan.vipr --json -",
    "explain": "explain fleet --json -",
    "explain a site": "explain fleet --site 0003 --json -",
    "drill": "drill fleet plan.json --json -",
    "drill one": "drill fleet plan.json --lose ESK --json -",
    "availability": "availability fleet plan.json --json -",
    "sweep": "sweep fleet --vary cluster_cap=2 --rtt-spread 10 --draws 5 --jobs 1 --json sweep.json -q",
    "horizon": "horizon bare --periods 2 --json horizon.json -q",
    "designs": "designs bare --json designs.json -q",
    "adopt": "adopt fleet --json -",
}


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """What each call writes, as data."""
    folder, before = tmp_path_factory.mktemp("json"), Path.cwd()
    write_fleet(folder / "fleet", FLEET)
    write_fleet(folder / "bare", {**FLEET, "Policy": [row for row in FLEET["Policy"] if row[0] != "cover"]})
    os.chdir(folder)
    try:
        yield {name: _run(call.split()) for name, call in CALLS.items()}
    finally:
        os.chdir(before)


def _run(arguments):
    file = next((word for word in arguments if word.endswith(".json") and arguments[0] == word[:-5]), None)
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), pytest.raises(SystemExit):
        main(arguments)
    return json.loads(Path(file).read_text(encoding="utf-8") if file else shown.getvalue())


def keys(value):
    """Every key in a value, except names of the input."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            if key not in BY_NAME or isinstance(inner, list):
                yield from keys(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys(inner)


def told(name):
    """Every name between backquotes that the page tells of a file, or of one that it refers to."""
    own = TEXT.split(f"## {name}.json\n")[1].split("\n## ")[0]
    others = [TEXT.split(f"## {other}.json\n")[1].split("\n## ")[0] for other in re.findall(r"as in (\w+)\.json", own)]
    words = re.findall(r"`([\w.\[\]]+)`", " ".join([SHARED, own, *others]))
    return {part for word in words for part in re.split(r"\W+", word)}


@pytest.mark.parametrize("call", CALLS)
def test_every_key_is_in_the_reference(call, written):
    assert set(keys(written[call])) <= told(call.split()[0])
