"""The work behind the page: what is read, mended, counted, planned and handed over is what the commands give."""

import dataclasses
import json

import pytest

import planner
from planner.desk import shown_fleet
from planner.desk.bench import Bench, Stopped, Work
from planner.desk.tasks import TASKS
from planner.errors import InputError
from planner.intake.messages import CATALOGUE

MESSY = {
    "Sites.csv": "site,name,area,clusters,latency_budget_ms\n1,Ash,North,1,20\n2,Birch,North,2,\n"
    "3,Cedar,South,1,20\n3,Cedar,South,1,20\n",
    "Hubs.csv": "hub,max_hosts\nESK,2\nROV,2\n",
    "Latency.csv": "site,hub,rtt_ms\n1,ESK,5\n2,ESK,6\n3,ROV,7\n3,ROVX,7\n",
    "Current.csv": "site,hub\n1,ESK\n2,EKS\n",
    "Policy.csv": "setting,value\nlatency_budget_ms,30\n",
}


class Tried:
    """A bench, and how the server asks it."""

    def __init__(self, folder):
        self.bench, self.folder, self.news = Bench(), folder, []

    def __call__(self, task, **body):
        work = Work({"folder": str(self.folder), **body}, self._hear)
        answer = TASKS[task](self.bench, work)
        json.dumps(answer, allow_nan=False)  # it goes over a pipe
        return answer

    def _hear(self, news):
        self.news.append(news)
        return True


@pytest.fixture
def messy(tmp_path):
    folder = tmp_path / "files"
    folder.mkdir()
    for name, text in MESSY.items():
        (folder / name).write_text(text)
    return Tried(folder)


@pytest.fixture
def sound(files_of, twelve):
    return Tried(files_of(twelve))


def errors(shown):
    return [group for group in shown["findings"] if group["severity"] == "error"]


def test_findings_name_their_cells_with_the_value_that_was_meant(messy):
    shown = messy("read")
    assert shown["controls"] is None
    cells = [cell for group in shown["findings"] for cell in group["cells"]]
    assert {cell["key"]: cell["meant"] for cell in cells if cell["meant"]} == {"Latency.csv\nLatency\nB5": "ROV"}
    assert [cell["cell"] for group in errors(shown) for cell in group["cells"]] == ["A5"]
    with pytest.raises(InputError):
        messy("count")


def test_pressing_the_remedies_leads_to_a_fleet_and_leaves_the_files_alone(messy):
    before = {path.name: path.read_bytes() for path in messy.folder.iterdir()}
    found = [cell for group in messy("read")["findings"] for cell in group["cells"]]
    cells = {cell["key"]: cell["meant"] for cell in found if cell["meant"]}
    cells |= {cell["row_key"]: "" for cell in found if cell["cell"] == "A5"}
    shown = messy("read", choices={"cells": cells})
    assert errors(shown) == []
    assert shown["controls"]["sites"] == 3
    work = Work({"folder": str(messy.folder), "choices": {"cells": cells}}, lambda news: True)
    pairs = messy.bench.asked(work).latency
    assert list(zip(pairs["site"], pairs["hub"], strict=True)).count(("3", "ROV")) == 1
    assert messy("count", choices={"cells": cells})["proven"]
    assert {path.name: path.read_bytes() for path in messy.folder.iterdir()} == before


def test_a_header_that_is_misspelt_has_a_remedy_too():
    hint = CATALOGUE["column_misspelt"].hint.format(guess="latency_budget_ms")
    assert shown_fleet._MEANT.search(hint)[2] == "latency_budget_ms"
    assert shown_fleet._MEANT.search('Did you mean "ROV"?')[1] == "ROV"


def test_a_cell_is_corrected_and_other_cells_are_not(messy):
    cells = {"Sites.csv\nSites\nA5": "4", "Current.csv\nCurrent\nB3": "ESK", "Sites.csv\nSites\nZZ999": "x"}
    assert messy("read", choices={"cells": cells})["controls"]["sites"] == 4
    assert messy("read", choices={"cells": cells})["controls"]["today"] == 2


