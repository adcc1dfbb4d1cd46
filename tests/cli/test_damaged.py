"""Files with flipped bytes, cut short, or with values of another kind: exit code 0, 1 or 2, and never a traceback.

`CASTINGVOTE_FUZZ=300 pytest tests/cli/test_damaged.py` tries as many of each kind.
"""

import io
import json
import os
import random
import warnings
import zipfile

import pytest

from tests.intake.conftest import sound_rows, write_csv, write_ods, write_xlsx

NUMBER = int(os.environ.get("CASTINGVOTE_FUZZ", "3"))
SEED = int(os.environ.get("CASTINGVOTE_SEED", "5"))
MAPPING = (
    b'[Sites]\nsheet = "Sites"\nheader_row = 1\nignore = ["name"]\n\n[Sites.columns]\nsite = "site"\n\n[Sites.units]\n'
)
SCENARIOS = b"""[scenario.tight]
policy = { latency_budget_ms = 30 }
[scenario.spring]
grow = { sites = 2, clusters = 1, seeds = [1, 2] }
[scenario.north]
sites = { "region=North" = { clusters = "x2" } }
hubs = { ESK = { max_hosts = 6 } }
close_sites = ["0003"]
add_hubs = [{ hub = "NEW", max_hosts = 4, rtt_like = "ESK" }]
[combine]
both = ["tight", "spring"]
"""
STRANGE = (None, True, -1, 0, 10**30, 1e308, "", "x", "=1+1", "\x00", "9" * 400, [], {}, [[]], "NaN", "2027-99-99")


def flipped(content, rng):
    """Return ``content`` with some bytes changed, or cut short."""
    if rng.random() < 0.2:
        return content[: rng.randrange(len(content) + 1)]
    spoilt = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        spoilt[rng.randrange(len(spoilt))] = rng.randrange(256)
    return bytes(spoilt)


def within(content, rng):
    """Return an archive with one of its parts spoilt."""
    parts = zipfile.ZipFile(io.BytesIO(content))
    spoilt = rng.choice(parts.namelist())
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy:
        for name in parts.namelist():
            copy.writestr(name, flipped(parts.read(name), rng) if name == spoilt else parts.read(name))
    return target.getvalue()


def strange(content, rng):
    """Return JSON with one value of another kind, or without it, or with it twice."""
    data = json.loads(content)
    places = []

    def walk(node):
        for key in list(node) if isinstance(node, dict) else range(len(node)):
            places.append((node, key))
            if isinstance(node[key], dict | list):
                walk(node[key])

    walk(data)
    node, key = rng.choice(places)
    chosen = rng.randrange(4)
    if chosen == 0:
        del node[key]
    elif chosen == 1 and isinstance(node, list):
        node.append(node[key])
    else:
        node[key] = rng.choice(STRANGE)
    return json.dumps(data).encode()


@pytest.fixture
def survives(call, tmp_path):
    """Write a spoilt file, call each command, and hold the exit codes."""

    def call_it(path, content, *commands):
        path.write_bytes(content)
        for command in commands:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", UserWarning)
                done = call(*command)
            assert done.code in (0, 1, 2), (command, done.err, keep(path))
            assert "Traceback" not in done.err, (command, done.err)

    def keep(path):
        """Keep a file that failed, for a look at it."""
        folder = os.environ.get("CASTINGVOTE_FAILED")
        if folder:
            (tmp_path / path).rename(os.path.join(folder, f"{random.randrange(10**9)}{path.suffix}"))
        return path.name

    return call_it


@pytest.mark.parametrize("spoil", [flipped, within])
@pytest.mark.parametrize("kind", ["ods", "xlsx"])
def test_spoilt_workbooks(survives, tmp_path, kind, spoil):
    path = {"ods": write_ods, "xlsx": write_xlsx}[kind](tmp_path / f"fleet.{kind}", sound_rows())
    content, rng = path.read_bytes(), random.Random(SEED)
    for _ in range(NUMBER):
        survives(path, spoil(content, rng), ("check", path))


@pytest.mark.parametrize("kind", ["ods", "xlsx"])
def test_a_part_whose_name_is_no_text_is_told(call, tmp_path, kind):
    """The list of an archive's parts says that names are UTF-8 (bit 11 of its flags), and one is not."""
    path = {"ods": write_ods, "xlsx": write_xlsx}[kind](tmp_path / f"fleet.{kind}", sound_rows())
    content = bytearray(path.read_bytes())
    entry = content.rindex(b"PK\x01\x02")
    content[entry + 9] |= 0x08
    content[entry + 46 + 8] = 0xB2
    path.write_bytes(content)
    done = call("check", path)
    assert (done.code, done.out) == (2, "")
    assert "The file is damaged" in done.err
    assert "Traceback" not in done.err


