"""The workbook in a spreadsheet program: LibreOffice works out the live check, and what it saves is the same plan."""

import shutil
import subprocess

import openpyxl
import pytest

from planner.fleet import Policy
from planner.intake import read_fleet
from planner.outputs import read_plan, write_template, write_workbook
from planner.outputs.typed import typed_into
from planner.plan import Host

SOFFICE = shutil.which("soffice")
pytestmark = [
    pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed"),
    # What LibreOffice adds to the file, openpyxl says that it would drop.
    pytest.mark.filterwarnings("ignore::UserWarning:openpyxl"),
]


@pytest.fixture(scope="module")
def folder(fleet, plan, tmp_path_factory):
    """Every workbook of this module, saved once by LibreOffice: starting it takes longer than all else."""
    before, after = tmp_path_factory.mktemp("before"), tmp_path_factory.mktemp("after")
    write_workbook(fleet, plan, before / "plan.xlsx")
    _overfill(before, plan)
    _numbered_hosts(before, fleet, plan)
    _fill_template(before)
    profile = tmp_path_factory.mktemp("profile").as_uri()
    command = [SOFFICE, f"-env:UserInstallation={profile}", "--headless", "--convert-to", "xlsx", "--outdir", after]
    subprocess.run([*command, *sorted(before.glob("*.xlsx"))], check=True, capture_output=True, timeout=120)
    return after


def _overfill(folder, plan):
    """Move the first sites by hand to the fullest host, and one site to a host that is written in other letters."""
    book = openpyxl.load_workbook(folder / "plan.xlsx")  # loses the stored results, so they have to be worked out
    sheet = book["Assignments"]
    for row in range(2, 7):
        sheet[f"F{row}"] = plan.host_list[0].host
    sheet["F8"] = plan.host_list[1].host.lower()
    below = sheet.max_row + 1
    sheet[f"A{below}"], sheet[f"D{below}"], sheet[f"F{below}"] = "added", 40, plan.host_list[2].host
    book.save(folder / "overfilled.xlsx")


def _numbered_hosts(folder, fleet, plan):
    """Hosts whose names a spreadsheet may take for one number, or for a pattern."""
    names = dict(
        zip([host.host for host in plan.host_list], ["0042", "42", "42.0", "4*", "?2", ">1", "=42"], strict=False)
    )
    hosts = [
        Host(names.get(h.host, h.host), h.hub, h.pool, h.release, h.clusters, h.cap, h.clusters, True)
        for h in plan.host_list
    ]
    assignments = [_renamed(a, names.get(a.host, a.host)) for a in plan.assignments]
    write_workbook(fleet, plan.replace(host_list=tuple(hosts), assignments=tuple(assignments)), folder / "first.xlsx")
    book = openpyxl.load_workbook(folder / "first.xlsx")
    book.save(folder / "numbered.xlsx")
    (folder / "first.xlsx").unlink()


def _renamed(a, host):
    return type(a)(a.site, host, a.hub, a.clusters, a.rtt_ms, a.budget_ms, a.evidence)


def _fill_template(folder):
    write_template(folder / "template.xlsx")
    book = openpyxl.load_workbook(folder / "template.xlsx")
    for sheet, cells in {
        "Sites": {"A2": "0042", "H2": "8.10", "I2": 40},
        "Hubs": {"A2": "007"},
        "Latency": {"A2": "0042", "B2": "007", "C2": 18.4},
    }.items():
        for address, value in cells.items():
            book[sheet][address] = value
    book.save(folder / "template.xlsx")


def checks(path):
    rows = openpyxl.load_workbook(path, data_only=True)["Hosts"].iter_rows(min_row=2, values_only=True)
    return {row[0]: row[12] for row in rows}


def expected(path):
    """What the check should say, added up from the sheets by other means."""
    book = openpyxl.load_workbook(path, data_only=True)
    load = {}
    for row in book["Assignments"].iter_rows(min_row=2, values_only=True):
        load[row[5]] = load.get(row[5], 0) + (row[3] or 0)
    said = {}
    for row in book["Hosts"].iter_rows(min_row=2, values_only=True):
        over = load.get(row[0], 0) - row[6]
        said[row[0]] = f"{over} too many" if over > 0 else "ok"
    return said


def test_saved_by_libreoffice_it_is_the_same_plan(folder, plan):
    back = read_plan(folder / "plan.xlsx")
    for name in ("status", "objective", "objective_value", "lower_bound", "host_list", "assignments", "unserved"):
        assert getattr(back, name) == getattr(plan, name), name
    assert back.no_host_needed == plan.no_host_needed


def test_workbook_that_was_saved_is_not_replaced_unasked(folder):
    assert typed_into(folder / "plan.xlsx") == "LibreOffice has saved it since castingvote wrote it"


def test_live_check_agrees_with_the_plan(folder, plan):
    assert checks(folder / "plan.xlsx") == {host.host: "ok" for host in plan.host_list}


def test_hand_edit_that_overfills_a_host_shows_at_once(folder, plan):
    said = checks(folder / "overfilled.xlsx")
    assert said == expected(folder / "overfilled.xlsx")
    assert said[plan.host_list[0].host].endswith(" too many")
    assert said[plan.host_list[2].host].endswith(" too many")  # a row that was added below the list counts
    assert "ok" in said.values()


def test_live_check_keeps_apart_hosts_that_look_like_numbers_or_patterns(folder):
    assert set(checks(folder / "numbered.xlsx").values()) == {"ok"}


def test_template_filled_in_libreoffice_keeps_zeros_and_versions(folder):
    fleet = read_fleet(folder / "template.xlsx")
    assert fleet.site_ids == ("0042",)
    assert fleet.hub_ids == ("007",)
    assert fleet.sites["release"].tolist() == ["8.10"]
    assert fleet.policy == Policy()
