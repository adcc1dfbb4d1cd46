"""Wrong files and wrong calls: exit code 2, a message that says what to do, no traceback, and no file touched."""

import pytest

OLD = "an earlier plan"


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def refused(call, tmp_path):
    """Call, assert the refusal, and return what was said."""

    def call_it(*arguments):
        before = contents(tmp_path)
        done = call(*arguments)
        assert done.code == 2
        assert done.out == ""
        assert "Traceback" not in done.err
        assert contents(tmp_path) == before
        return done.err

    return call_it


def test_errors_in_the_data_are_all_printed_with_their_cells(refused, tmp_path, fleets):
    (tmp_path / "plan.xlsx").write_text(OLD)
    (tmp_path / "plan.json").write_text(OLD)
    said = refused("plan", fleets.wrong(), "--force", "-o", "plan.xlsx", "--json", "plan.json")
    assert "Policy!B2" in said
    assert "Policy!B3" in said
    assert "2 errors" in said


def test_errors_in_the_data_leave_standard_output_empty_for_the_reader_of_json(refused, fleets):
    assert "Policy!B2" in refused("plan", fleets.wrong(), "--json", "-")


def test_a_wrong_file_through_a_real_process(run, tmp_path, fleets):
    fleets.wrong()
    before = contents(tmp_path)
    done = run("plan", fleets.folder, "-o", "plan.xlsx", "--json", "-")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Policy!B2" in done.stderr
    assert "Traceback" not in done.stderr
    assert contents(tmp_path) == before


@pytest.mark.parametrize("command", ["plan", "check"])
def test_a_missing_file(refused, command):
    assert "nowhere.xlsx" in refused(command, "nowhere.xlsx")


def test_a_missing_plan(refused, twelve_sites):
    assert "nowhere.xlsx" in refused("verify", twelve_sites, "nowhere.xlsx")


@pytest.mark.parametrize("content", [b"", b"site,name\n1,a\n", b"PK\x03\x04 and then nothing", bytes(range(256)) * 9])
def test_a_file_that_is_no_workbook(refused, tmp_path, twelve_sites, content):
    (tmp_path / "fleet.xlsx").write_bytes(content)
    assert "fleet.xlsx" in refused("plan", "fleet.xlsx", "-o", "plan.xlsx")
    assert "fleet.xlsx" in refused("check", "fleet.xlsx")
    assert "fleet.xlsx" in refused("verify", twelve_sites, "fleet.xlsx")


def test_a_fleet_in_the_place_of_a_plan(refused, twelve_sites):
    assert "Summary" in refused("verify", twelve_sites, twelve_sites)


@pytest.mark.parametrize("option", ["-o", "--json"])
def test_the_folder_of_an_output_is_missing(refused, twelve_sites, option):
    said = refused("plan", twelve_sites, option, "nowhere/plan.xlsx")
    assert "nowhere/plan.xlsx does not exist; create it" in said


@pytest.mark.parametrize("option", ["-o", "--json"])
def test_an_output_is_a_folder(refused, tmp_path, twelve_sites, option):
    (tmp_path / "there.xlsx").mkdir()
    assert "there.xlsx is a folder" in refused("plan", twelve_sites, option, "there.xlsx")


@pytest.mark.parametrize("option", ["-o", "--json"])
def test_an_output_is_the_input(refused, tmp_path, twelve_sites, option):
    (tmp_path / "fleet.xlsx").write_bytes(twelve_sites.read_bytes())
    (tmp_path / "link.xlsx").symlink_to("fleet.xlsx")
    for name in ("fleet.xlsx", "./fleet.xlsx", "link.xlsx"):
        assert "named twice" in refused("plan", "fleet.xlsx", option, name)


def test_an_output_is_one_of_the_sheets_of_the_input(refused, fleets):
    assert "named twice" in refused("plan", fleets.sound(), "--json", "fleet/Sites.csv")


def test_both_outputs_are_one_file(refused, twelve_sites):
    assert "named twice" in refused("plan", twelve_sites, "-o", "plan.xlsx", "--json", "./plan.xlsx")


@pytest.mark.parametrize("name", ["plan.json", "plan", "-", "plan.xls"])
def test_a_workbook_under_another_kind_of_name(refused, twelve_sites, name):
    assert "ends in .xlsx" in refused("plan", twelve_sites, "-o", name)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("plan",), "Missing argument 'FLEET'"),
        (("plan", "a.xlsx", "b.xlsx"), "unexpected extra argument"),
        (("plan", "a.xlsx", "--hosts"), "No such option"),
        (("plan", "a.xlsx", "--time-limit", "-1"), "--time-limit"),
        (("plan", "a.xlsx", "--time-limit", "soon"), "--time-limit"),
        (("plan", "a.xlsx", "--seed", "1.5"), "--seed"),
        (("plan", "a.xlsx", "--solver", "highs"), "No such option"),
        (("plane", "a.xlsx"), "No such command"),
        (("verify", "a.xlsx"), "Name a PLAN to check"),
        (("completion", "csh"), "'csh'"),
        ((), "Usage: castingvote"),
    ],
)
def test_calls_that_the_command_line_does_not_know(refused, arguments, words):
    assert words in refused(*arguments)


def test_help_and_version_are_no_errors(call):
    assert call("--help").code == 0
    assert call("plan", "-h").code == 0
    assert call("--version").code == 0
