"""The desk as it is served: the road over its addresses, faults that end nothing, a server that is killed."""

import json
import shutil
import signal
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import planner
from planner.cli import main
from tests.desk.hostile import SOUND, hostile_files
from tests.desk.test_workspaces import HOSTILE

QUESTION = {"budgets": {"*": 110}}


def read(desk, here):
    answer = desk.post(f"{here}/read")
    assert answer["event"] == "done", answer
    return answer["data"]


def planned(desk, here, question):
    lines = desk.lines(f"{here}/plan", {"tab": "t", "question": question})
    assert lines[-1]["event"] == "done", lines
    return lines[-1]["data"]


def test_the_whole_road_ends_in_the_plan_that_the_command_makes(served, twelve, tmp_path, capsys):
    here = served.bring(twelve)
    assert read(served, here)["controls"]["sites"] == 12
    assert served.post(f"{here}/count", {"question": {}})["data"]["hosts"] == 4
    assert planned(served, here, {})["hosts"] == 4
    kept = served.post(f"{here}/keep", {"question": {}, "name": "first"})["data"]
    planned(served, here, QUESTION)
    kept = served.post(f"{here}/keep", {"question": QUESTION, "name": "first"})["data"]
    assert [one["name"] for one in kept] == ["first", "first (copy)"]
    pair = [one["id"] for one in kept]
    assert served.post(f"{here}/compare", {"pair": pair})["event"] == "done"
    assert served.post(f"{here}/compare", {"pair": [pair[0], "none"]})["event"] == "refused"
    answer = served.fetch(here, "workbook", {"kept": pair[0]})
    assert 'filename="plan.xlsx"' in answer.headers["content-disposition"]
    (tmp_path / "desk.xlsx").write_bytes(answer.body)
    plan = planner.read_plan(tmp_path / "desk.xlsx")
    own = planner.plan(planner.read_fleet(twelve))
    assert (plan.host_list, plan.assignments, plan.proof) == (own.host_list, own.assignments, own.proof)
    with pytest.raises(SystemExit) as ended:
        main(["verify", str(twelve), str(tmp_path / "desk.xlsx"), "--proof"])
    assert ended.value.code == 0, capsys.readouterr()
    page = served.fetch(here, "report", {"kept": pair[0]}, "?show")
    assert page.headers["content-security-policy"] == "frame-ancestors 'self'"
    assert b"Content-Security-Policy" in page.body


def test_an_older_question_of_a_tab_ends_for_a_newer_one_and_that_of_another_tab_does_not(served, twelve):
    here = served.bring(twelve)
    read(served, here)
    caps = [str(3 + number % 5) for number in range(60)]

    def ask(number, tab):
        question = {"settings": {"cluster_cap": caps[number]}}
        return served.post(f"{here}/count", {"tab": tab, "question": question})

    began = time.monotonic()
    with ThreadPoolExecutor(30) as people:
        other = people.submit(ask, 0, "other")
        answers = list(people.map(lambda number: ask(number, "mine"), range(60)))
    assert other.result()["event"] == "done"
    assert {answer["event"] for answer in answers} <= {"done", "stopped"}
    assert time.monotonic() - began < 60
    assert ask(0, "mine")["event"] == "done"


def test_a_fault_in_one_question_leaves_the_server_up(served, twelve):
    here = served.bring(twelve)
    wrong = {"question": {"edits": [{"sheet": "Sites", "column": "pinned_hub", "value": "NOWHERE"}]}}
    answer = served.post(f"{here}/count", wrong)
    assert answer["event"] in ("refused", "failed")
    assert answer["data"]
    assert served.lines(f"{here}/lose", {"question": {}, "lost": ["host:NOBODY"]})[-1]["event"] == "refused"
    assert served.post(f"{here}/count", {"question": {}})["event"] == "done"


def test_every_hostile_file_is_refused_or_inert_and_the_server_goes_on(served, twelve, tmp_path):
    shutil.rmtree(served.folder / "outside", ignore_errors=True)
    for name, path, readable in hostile_files(tmp_path):
        here = served.bring(path)
        answer = served.post(f"{here}/read")
        assert answer["event"] in ("done", "refused"), (name, answer)
        shown = answer["data"] if answer["event"] == "done" else {"controls": None, "findings": answer["data"]}
        assert shown["findings"] or shown["controls"], name
        assert readable is None or readable == (shown["controls"] is not None), (name, shown["findings"])
        if shown["controls"] is None:
            assert served.post(f"{here}/count", {"question": {}})["event"] == "refused", name
        elif readable:
            assert shown["controls"]["sites"] == SOUND, name
        served.post(f"{here}/remove")
    assert not Path("/tmp/evil.txt").exists()
    assert not list(served.folder.rglob("*evil*"))
    refused = served.ask("POST", f"{served.bring(twelve)}/bring", b"MZ", X_File_Name="virus.exe")
    assert refused.status == 400


def test_hostile_workspaces_are_refused_and_the_server_goes_on(served, tmp_path):
    for name, content in HOSTILE.items():
        answer = served.ask("POST", "/open", content)
        assert answer.status == 400, name
        assert b"no workspace" in answer.body or b"no file of a fleet" in answer.body, answer.body


