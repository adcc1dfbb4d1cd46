"""The manual: its examples run, its pages link to each other, and the one page finds words in them."""

import contextlib
import io
import os
import re
import shlex
import shutil
from pathlib import Path

import pytest

from planner.cli import main
from planner.manual import pages, search
from planner.manual.one_page import one_page
from tests.cli.conftest import small, write_fleet

FLEET = small(
    Sites=[["site", "region"], ["0001", "North"], ["0042", "North"], ["0043", "South"]],
    Hubs=[["hub", "existing_hosts"], ["ESK", 1], ["OLD", 0]],
    Latency=[["site", "ESK", "OLD"], ["0001", 12, 13], ["0042", 14, 15], ["0043", 14, 15]],
    Links=[["from", "to", "latency_ms"], ["R1", "R2", 2], ["0043", "R1", 1], ["R2", "ESK", 1]],
    Current=[["site", "hub", "host"], ["0001", "ESK", "ESK-01"]],
    Prices=[["item", "buy", "yearly"], ["host", 900, 100], ["own_tie_breaker", 100, 10]],
)
# How-tos speak of files that their reader has; these calls make them.
BEFORE = """
castingvote check fleet --repaired fleet.xlsx
castingvote demo
castingvote plan fleet.xlsx -o plan.xlsx -q
castingvote plan fleet.xlsx -o north.xlsx -q
castingvote plan fleet.xlsx -o south.xlsx -q
castingvote rollout fleet.xlsx plan.xlsx -o rollout.xlsx -q
castingvote check fleet --repaired october.xlsx
castingvote check fleet --repaired november.xlsx
castingvote plan october.xlsx --json plan-october.json -q
castingvote plan november.xlsx --json plan-november.json -q
"""


def calls(page):
    """Every call in the blocks of code of a page, in order."""
    for block in re.findall(r"^```(?:bash|console)\n(.*?)^```$", page.text, re.MULTILINE | re.DOTALL):
        yield from re.findall(r"^(?:\$ )?castingvote (.*)$", block, re.MULTILINE)


def run(call):
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown), pytest.raises(SystemExit) as ended:
        main(shlex.split(call))
    assert ended.value.code in (0, 1), f"{call}\n{shown.getvalue()}"
    return shown.getvalue()


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    """A folder with the files that the pages speak of."""
    place, before = tmp_path_factory.mktemp("manual"), Path.cwd()
    write_fleet(place / "fleet", FLEET)
    (place / "probes").mkdir()
    os.chdir(place)
    for call in re.findall(r"castingvote (.*)", BEFORE):
        run(call)
    os.chdir(before)
    (place / "demo_fleet.xlsx").rename(place / "stores.xlsx")
    (place / "demo_plan.xlsx").unlink()
    return place


@pytest.fixture
def folder(prepared, tmp_path, monkeypatch):
    """Work in a copy of that folder, and remember nothing of it elsewhere."""
    monkeypatch.chdir(shutil.copytree(prepared, tmp_path / "work"))
    for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("topic", [page.topic for page in pages().values() if page.folder in ("tutorials", "how-to")])
def test_the_calls_of_a_page_run(topic):
    for call in calls(pages()[topic]):
        run(f"{call} --jobs 1" if call.startswith("sweep") else call)


@pytest.mark.usefixtures("folder")
def test_the_python_example_prints_what_its_comment_says(capsys):
    run("demo")
    code, *_ = re.findall(r"^```python\n(.*?)^```$", pages()["python"].text, re.MULTILINE | re.DOTALL)
    exec(compile(code, "python.md", "exec"), {})
    assert capsys.readouterr().out.splitlines() == re.findall(r"print\(.*\)  # (.*)", code)


def test_the_one_page_holds_every_page_and_leads_nowhere_else():
    page = one_page()
    assert all(f'<article id="{topic}"' in page for topic in pages())
    targets = set(re.findall(r'href="([^"]*)"', page))
    assert {target for target in targets if not target.startswith("#")} == set()
    assert {target[1:] for target in targets} <= set(pages())
    assert not re.search(r"<(?:img|link|iframe)|src=", page)


def test_words_in_headings_are_found_first_and_all_words_have_to_be_there():
    found = search("exit codes")
    assert (found[0].topic, found[0].heading) == ("commands", "Exit codes")
    assert search("exit codes xylophone") == []


def test_the_command_prints_pages_finds_words_and_says_when_there_is_nothing():
    assert "\nrules " in run("manual")
    assert run("manual rules").startswith("# Rules")
    assert "commands: Exit codes" in run("manual exit codes")
    assert "occurs nowhere" in run("manual xylophone")


def test_no_sentence_of_the_manual_is_longer_than_its_reader_can_hold():
    """Sentences outside tables and code: at most 40 words."""
    for page in pages().values():
        text = re.sub(
            r"(?s)```.*?```|^\|.*?$|<!-- generated -->.*<!-- /generated -->", "", page.text, flags=re.MULTILINE
        )
        for sentence in re.split(r"(?<=[.!?:])\s+(?=[A-Z`*\[])|\n\n|\n- |\n\d\. ", text):
            assert len(sentence.split()) <= 40, f"{page.topic}: {sentence}"
