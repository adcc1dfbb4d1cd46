"""Files are written whole or not at all."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.outputs import plan_to_json, read_plan, write_json, write_template, write_workbook
from planner.outputs.atomic import afterwards, replacing, together, write_text
from planner.outputs.leftovers import temporary_name

ROOT = Path(__file__).parents[2]


def test_failure_leaves_the_old_file_and_no_rubbish(tmp_path):
    path = tmp_path / "plan.xlsx"
    path.write_text("old")

    def fail():
        with replacing(path) as temporary:
            temporary.write_text("half")
            raise RuntimeError("solver died")

    with pytest.raises(RuntimeError):
        fail()
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["plan.xlsx"]


def test_workbook_that_cannot_be_made_leaves_the_old_one(fleet, plan, tmp_path):
    path = tmp_path / "plan.xlsx"
    write_workbook(fleet, plan, path)
    before = path.read_bytes()
    with pytest.raises(AttributeError):
        write_workbook(fleet, plan.replace(findings=("not a finding",)), path)
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["plan.xlsx"]


def test_plan_with_a_number_that_json_lacks_leaves_the_old_file(plan, tmp_path):
    path = tmp_path / "plan.json"
    write_json(plan, path)
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json(plan.replace(lower_bound=float("nan")), path)
    assert path.read_text() == plan_to_json(plan)


@pytest.mark.parametrize("write", [lambda f, p, at: write_workbook(f, p, at), lambda f, p, at: write_json(p, at)])
def test_existing_file_is_replaced(fleet, plan, tmp_path, write):
    path = tmp_path / "plan.out"
    path.write_text("old")
    write(fleet, plan, path)
    assert read_plan(path).host_list == plan.host_list


@pytest.mark.skipif(os.name == "nt", reason="POSIX rights")
def test_new_file_gets_the_rights_of_the_umask_and_an_old_one_keeps_its_own(plan, tmp_path):
    before = os.umask(0o027)
    try:
        write_json(plan, tmp_path / "new.json")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new.json").stat().st_mode) == 0o640
    (tmp_path / "new.json").chmod(0o664)
    write_json(plan, tmp_path / "new.json")
    assert stat.S_IMODE((tmp_path / "new.json").stat().st_mode) == 0o664


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_link_stays_a_link(plan, tmp_path):
    (tmp_path / "real.json").write_text("old")
    (tmp_path / "link.json").symlink_to("real.json")
    write_json(plan, tmp_path / "link.json")
    assert (tmp_path / "link.json").is_symlink()
    assert read_plan(tmp_path / "real.json") == plan


def test_missing_folder_is_named(plan, tmp_path):
    with pytest.raises(InputError) as caught:
        write_json(plan, tmp_path / "nowhere" / "plan.json")
    (finding,) = caught.value.findings
    assert "nowhere" in finding.message
    assert "does not exist" in finding.message


def test_folder_is_not_overwritten(tmp_path):
    with pytest.raises(InputError, match="not an ordinary file"):
        write_template(tmp_path)


def test_disk_trouble_is_told_in_a_sentence(tmp_path):
    def fail():
        with replacing(tmp_path / "plan.json"):
            raise OSError(28, "No space left on device")

    with pytest.raises(InputError, match="No space left on device"):
        fail()


def test_files_of_one_block_take_their_places_together(tmp_path):
    (tmp_path / "a").write_text("old a")
    done = []
    with together():
        write_text(tmp_path / "a", "new a")
        write_text(tmp_path / "b", "new b")
        afterwards(lambda: done.append((tmp_path / "b").read_text()))
        assert (tmp_path / "a").read_text() == "old a"
        assert not (tmp_path / "b").exists()
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a": "new a", "b": "new b"}
    assert done == ["new b"]


def test_a_failure_in_the_block_leaves_all_files_as_they_were(tmp_path):
    (tmp_path / "a").write_text("old a")
    done = []

    def fail():
        with together():
            write_text(tmp_path / "a", "new a")
            afterwards(lambda: done.append(1))
            raise ValueError("no JSON")

    with pytest.raises(ValueError, match="no JSON"):
        fail()
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a": "old a"}
    assert not done


def test_a_file_that_cannot_take_its_place_leaves_those_before_it_as_they_were(tmp_path, monkeypatch):
    for name in "ab":
        (tmp_path / name).write_text(f"old {name}")
    replace = os.replace

    def refuse(source, target):
        if os.path.basename(target) == "b":
            raise PermissionError(13, "Permission denied")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refuse)

    def write():
        with together():
            for name in ("a", "new", "b"):
                write_text(tmp_path / name, f"new {name}")

    with pytest.raises(InputError, match="b: cannot be written: Permission denied"):
        write()
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a": "old a", "b": "old b"}


KILLED = """
import os, signal, sys
from planner.outputs.atomic import replacing
with replacing(sys.argv[1]) as temporary:
    temporary.write_text("half")
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_what_a_killed_process_left_behind_goes_with_the_next_write(tmp_path):
    for name in ("plan.json", "other.json"):
        subprocess.run([sys.executable, "-c", KILLED, str(tmp_path / name)], cwd=ROOT, check=False)
    assert len(list(tmp_path.glob(".*.part"))) == 2
    write_text(tmp_path / "plan.json", "new")
    assert (tmp_path / "plan.json").read_text() == "new"
    assert [path.name[:11] for path in tmp_path.glob(".*.part")] == [".other.json"]


def test_what_a_running_process_writes_stays_and_what_nobody_knows_goes_after_a_day(tmp_path):
    target = tmp_path / "plan.json"
    ours = tmp_path / temporary_name(target)
    mine = ours.name.rsplit("-", 1)[0]
    of_parent = ours.with_name(ours.name.replace(f"-{os.getpid()}-", f"-{os.getppid()}-"))
    elsewhere, old_elsewhere = (ours.with_name(f".plan.json.00000000-1-{12 * c}.part") for c in "ab")
    unknown, old_unknown = (ours.with_name(f".plan.json.{12 * c}.part") for c in "cd")
    for path in (of_parent, elsewhere, old_elsewhere, unknown, old_unknown):
        path.write_text("half")
    for path in (old_elsewhere, old_unknown):
        os.utime(path, (1, 1))
    with replacing(target) as temporary:
        temporary.write_text("first")
        with replacing(target) as second:
            second.write_text("second")
        assert temporary.exists()
        assert temporary.name.startswith(mine)
    assert {path.name for path in tmp_path.iterdir()} == {"plan.json", of_parent.name, elsewhere.name, unknown.name}