def test_a_column_is_what_a_person_says_and_the_mapping_says_it_again(sound, tmp_path):
    tables = {table["sheet"]: table for table in sound("read")["tables"]}
    names = {column["column"]: column["letter"] for column in tables["Sites"]["columns"]}
    chosen = {"columns": {"Sites": {names["name"]: ""}}}
    again = {table["sheet"]: table for table in sound("read", choices=chosen)["tables"]}
    taken = {column["letter"]: column["column"] for column in again["Sites"]["columns"]}
    assert taken[names["name"]] == ""
    mapping = tmp_path / "fleet.toml"
    sound("hand_over", choices=chosen, kind="mapping", out=str(mapping))
    fleet = planner.read_fleet(next(sound.folder.iterdir()), mapping)
    assert set(fleet.sites["name"]) == {""}
    assert sound("count", choices=chosen)["hosts"] == planner.count(fleet).hosts


@pytest.mark.parametrize("cap", [3, 4, 6])
def test_the_count_is_that_of_the_package(sound, twelve, cap):
    fleet = planner.read_fleet(twelve)
    edits = [{"sheet": "Hubs", "column": "cluster_cap", "value": str(cap), "rows": "*"}]
    found = sound("count", question={"settings": {"cluster_cap": str(cap)}, "edits": edits})
    asked = fleet.replace(
        policy=fleet.policy.replace(cluster_cap=cap), pools=fleet.pools.assign(cluster_cap=float(cap))
    )
    real = planner.count(asked)
    assert (found["hosts"], found["unserved"], found["proven"]) == (real.hosts, real.unserved, real.proven)


def test_with_cover_the_count_is_a_lower_bound_of_the_plan(sound):
    question = {"settings": {"cover": "hub"}}
    found, plan = sound("count", question=question), sound("plan", question=question)
    assert found["at_least"]
    assert found["hosts"] <= plan["hosts"]


def test_a_plan_is_kept_warm_and_one_that_was_stopped_is_searched_again(sound):
    first = sound("plan", question={})
    told = len(sound.news)
    assert sound("plan", question={}) == first
    assert len(sound.news) == told
    work = Work({"folder": str(sound.folder), "question": {"settings": {"cluster_cap": "5"}}}, lambda news: False)
    stopped = TASKS["plan"](sound.bench, work)
    assert stopped["stopped"]
    assert not sound("plan", question={"settings": {"cluster_cap": "5"}})["stopped"]


@pytest.mark.parametrize("longer_is_better", [True, False])
def test_the_better_plan_of_a_longer_search_is_the_answer_from_then_on(sound, tmp_path, monkeypatch, longer_is_better):
    fleet = planner.read_fleet(next(sound.folder.iterdir()))
    good = planner.plan(fleet)
    moves = [dataclasses.replace(aim, value=aim.value + 1) if aim.aim == "moves" else aim for aim in good.then]
    bad = good.replace(then=tuple(moves))
    first, longer = (bad, good) if longer_is_better else (good, bad)
    monkeypatch.setattr("planner.sizing.plan", lambda fleet, thorough, **more: longer if thorough else first)
    sound("plan", question={})
    shown = sound("plan", question={}, thorough=True)
    sound("keep", question={}, out=str(tmp_path / "kept.json"))
    assert planner.read_plan(tmp_path / "kept.json").then == good.then
    assert {aim["aim"]: aim["value"] for aim in shown["aims"]}["moves"] == {a.aim: a.value for a in good.then}["moves"]


