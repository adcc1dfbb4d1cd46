"""The desk as it is served: the road over its addresses, faults that end nothing, a server that is killed."""

import json
import shutil
import signal
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

import planner
from planner.cli import main

QUESTION = {"budgets": {"*": 110}}


def read(desk, here):
    answer = desk.post(f"{here}/read")
    assert answer["event"] == "done", answer
    return answer["data"]


def planned(desk, here, question):
    answer = desk.ask("POST", f"{here}/plan", {"tab": "t", "question": question})
    lines = [json.loads(line) for line in answer.body.splitlines()]
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
    assert [one["name"] for one in kept] == ["first", "first again"]
    pair = [one["id"] for one in kept]
    assert served.post(f"{here}/compare", {"pair": pair})["event"] == "done"
    assert served.post(f"{here}/compare", {"pair": [pair[0], "none"]})["event"] == "refused"
    answer = served.ask("POST", f"{here}/file/workbook", {"kept": pair[0]})
    assert 'filename="plan.xlsx"' in answer.headers["content-disposition"]
    (tmp_path / "desk.xlsx").write_bytes(answer.body)
    plan = planner.read_plan(tmp_path / "desk.xlsx")
    own = planner.plan(planner.read_fleet(twelve))
    assert (plan.host_list, plan.assignments, plan.proof) == (own.host_list, own.assignments, own.proof)
    with pytest.raises(SystemExit) as ended:
        main(["verify", str(twelve), str(tmp_path / "desk.xlsx"), "--proof"])
    assert ended.value.code == 0, capsys.readouterr()
    page = served.ask("GET", f"{here}/report?kept={pair[0]}")
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
    assert served.post(f"{here}/lose", {"question": {}, "lost": ["host:NOBODY"]})["event"] == "refused"
    assert served.post(f"{here}/count", {"question": {}})["event"] == "done"


def test_hostile_files_become_findings_and_the_server_goes_on(served, twelve, tmp_path):
    bomb = tmp_path / "bomb.xlsx"
    shutil.copy(twelve, bomb)
    bomb.write_bytes(bomb.read_bytes()[:2000])
    entity = tmp_path / "Sites.csv"
    entity.write_bytes(b"\x00\xff" * 500)
    for path in (bomb, entity):
        shown = read(served, served.bring(path))
        assert shown["controls"] is None
        assert shown["findings"]
    refused = served.ask("POST", f"{served.bring(twelve)}/bring", b"MZ", X_File_Name="virus.exe")
    assert refused.status == 400


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
