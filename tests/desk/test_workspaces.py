"""Files come in under plain names, within limits; a workspace is private, saved to one file, and opened again."""

import asyncio
import io
import json
import os
import stat
import zipfile

import pytest

from planner.desk import uploads
from planner.desk.uploads import Refused, file_name, open_bundle, save_bundle, take_file
from planner.desk.workspaces import Store, sound_state


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "kept")


async def stream(*chunks):
    for chunk in chunks:
        yield chunk


def take(workspace, name, *chunks):
    return asyncio.run(take_file(workspace, name, stream(*chunks)))


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("fleet.xlsx", "fleet.xlsx"),
        ("../../etc/cron.d/fleet.csv", "fleet.csv"),
        ("C:\\Users\\me\\Sites.CSV", "Sites.CSV"),
        ("/abs/olute.ods", "olute.ods"),
        ("a\x00b\nc.csv", "abc.csv"),
        ("..csv.csv", "csv.csv"),
        ("Filialen Süd.xlsx", "Filialen Süd.xlsx"),
        ("x" * 500 + ".xlsx", "x" * 100 + ".xlsx"),
    ],
)
def test_a_file_keeps_its_plain_name(name, kept):
    assert file_name(name) == kept


@pytest.mark.parametrize(
    "name", ["", ".", "..", "fleet", ".csv", "fleet.exe", "fleet.xlsx/", "run.sh", "..\\..\\x", "a.py"]
)
def test_a_file_of_another_kind_is_refused(name):
    with pytest.raises(Refused):
        file_name(name)


