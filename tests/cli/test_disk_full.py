"""A disk that takes no more: one message, no traceback, and what was there stays as it was."""

import os
import shutil

import pytest

resource = pytest.importorskip("resource")


@pytest.fixture
def limited(call):
    """Run the command line where no file can be longer than 4,000 bytes."""

    def call_it(*arguments):
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (4000, before[1]))
        try:
            return call(*arguments)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)

    return call_it


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
def test_a_full_disk_is_told_in_one_message(limited, tmp_path, twelve_sites, twelve_planned, arguments):
    shutil.copy(twelve_planned / "plan.json", tmp_path)
    done = limited(*(twelve_sites if word == "FLEET" else word for word in arguments))
    assert done.code == 2
    assert len(done.err.splitlines()) == 2, done.err
    assert "cannot be written: File too large." in done.err
    assert done.err.splitlines()[1] == "1 error."
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
@pytest.mark.parametrize(
    "arguments",
    [("check", "FLEET"), ("plan", "-q", "FLEET", "--json", "-"), ("--help",)],
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
