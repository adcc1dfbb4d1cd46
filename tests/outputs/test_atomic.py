"""Files are written whole or not at all."""

import os
import stat

import pytest

from planner.errors import InputError
from planner.outputs import plan_to_json, read_plan, write_json, write_template, write_workbook
from planner.outputs.atomic import replacing


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