def test_a_file_that_is_too_large_leaves_nothing_behind(store, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_BYTES", 10)
    workspace = store.new()
    with pytest.raises(Refused):
        take(workspace, "Sites.csv", b"12345678", b"12345678")
    assert list(workspace.files.iterdir()) == []
    assert take(workspace, "Sites.csv", b"12345678") == "Sites.csv"


@pytest.mark.skipif(os.name != "posix", reason="modes are those of POSIX")
def test_nobody_else_may_enter(store):
    for folder in (store.base, store.new().files):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.parametrize("name", ["", "..", "../kept", "a" * 20, "A" * 20, "state.json", "a" * 19 + "/"])
def test_only_names_of_its_own_lead_to_a_workspace(store, name):
    assert store.get(name) is None


def test_a_workspace_is_there_again_for_the_next_server(store):
    workspace = store.new("mine")
    take(workspace, "Sites.csv", b"site\n1\n")
    workspace.take({"question": {"shut": ["ESK"]}, "kept": "evil", "files": 99, "title": 7})
    workspace.save()
    (again,) = list(Store(store.base).all())
    assert again.state["question"] == {"shut": ["ESK"]}
    assert (again.state["title"], again.state["kept"], again.brought) == ("mine", [], ["Sites.csv"])


KEPT = {
    "id": "1",
    "name": "a",
    "file": "0123456789abcdef.json",
    "question": {},
    "choices": {},
    "changes": [],
    "figures": {},
}


def test_what_is_no_state_is_as_a_fresh_one():
    kept = [{**KEPT, "file": "../../x.json"}, KEPT, {**KEPT, "figures": 7}, {"file": KEPT["file"]}, 7]
    state = sound_state({"question": [], "files": "9", "kept": kept, "more": 1})
    assert (state["question"], state["files"]) == ({}, 0)
    assert state["kept"] == [kept[1]]
    assert sound_state(7)["past"] == []
    step = {"choices": {}, "question": {}}
    assert sound_state({"past": [7, {**step, "id": "other"}, {"question": 3}]})["past"] == [step]


def test_saved_and_opened_it_is_the_same(store, tmp_path):
    workspace = store.new("mine")
    take(workspace, "Sites.csv", b"site\n1\n")
    answer = workspace.new_answer_file()
    answer.write_text("{}")
    workspace.state["kept"] = [{**KEPT, "file": answer.name}]
    workspace.pings.mkdir()
    (workspace.pings / "1__ESK.txt").write_text("64 bytes")
    workspace.state["question"] = {"budgets": {"*": 90}}
    save_bundle(workspace, tmp_path / "one.zip")
    again = open_bundle(store, tmp_path / "one.zip")
    assert again.id != workspace.id
    assert {**again.state, "touched": 0} == {**workspace.state, "touched": 0}
    assert (again.files / "Sites.csv").read_bytes() == b"site\n1\n"
    assert again.answer_file(answer.name).read_text() == "{}"
    assert (again.pings / "1__ESK.txt").read_text() == "64 bytes"


def archive(**members):
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as book:
        for name, text in members.items():
            book.writestr(name, text)
    return made.getvalue()


HOSTILE = {
    "no archive": b"hello",
    "empty": b"",
    "no state": archive(x="1"),
    "a state that is none": archive(**{"state.json": "[1]"}),
    "no JSON": archive(**{"state.json": "{"}),
    "deep": archive(**{"state.json": "[" * 100_000}),
    "a program": archive(**{"state.json": "{}", "files/run.sh": "x"}),
    "cut off": archive(**{"state.json": "{}"})[:-30],
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_that_is_no_workspace_is_refused_and_leaves_nothing(store, tmp_path, name):
    path = tmp_path / "hostile.zip"
    path.write_bytes(HOSTILE[name])
    with pytest.raises(Refused):
        open_bundle(store, path)
    assert list(store.base.iterdir()) == []


def test_members_elsewhere_are_left_where_they_are(store, tmp_path):
    path = tmp_path / "odd.zip"
    odd = {
        "../../evil.csv": "x",
        "/evil.csv": "x",
        "answers/evil.json": "x",
        "pings/..": "x",
        "pings/../evil": "x",
        "pings/..\\evil": "x",
        "files/sub/evil.csv": "x",
        "evil.csv": "x",
    }
    path.write_bytes(archive(**{"state.json": json.dumps({"title": "t"}), **odd}))
    workspace = open_bundle(store, path)
    there = sorted(str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*") if p.is_file())
    assert there == [f"kept/{workspace.id}/state.json", "odd.zip"]


def test_a_file_more_leaves_choices_and_one_that_is_replaced_those_of_other_files(store):
    workspace = store.new()
    take(workspace, "Sites.csv", b"site\n")
    cells = {"Sites.csv\nSites\nA2": "1", "Hubs.csv\nHubs\nA2": "ESK"}
    workspace.state["choices"] = {"answers": {"site": "a"}, "cells": cells}
    workspace.file_came("Latency.csv")
    assert workspace.state["choices"] == {"answers": {"site": "a"}, "cells": cells}
    workspace.file_came("Sites.csv")
    assert workspace.state["choices"]["cells"] == {"Hubs.csv\nHubs\nA2": "ESK"}
    workspace.clear()
    assert (workspace.state["choices"], workspace.brought, workspace.state["files"]) == ({}, [], 3)


def test_what_another_desk_of_the_same_user_wrote_is_taken_over(store):
    here = store.new("mine")
    there = Store(store.base).get(here.id)
    there.take({"question": {"shut": ["ESK"]}})
    there.save()
    assert store.get(here.id).state["question"] == {"shut": ["ESK"]}
    assert store.get(here.id) is here


def test_a_full_disk_leaves_the_state_as_it_was(store, monkeypatch):
    workspace = store.new("mine")

    def full(*_arguments, **_options):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.write_text", full)
    workspace.take({"question": {"shut": ["ESK"]}})
    with pytest.raises(OSError, match="No space"):
        workspace.save()
    monkeypatch.undo()
    assert Store(store.base).get(workspace.id).state["question"] == {}


def test_old_workspaces_go_and_others_stay(store):
    old, young = store.new("old"), store.new("young")
    for one in (old, young):
        take(one, "Sites.csv", b"site\n")
    old.state["touched"] = 0.0
    store.remove_old()
    assert [one.state["title"] for one in store.all()] == ["young"]
    assert not old.folder.exists()
