"""A disk that takes no more: one message, no traceback, and what was there stays as it was."""

import os
import subprocess
import sys

import pytest

from tests.cli.conftest import PATIENCE_S, environment

resource = pytest.importorskip("resource")
LIMITED = """
import os, resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000))
os.execv(sys.executable, [sys.executable, "-m", "planner", *sys.argv[1:]])
"""


@pytest.fixture
def limited(tmp_path):
    """Run the command line where no file can be longer than 4,000 bytes."""

    def run_it(*arguments, **options):
        return subprocess.run(
            [sys.executable, "-c", LIMITED, *map(str, arguments)],
            cwd=tmp_path,
            env=environment(),
            timeout=PATIENCE_S,
            check=False,
            text=True,
            stderr=subprocess.PIPE,
            **{"stdout": subprocess.PIPE, **options},
        )

    return run_it


@pytest.mark.parametrize(
    "arguments",
    [
        ("check", "FLEET", "--repaired", "out.xlsx"),
        ("drill", "FLEET", "plan.json", "-o", "out.xlsx"),
        ("rollout", "FLEET", "plan.json", "-o", "out.xlsx"),
        ("plan", "FLEET", "-o", "out.xlsx", "--json", "out.json"),
        ("plan", "FLEET", "--report", "out.html"),
    ],
    ids=lambda arguments: " ".join(arguments[:3]),
)
def test_a_full_disk_is_told_in_one_message(call, limited, tmp_path, twelve_sites, arguments):
    if "plan.json" in arguments:
        assert call("plan", twelve_sites, "--json", "plan.json").code == 0
    before = sorted(path.name for path in tmp_path.iterdir())
    done = limited(*(twelve_sites if word == "FLEET" else word for word in arguments))
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 2, done.stderr
    assert "cannot be written: File too large." in done.stderr
    assert done.stderr.splitlines()[1] == "1 error."
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
@pytest.mark.parametrize(
    "arguments",
    [("check", "FLEET"), ("check", "FLEET", "--json", "-"), ("--help",)],
    ids=" ".join,
)
def test_a_full_standard_output_is_told_in_one_line(run, twelve_sites, arguments):
    with open("/dev/full", "w") as full:
        done = run(*(twelve_sites if word == "FLEET" else word for word in arguments), stdout=full)
    assert done.returncode == 2
    assert done.stderr == "Error: Standard output cannot be written: No space left on device.\n"


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_a_full_standard_error_changes_no_exit_code(run):
    with open("/dev/full", "w") as full:
        assert run("check", "nothing.xlsx", stderr=full).returncode == 2
