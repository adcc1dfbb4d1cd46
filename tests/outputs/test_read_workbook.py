"""Reading a plan back from its workbook, as written and as people leave it."""

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.outputs import plan_to_json, read_plan, write_workbook
from planner.plan import Plan, Reason, Unserved

READ = (
    "status",
    "objective",
    "objective_value",
    "lower_bound",
    "host_list",
    "assignments",
    "unserved",
    "no_host_needed",
)


def same(back: Plan, plan: Plan) -> None:
    for name in READ:
        assert getattr(back, name) == getattr(plan, name), name


@pytest.fixture(scope="module")
def fleet(builders):
    return builders[0](44)


@pytest.fixture(scope="module")
def plan(builders, fleet):
    return builders[1](fleet)


@pytest.fixture(scope="module")
def written(fleet, plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("read") / "plan.xlsx"
    write_workbook(fleet, plan, path)
    return path


@pytest.fixture
def edit(written, tmp_path):
    """Apply a change to a copy of the workbook and return the copy's path."""

    def edited(change):
        book = openpyxl.load_workbook(written)
        change(book)
        book.save(tmp_path / "edited.xlsx")
        return tmp_path / "edited.xlsx"

    return edited


def column(sheet, heading):
    return next(cell.column_letter for cell in sheet[1] if cell.value == heading)


def refused(path):
    with pytest.raises(InputError) as caught:
        read_plan(path)
    assert all(f.severity == "error" and f.file == path.name for f in caught.value.findings)
    return {finding.where: finding.message for finding in caught.value.findings}


def test_workbook_gives_the_same_claims_hosts_assignments_and_unserved(written, plan):
    same(read_plan(written), plan)


def test_all_of_the_plan_comes_back(written, plan):
    assert read_plan(written) == plan


def test_without_its_record_a_workbook_gives_what_its_sheets_show(edit, plan):
    back = read_plan(edit(lambda book: book.remove(book["Plan record"])))
    assert (back.findings, dict(back.policy), back.proof.kind) == ((), {}, "none")
    assert [row.host for row in back.assignments] == [row.host for row in plan.assignments]


def test_what_people_change_counts_and_is_said(edit, plan):
    def change(book):
        book["Hosts"][f"{column(book['Hosts'], 'clusters')}2"] = 3
        sheet = book["Assignments"]
        sheet[f"{column(sheet, 'host')}2"] = "DON-01"
        sheet[f"{column(sheet, 'RTT ms')}3"] = 1.5
        sheet[f"{column(sheet, 'standby')}4"] = None
        book["Unserved"].delete_rows(2)
        status = next(row[0].row for row in book["Summary"].iter_rows() if row[0].value == "Status")
        book["Summary"][f"B{status}"] = "feasible"

    back = read_plan(edit(change))
    assert (back.host_list[0].clusters, back.status) == (3, "feasible")
    assert (back.assignments[0].host, back.assignments[1].rtt_ms, back.assignments[2].standby) == ("DON-01", 1.5, None)
    assert back.assignments[3:] == plan.assignments[3:]
    assert back.unserved == plan.unserved[1:]
    (finding,) = set(back.findings) - set(plan.findings)
    differs = "5 rows of the workbook differ from the plan as it was made."
    assert (
        finding.message
        == f"{differs} The figures for further aims, such as moves, are left out: they may be wrong now."
    )
    assert (back.proof, back.policy, back.then) == (plan.proof, plan.policy, ())


def test_status_of_earlier_versions_is_read(edit, plan, tmp_path):
    def change(book):
        del book["Plan record"]
        status = next(row[0].row for row in book["Summary"].iter_rows() if row[0].value == "Status")
        book["Summary"][f"B{status}"] = "infeasible"

    assert read_plan(edit(change)).status == "feasible"
    earlier = plan_to_json(plan).replace('"status": "optimal"', '"status": "infeasible"')
    (tmp_path / "plan.json").write_text(earlier)
    assert read_plan(tmp_path / "plan.json").status == "feasible"


@pytest.mark.parametrize(
    "damage",
    [
        lambda sheet: sheet.delete_rows(2),
        lambda sheet: sheet.__setitem__("A2", sheet["A2"].value[:-40]),
        lambda sheet: sheet.__setitem__("A2", "zeJwDAAAAAAE="),
        lambda sheet: sheet.__setitem__("A2", "z!"),
    ],
    ids=["gone", "cut", "empty", "no Base64"],
)
def test_damaged_record_is_refused_in_a_sentence(edit, damage):
    messages = refused(edit(lambda book: damage(book["Plan record"])))
    assert list(messages) == ["Plan record"]
    assert messages["Plan record"].startswith("the record of the plan is damaged: ")


@given(
    st.builds(
        lambda value, bound, reasons: (value, bound, tuple(reasons)),
        st.integers(0, 10**6) | st.floats(0, 1e9).map(lambda x: float(f"{x:.15g}")),
        st.integers(0, 10**6),
        st.lists(st.builds(Reason, st.from_regex(r"[a-z][a-z_]{0,10}", fullmatch=True), st.just("a b: c")), max_size=4),
    )
)
@settings(max_examples=8, deadline=None)
def test_claims_and_reasons_of_any_size_come_back(small_fleet_and_plan, tmp_path_factory, drawn):
    fleet, plan = small_fleet_and_plan
    value, bound, reasons = drawn
    path = tmp_path_factory.mktemp("any") / "plan.xlsx"
    left = (Unserved("0004", 2, reasons, "add a hub\nor two"),)
    changed = plan.replace(objective="cost", objective_value=float(value), lower_bound=float(bound), unserved=left)
    write_workbook(fleet, changed, path)
    same(read_plan(path), changed)


@pytest.fixture(scope="module")
def small_fleet_and_plan(builders):
    build_fleet, build_plan = builders
    fleet = build_fleet(4)
    return fleet, build_plan(fleet, unserved=1)


def test_plan_without_hosts_comes_back(fleet, tmp_path):
    empty = Plan("optimal", "new_hosts", 0, 0, (), ())
    write_workbook(fleet, empty, tmp_path / "plan.xlsx")
    same(read_plan(tmp_path / "plan.xlsx"), empty)


def test_another_host_typed_by_hand_is_read(edit, plan):
    def change(book):
        sheet = book["Assignments"]
        sheet[f"{column(sheet, 'host')}2"] = "DON-01"
        sheet[f"{column(sheet, 'remarks')}2"] = "moved after the call"
        sheet[f"{column(sheet, 'status')}2"] = "done"

    back = read_plan(edit(change))
    assert back.assignments[0].host == "DON-01"
    assert back.assignments[1:] == plan.assignments[1:]


def test_columns_rows_and_sheets_may_stand_elsewhere(edit, plan):
    def change(book):
        sheet = book["Assignments"]
        sheet.insert_cols(1)
        sheet["A1"] = "our ticket"
        sheet.insert_rows(1, amount=2)
        sheet["A1"] = "Rollout of the north"
        sheet.insert_rows(6)
        book.move_sheet("Assignments", offset=-2)
        book["Hosts"].title = "hosts "
        book["Unserved"]["A1"] = "SITE"
        del book["Findings"], book["Policy"]

    same(read_plan(edit(change)), plan)


def test_sheet_of_sites_without_need_may_be_deleted(edit, plan):
    def change(book):
        del book["No host needed"]

    same(read_plan(edit(change)), plan.replace(no_host_needed=()))


def test_numbers_typed_as_text_are_read(edit, plan):
    def change(book):
        sheet = book["Assignments"]
        sheet[f"{column(sheet, 'RTT ms')}2"] = "12,5 ms"
        sheet[f"{column(sheet, 'clusters')}2"] = "2"

    first = read_plan(edit(change)).assignments[0]
    assert (first.rtt_ms, first.clusters) == (12.5, 2)


def test_all_that_is_wrong_is_told_at_once_with_its_cell(edit):
    def change(book):
        sheet = book["Assignments"]
        for heading, row, value in (
            ("host", 3, None),
            ("site", 4, "  "),
            ("RTT ms", 5, "fast"),
            ("clusters", 6, 1.5),
            ("evidence", 7, "guessed"),
            ("budget ms", 8, None),
            ("host", 9, "#REF!"),
            ("action", 10, None),
        ):
            sheet[f"{column(sheet, heading)}{row}"] = value
        book["Hosts"]["F2"] = None
        book["Summary"]["B7"] = "hosts, I think"
        book["Unserved"]["D2"] = "one"

    messages = refused(edit(change))
    assert set(messages) == {
        "Summary!B7", "Hosts!F2", "Unserved!D2", "Assignments!F3", "Assignments!A4", "Assignments!G5",
        "Assignments!D6", "Assignments!J7", "Assignments!H8", "Assignments!F9", "Assignments!L10",
    }  # fmt: skip
    assert messages["Assignments!F3"] == "host is blank."
    assert messages["Assignments!G5"] == 'RTT ms "fast" is not a number.'
    assert messages["Assignments!J7"] == 'evidence "guessed" must be one of measured, modelled, estimated.'


def test_missing_sheets_columns_and_labels_are_named(edit):
    def change(book):
        del book["Unserved"]
        book["Assignments"][f"{column(book['Assignments'], 'host')}1"] = "machine"
        book["Hosts"]["F1"] = None
        book["Summary"]["A9"] = "Bound below"

    messages = [f"{where} {said}" for where, said in refused(edit(change)).items()]
    for wanted in ("sheet Unserved is missing", "column host is missing", "column cap is missing"):
        assert any(wanted in message for message in messages)
    assert any(message.startswith("Summary ") and "Lower bound is missing" in message for message in messages)


def test_host_that_is_a_formula_nobody_calculated_is_refused(edit):
    def change(book):
        book["Assignments"]["F3"] = "=F2"

    assert "formula" in refused(edit(change))["Assignments!F3"]


def test_nonsense_is_left_to_the_check_of_the_plan(edit):
    def change(book):
        for row in range(2, 40):
            book["Assignments"][f"F{row}"] = "nowhere"
        book["Hosts"]["G2"] = 1

    assert read_plan(edit(change)).assignments[0].host == "nowhere"


@pytest.mark.parametrize("content", [b"PK\x03\x04 and no more", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old"])
def test_file_that_only_begins_like_a_workbook_is_refused(tmp_path, content):
    (tmp_path / "plan.xlsx").write_bytes(content)
    assert len(refused(tmp_path / "plan.xlsx")) == 1


def test_fleet_workbook_is_no_plan(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "Sites"
    book.save(tmp_path / "fleet.xlsx")
    with pytest.raises(InputError) as caught:
        read_plan(tmp_path / "fleet.xlsx")
    said = " ".join(finding.message for finding in caught.value.findings)
    for sheet in ("Summary", "Hosts", "Assignments", "Unserved"):
        assert f"The sheet {sheet} is missing." in said