def test_two_tabs_of_a_workspace_do_not_mix(served, tmp_path):
    (tmp_path / "Sites.csv").write_text("site,clusters\n1,1\n2,5\n")
    (tmp_path / "Hubs.csv").write_text("hub\nESK\n")
    (tmp_path / "Latency.csv").write_text("site,hub,rtt_ms\n1,ESK,5\n2,ESK,5\n")
    (tmp_path / "Policy.csv").write_text("setting,value\nlatency_budget_ms,20\ncluster_cap,5\nreserve_percent,0\n")
    here = served.bring(*sorted(tmp_path.glob("*.csv")))
    mine = {"choices": {"cells": {"Sites.csv\nSites\nB3": "1"}}, "question": {}, "tab": "mine"}
    assert served.post(f"{here}/read", mine)["data"]["controls"]["sites"] == 2
    hosts = [served.post(f"{here}/count", asked)["data"]["hosts"] for asked in (mine, {"tab": "other", "question": {}})]
    assert hosts == [1, 2]
    first = served.post(f"{here}/state", {"question": {"shut": ["ESK"]}, "revision": 4})
    assert first == {"revision": 5}, "each of the four files was a change"
    late = served.post(f"{here}/state", {"question": {}, "revision": 4})
    assert late == {"changed_elsewhere": True, "revision": 5}
    assert served.post(f"{here}/state", {"question": {}, "revision": 5}) == {"revision": 6}


def test_an_answer_of_other_files_is_not_taken_for_one_of_these(served, twelve):
    here = served.bring(twelve)
    kept = served.post(f"{here}/keep", {"question": {}, "name": "before"})["data"][0]["id"]
    assert served.fetch(here, "json", {"kept": kept}).status == 200
    served.ask("POST", f"{here}/bring", twelve.read_bytes(), X_File_Name=twelve.name)
    for asked in (
        served.lines(f"{here}/file/json", {"kept": kept})[-1],
        served.post(f"{here}/compare", {"pair": [kept] * 2}),
    ):
        assert asked["event"] == "refused"
        assert "Ask again" in asked["data"][0]


def test_a_file_is_fetched_once_by_whom_it_was_made_for(served, twelve):
    here, other = served.bring(twelve), served.bring(twelve)
    ticket = served.lines(f"{here}/file/mapping", {"question": {}})[-1]["data"]["ticket"]
    for path in (f"{other}/file/mapping/{ticket}", f"{here}/file/report/{ticket}", f"{here}/file/mapping/{'0' * 32}"):
        assert served.ask("GET", path).status == 404
    assert served.ask("GET", f"{here}/file/mapping/{ticket}").status == 200
    assert served.ask("GET", f"{here}/file/mapping/{ticket}").status == 404


def test_a_desk_that_is_killed_loses_nothing_and_one_that_ends_says_so(serve, twelve, tmp_path):
    first = serve(tmp_path / "kept", twelve)
    here = f"/w/{first.address.rpartition('to=')[2]}"
    first.post(f"{here}/state", {"question": QUESTION})
    planned(first, here, QUESTION)
    assert first.post(f"{here}/keep", {"question": QUESTION, "name": "mine"})["event"] == "done"
    assert first.end(signal.SIGKILL) == -signal.SIGKILL
    second = serve(tmp_path / "kept", twelve)
    assert second.address.rpartition("to=")[2] == here.rpartition("/")[2]
    assert second.key != first.key
    page = second.ask("GET", here).body.decode()
    state = json.loads(page.partition('id="state">')[2].partition("</script>")[0])
    assert state["question"] == QUESTION
    assert [one["name"] for one in state["kept"]] == ["mine"]
    assert (second.folder / here.rpartition("/")[2] / "answers" / state["kept"][0]["file"]).is_file()
    assert second.end() == 0


def test_the_page_says_a_title_of_any_text_as_text(served, twelve):
    here = served.bring(twelve)
    title = "</script><script>document.title='hit'</script><img src=x onerror=alert(1)>"
    served.post(f"{here}/state", {"title": title, "question": {"x": title}})
    for path in (here, "/"):
        page = served.ask("GET", path).body.decode()
        assert "<img src=x" not in page
        assert "<script>document" not in page


def test_an_address_that_others_reach_needs_to_be_asked_for(tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["desk", "--host", "0.0.0.0", "--no-browser", "--folder", str(tmp_path)])
    assert ended.value.code == 2
    assert "--share" in capsys.readouterr().err


def test_a_fleet_that_is_not_there_opens_nothing(tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["desk", str(tmp_path / "none.xlsx"), "--no-browser", "--folder", str(tmp_path / "kept")])
    assert ended.value.code == 2
    assert "none.xlsx" in capsys.readouterr().err
    assert not (tmp_path / "kept").exists()


def test_a_question_that_was_overtaken_is_no_newer_one(served, twelve):
    here = served.bring(twelve)
    assert served.post(f"{here}/count", {"tab": "t", "turn": 7, "question": {}})["event"] == "done"
    assert served.post(f"{here}/count", {"tab": "t", "turn": 6, "question": {}})["event"] == "stopped"
    assert served.post(f"{here}/count", {"tab": "other", "turn": 1, "question": {}})["event"] == "done"
