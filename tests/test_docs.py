"""The manual names what there is: commands, options, sheets, columns, settings, rules."""

import re
import shlex
import tomllib

import click
import pytest

from planner import columns
from planner.cli import cli
from planner.intake import archive, csvfolder, mapping, pings, rawtable
from planner.outputs import cellsafe, run_sheet
from planner.rollout import redo
from planner.rules import RULES
from planner.sizing.from_today import extra_hosts
from planner.sizing.tie_breaks import branch_and_bound as strong_bound
from tests.column_tables import column_tables
from tests.reference import BEGIN, END, PAGES, ROOT, with_generated

README = (ROOT / "README.md").read_text(encoding="utf-8")
MANUAL = {page.relative_to(ROOT).as_posix(): page for page in sorted((ROOT / "planner/manual").rglob("*.md"))}
REFERENCE = "\n".join(page.read_text(encoding="utf-8") for page in MANUAL.values())
COMMANDS = MANUAL["planner/manual/reference/commands.md"].read_text(encoding="utf-8")
DOCUMENTS = ("README.md", "DEVELOPERS.md", "sample_fleets/README.md", *MANUAL)


def blocks(text, language):
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize(
    ("begin", "end", "room"),
    [
        ("| file of `sizing/`", "| file of `instance/`", "sizing"),
        ("| file of `instance/`", "| file of `solvers/`", "sizing/instance"),
        ("| file of `solvers/`", "| file of `solution/`", "sizing/solvers"),
        ("| file of `solution/`", "| file of `packing/`", "sizing/solution"),
        ("| file of `packing/`", "| file of `assignment/`", "sizing/packing"),
        ("| file of `assignment/`", "| file of `host_counts/`", "sizing/assignment"),
        ("| file of `host_counts/`", "| file of `tie_breaks/`", "sizing/host_counts"),
        ("| file of `tie_breaks/`", "| file of `cover/`", "sizing/tie_breaks"),
        ("| file of `cover/`", "| file of `cover/primal_search/`", "sizing/cover"),
        ("| file of `cover/primal_search/`", "## Inside certificate", "sizing/cover/primal_search"),
        ("| file of `certificate/`", "| file of `verify/certificate/`", "certificate"),
        ("| file of `verify/certificate/`", "## Inside intake", "verify/certificate"),
        ("## Inside intake", "## Inside intake/adopt", "intake"),
        ("## Inside intake/adopt", "## Inside differences", "intake/adopt"),
        ("## Inside differences", "## Inside rollout", "differences"),
        ("## Inside rollout", "## Inside tracking", "rollout"),
        ("## Inside tracking", "Outside the room", "tracking"),
        ("## Inside the report", "## Inside the desk", "outputs/report"),
        ("| file of `desk/`", "| file of `desk/page/`", "desk"),
        ("| file of `desk/page/`", "## Inside scenarios", "desk/page"),
        ("## Inside scenarios", "# How to", "scenarios"),
    ],
)
def test_the_map_names_every_file_of_a_room_and_no_other(begin, end, room):
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split(begin)[1].split(end)[0]
    first_cells = " ".join(line.split(" | ")[0] for line in text.splitlines() if line.startswith("| `"))
    told = set(re.findall(r"`([\w.-]+\.\w+)`", first_cells))
    there = {path.name for path in (ROOT / "planner" / room).iterdir() if path.suffix != ".json"} - {"__init__.py"}
    assert {name for name in told if not name.endswith(".json")} == {name for name in there if "." in name}


def test_the_readme_is_at_most_10_kb():
    assert len(README.encode()) <= 10_000


@pytest.mark.parametrize("name", cli.list_commands(None))
def test_each_command_and_option_is_in_the_reference(name):
    section = COMMANDS.split(f"\n## {name}\n")[1].split("\n## ")[0]
    for option in cli.get_command(None, name).params:
        for spelling in option.opts if isinstance(option, click.Option) else [option.name.upper().rstrip("S")]:
            assert re.search(rf"`[^`]*{re.escape(spelling)}\b", section), spelling


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_each_rule_is_in_the_manual(rule):
    assert re.search(rf"\b{rule.code}\b", REFERENCE)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_the_generated_parts_of_the_manual_are_up_to_date(page):
    text = page.read_text(encoding="utf-8")
    assert with_generated(text, PAGES[page]()) == text, "run: python -m tests.reference"