def test_spoilt_folders(survives, tmp_path):
    folder = write_csv(tmp_path / "fleet", sound_rows())
    rng = random.Random(SEED)
    for _ in range(NUMBER):
        path = rng.choice(sorted(folder.iterdir()))
        content = path.read_bytes()
        survives(path, flipped(content, rng), ("plan", "-q", folder))
        path.write_bytes(content)


def test_spoilt_mappings_and_scenarios(survives, tmp_path):
    fleet = write_xlsx(tmp_path / "fleet.xlsx", sound_rows())
    rng = random.Random(SEED)
    for _ in range(NUMBER):
        survives(tmp_path / "m.toml", flipped(MAPPING, rng), ("check", fleet, "--mapping", "m.toml"))
        sweep = ("sweep", "-q", fleet, "--scenarios", "s.toml", "--jobs", 1)
        survives(tmp_path / "s.toml", flipped(SCENARIOS, rng), sweep)


@pytest.mark.parametrize("spoil", [flipped, strange])
def test_spoilt_plans(survives, tmp_path, twelve_sites, twelve_planned, spoil):
    content, rng = (twelve_planned / "plan.json").read_bytes(), random.Random(SEED)
    commands = (
        ("verify", twelve_sites, "plan.json", "--proof"),
        ("drill", "-q", twelve_sites, "plan.json", "-o", "drill.xlsx"),
        ("availability", "-q", twelve_sites, "plan.json", "--json", "-"),
        ("rollout", "-q", twelve_sites, "plan.json", "--json", "-", "--time-limit", 1),
        ("export", twelve_sites, "plan.json", "--markdown", "-"),
        ("export", twelve_sites, "plan.json", "--geojson", "-"),
        ("report", "-q", twelve_sites, "plan.json", "-o", "plan.html", "--curve-seconds", 0),
    )
    for _ in range(NUMBER):
        survives(tmp_path / "plan.json", spoil(content, rng), *rng.sample(commands, 2))


@pytest.mark.parametrize("spoil", [flipped, within])
def test_spoilt_plan_workbooks(survives, tmp_path, twelve_sites, twelve_planned, spoil):
    content, rng = (twelve_planned / "plan.xlsx").read_bytes(), random.Random(SEED)
    commands = (
        ("verify", twelve_sites, "plan.xlsx"),
        ("progress", twelve_sites, "plan.xlsx", "-o", "merged.xlsx", "--force"),
        ("plan", "-q", twelve_sites, "-o", "plan.xlsx"),
    )
    for _ in range(NUMBER):
        survives(tmp_path / "plan.xlsx", spoil(content, rng), *commands)


def test_deeply_nested_files_are_refused(call, tmp_path, twelve_sites):
    deep = "[" * 100_000 + "]" * 100_000
    (tmp_path / "s.toml").write_text(f"x = {deep}")
    (tmp_path / "plan.json").write_text(deep)
    for arguments in (
        ("sweep", twelve_sites, "--scenarios", "s.toml"),
        ("check", twelve_sites, "--mapping", "s.toml"),
        ("verify", twelve_sites, "plan.json"),
    ):
        done = call(*arguments)
        assert (done.code, done.out) == (2, ""), done.err


@pytest.mark.parametrize("grow", ["sites = 1000000000", "sites = 1, clusters = 10000000000"])
def test_growth_beyond_all_measure_is_refused_with_the_bound(call, tmp_path, twelve_sites, grow):
    (tmp_path / "s.toml").write_text(f"[scenario.a]\ngrow = {{ {grow} }}\n")
    done = call("sweep", twelve_sites, "--scenarios", "s.toml", "--jobs", 1)
    assert (done.code, done.out) == (2, "")
    assert "scenario.a.grow: sites and clusters are at most 1,000,000." in done.err


def test_growth_that_needs_too_many_rows_is_an_error_of_its_scenario(call, tmp_path, twelve_sites, monkeypatch):
    monkeypatch.setattr("planner.scenarios.growth._MOST_ROWS", 20)
    (tmp_path / "s.toml").write_text("[scenario.a]\ngrow = { sites = 9 }\n[scenario.b]\ngrow = { sites = 1 }\n")
    done = call("sweep", twelve_sites, "--scenarios", "s.toml", "--jobs", 1, "--json", "-")
    told = {point["scenario"]: point["error"] for point in json.loads(done.out)["points"]}
    assert done.code == 1
    assert told["b"] == ""
    assert "more rows of latency; the limit is 20" in told["a"]