def test_what_is_handed_over_is_sound_and_what_the_command_makes(sound, tmp_path):
    question = {"budgets": {"*": 120}, "shut": [sound("read")["controls"]["hubs"][0]["hub"]]}
    fleet_file, plan_file = tmp_path / "fleet.xlsx", tmp_path / "plan.xlsx"
    sound("hand_over", question=question, kind="fleet", out=str(fleet_file))
    sound("hand_over", question=question, kind="workbook", out=str(plan_file))
    fleet, plan = planner.read_fleet(fleet_file), planner.read_plan(plan_file)
    assert [v for v in planner.verify(fleet, plan) if v.severity == "violation"] == []
    own = planner.plan(fleet)
    assert (own.host_list, own.assignments, own.unserved) == (plan.host_list, plan.assignments, plan.unserved)


@pytest.mark.parametrize("kind", ["json", "rollout", "calendar", "mapping"])
def test_every_file_can_be_made(sound, tmp_path, kind):
    out = tmp_path / "out"
    answer = sound("hand_over", question={}, kind=kind, out=str(out))
    assert answer["bytes"] == out.stat().st_size > 100


def test_a_file_that_is_none_is_refused(sound, tmp_path):
    with pytest.raises(InputError):
        sound("hand_over", kind="../../etc/passwd", out=str(tmp_path / "out"))


def test_two_answers_differ_where_their_plans_do(sound):
    hub = sound("read")["controls"]["hubs"][0]["hub"]
    first, second = {"question": {}}, {"question": {"shut": [hub]}}
    found = sound("compare", pair=[first, second], names=["all", "less"])
    plans = [sound("plan", **one) for one in (first, second)]
    assert sum(one["second"] - one["first"] for one in found["hubs"]) == plans[1]["hosts"] - plans[0]["hosts"]
    assert all(one["second"] == 0 for one in found["hubs"] if one["hub"] == hub)
    assert any(found["map"]["changed"])
    assert found["sites"]
    same = sound("compare", pair=[first, first], names=["all", "all"])
    assert not any(same["map"]["changed"])
    assert same["sites"] == []


def test_an_explanation_has_cells_to_try(sound):
    found = sound("explain", question={})
    assert found["proof"]
    for one in found["suggestions"]:
        if one["after"] is not None and one["confirmed"]:
            tried = sound("count", question={"edits": one["edits"]})
            assert (tried["hosts"], tried["unserved"]) == (one["after"]["hosts"], one["after"]["unserved"])


def test_an_explanation_that_nobody_waits_for_ends_at_once(sound):
    work = Work({"folder": str(sound.folder), "question": {}}, lambda news: "stage" not in news or news["stage"] == "")
    sound("plan", question={})
    with pytest.raises(Stopped):
        TASKS["explain"](sound.bench, work)


def test_one_site_and_one_loss_are_told(sound):
    plan = sound("plan", question={})
    fleet = planner.read_fleet(next(sound.folder.iterdir()))
    told = sound("explain", question={}, site=fleet.site_ids[0])["site"]
    assert len(told["pools"]) == len(fleet.pool_ids)
    host = plan["host_list"][0]
    lost = sound("lose", question={}, lost=[f"host:{host['host']}"])
    assert lost["hosts"] == 1
    assert len(sound("lose", question={})["singles"]) >= plan["hosts"]


def test_times_beside_the_sites_are_shown_as_used_for_the_hubs_that_they_name(tmp_path):
    rows = ["store,RTT Leeds (ms),RTT York (ms),build"]
    rows += [f"S-{number},{5 + number}.5,{20 - number}.5,8.2" for number in range(9)]
    (tmp_path / "stores.csv").write_text("\n".join(rows))
    asked = Tried(tmp_path)
    shown = asked("read", choices={"answers": {"Policy.latency_budget_ms": "40"}})
    tables = {table["sheet"]: table for table in shown["tables"]}
    assert {c["header"]: c["elsewhere"] for c in tables["Sites"]["columns"]}["RTT York (ms)"] == "Latency"
    assert tables["Latency"]["hubs"] == ["RTT Leeds (ms)", "RTT York (ms)"]
    assert shown["controls"]["sites"] == 9