@pytest.mark.parametrize("sheet", columns.SHEETS, ids=lambda sheet: sheet.name)
def test_the_tables_name_each_sheet_and_each_of_its_columns(sheet):
    _, found, section = column_tables().partition(f"## {sheet.name} ")
    assert found
    section = section.split("\n## ")[0]
    for column in columns.SETTINGS if sheet is columns.POLICY else sheet.columns:
        (row,) = re.findall(rf"^\| `{column.name}`( \*)? \|(.*)\|$", section, re.MULTILINE)
        assert bool(row[0]) == column.required
        assert column.meaning in row[1]
        assert column.unit in row[1]


def test_tables_have_the_same_number_of_cells_in_every_row():
    for table in re.findall(r"(?:^\|.*\|\n?)+", column_tables(), re.MULTILINE):
        assert {len(re.findall(r"(?<!\\)\|", row)) for row in table.splitlines()} == {5}


def test_the_generator_changes_only_what_stands_between_the_markers():
    text = with_generated(f"above\n{BEGIN}\nold\n{END}\nbelow — unchanged\n", "new")
    assert text == f"above\n{BEGIN}\n\nnew\n\n{END}\nbelow — unchanged\n"
    assert with_generated(text, "new") == text


@pytest.mark.parametrize("text", ["", BEGIN, f"{END} {BEGIN}", f"{BEGIN} {BEGIN} {END}"])
def test_the_generator_refuses_a_page_without_its_markers(text):
    with pytest.raises(ValueError, match="once each"):
        with_generated(text, "")


def shown_calls():
    """Every call of castingvote that a document shows, in a code block or between backquotes."""
    for page in DOCUMENTS:
        text = (ROOT / page).read_text(encoding="utf-8")
        for call in re.findall(r"(?:`|^|/|\$ )castingvote ([^`\n]*)", text, re.MULTILINE):
            yield pytest.param(call, id=f"{page}: {call}")


@pytest.mark.parametrize("call", list(shown_calls()))
def test_the_calls_that_documents_show_are_accepted(call):
    name, *arguments = shlex.split(re.split(r" (?:>>|\|)", call)[0], comments=True)
    if arguments:
        cli.get_command(None, name).make_context(name, arguments)
    else:
        assert cli.get_command(None, name)


@pytest.mark.parametrize("page", DOCUMENTS)
def test_the_files_that_documents_link_to_are_there(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / page).parent.joinpath(target).exists(), target


def test_the_test_command_is_one_line_after_its_marker():
    (block,) = re.findall(r"<!-- test command -->\n```bash\n(.*?)```", README, re.DOTALL)
    assert len(block.splitlines()) == 1
    assert "-m pytest" in block


@pytest.mark.parametrize(
    ("words", "figure"),
    [
        ("one page up to {} steps", run_sheet._LINES_A_PAGE),
        ("bound up to {} eligible pairs", strong_bound._MOST_PAIRS),
        ("up to {} changes that hang together", redo.SEARCHED),
        ("at most {} sites on their hosts", redo._SITES),
        ("and {} other hosts for each", redo._REFUGES),
        ("within {} seconds of search", extra_hosts._SEARCH_S),
        ("ping output, files up to {} MB", pings.MOST_BYTES / 1e6),
        ("folders up to {} files", pings.MOST_FILES),
        ("exhaust the machine: {} parts", archive._MOST_MEMBERS),
        ("{} GB a part", archive._MOST_MEMBER_BYTES / 1e9),
        ("{} GB in all once unpacked", archive._MOST_TOTAL_BYTES / 1e9),
        ("{} million cells", rawtable.MOST_CELLS / 1e6),
        ("{} rows and", rawtable.MOST_ROWS),
        ("rows and {} columns a sheet", rawtable.MOST_COLUMNS),
        ("text of {} (longer", cellsafe.MAX_TEXT),
        ("a CSV cell of {} and", csvfolder._LONGEST_FIELD),
        ("mapping files of {} MB", mapping._MOST_BYTES / 1e6),
    ],
)
def test_figures_of_the_manual_are_those_of_the_code(words, figure):
    told = "a" if words.startswith("within") and figure == 1 else f"{figure:,.0f}"
    assert words.format(told) in " ".join(REFERENCE.split())


def test_every_dependency_has_a_reason():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [re.match(r"[\w-]+", one).group() for one in project["dependencies"]]
    text = (
        (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("# What is installed, and why")[1].split("\n# ")[0]
    )
    assert re.findall(r"^\| `([\w-]+)` \| \d+ \| .{9,} \|$", text, re.MULTILINE) == wanted
