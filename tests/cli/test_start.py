"""What a command loads before it works: help, version and completion wait for no library of figures."""

import json
import os
import subprocess
import sys

import click
import pytest

from planner.cli import cli
from tests.cli.conftest import ROOT, environment

HEAVY = {
    "bokeh",
    "highspy",
    "icalendar",
    "jinja2",
    "matplotlib",
    "multiprocessing",
    "networkx",
    "numpy",
    "openpyxl",
    "ortools",
    "pandas",
    "pulp",
    "pyproj",
    "python_calamine",
    "rapidfuzz",
    "rich",
    "scipy",
    "sqlite3",
}
OURS = {
    "planner",
    "planner.__main__",
    "planner.cli",
    "planner.cli.conventions",
    "planner.cli.from_today",
    "planner.cli.numbering",
    "planner.cli.options",
    "planner.cli.output_options",
    "planner.cli.progress",
    "planner.cli.streams",
    "planner.cli.lean_libraries",
    "planner.errors",
    "planner.interrupts",
    "planner.version",
    "planner.counted_words",
}
LOADED = """
import json, sys
from planner.__main__ import main
try:
    main()
except SystemExit:
    pass
print(json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


def loaded(*arguments, **env):
    """The modules that a command has loaded when it ends."""
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *arguments], cwd=ROOT, env=environment(**env), capture_output=True, check=True
    )
    assert done.stdout
    return set(json.loads(done.stderr))


def of_the_project(modules, name=""):
    """Those of them that are the project's, without the module of the command itself."""
    own = {"progress": "tracking", "report": "write_report"}.get(name, name)
    return {module for module in modules if module.split(".")[0] == "planner"} - {f"planner.cli.{own}"}


@pytest.mark.parametrize("arguments", [("--help",), ("--version",)])
def test_help_and_version_load_nothing_heavy(arguments):
    modules = loaded(*arguments)
    assert not HEAVY & modules
    assert of_the_project(modules) <= OURS


@pytest.mark.parametrize("name", cli.list_commands(click.Context(cli)))
def test_the_help_of_a_command_loads_nothing_heavy(name):
    modules = loaded(name, "--help")
    assert not HEAVY & modules
    assert of_the_project(modules, name) <= OURS


@pytest.mark.parametrize(("words", "number"), [("castingvote pl", "1"), ("castingvote plan --ti", "2")])
def test_completion_loads_nothing_heavy(words, number):
    asked = {"_CASTINGVOTE_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": number}
    modules = loaded(**asked)
    assert not HEAVY & modules
    assert of_the_project(modules, "plan") <= OURS


def test_names_of_the_package_stay_functions_when_modules_of_that_name_are_loaded():
    check = "import planner, planner.plan, planner.verify, planner.explain, planner.sizing\n" + (
        "assert all(callable(f) for f in (planner.plan, planner.verify, planner.explain))"
    )
    subprocess.run([sys.executable, "-c", check], cwd=ROOT, env=dict(os.environ), check=True)


# What takes long to load, and is asked for by few plans: other rooms of ours, and libraries behind them.
UNASKED = {
    "bokeh",
    "charset_normalizer",
    "icalendar",
    "jinja2",
    "matplotlib",
    "multiprocessing",
    "networkx",
    "planner.certificate",
    "planner.intake.adopt.guess",
    "planner.intake.ods",
    "planner.intake.pings",
    "planner.outputs.report",
    "planner.rollout",
    "planner.scenarios",
    "planner.sizing.cover",
    "planner.tracking",
    "pulp",
    "pyarrow",
    "pyproj",
    "sqlite3",
}
OF_A_PLAN = UNASKED | {"planner.verify", "scipy"}


def test_a_plan_and_its_check_load_only_what_they_use(tmp_path):
    fleet, plan = str(ROOT / "sample_fleets" / "twelve_sites.xlsx"), str(tmp_path / "plan.xlsx")
    assert not (OF_A_PLAN | {"planner.cli.report", "rich"}) & loaded("plan", fleet, "-q", "--json", "-", "-o", plan)
    assert not OF_A_PLAN & loaded("plan", fleet, "-o", plan)
    assert not (UNASKED | {"planner.explain", "planner.resilience.drills"}) & loaded("verify", fleet, plan)


def test_pandas_is_loaded_without_pyarrow_which_can_be_loaded_later():
    pytest.importorskip("pyarrow")
    check = """
import sys
from planner.cli.lean_libraries import load_lean_libraries
load_lean_libraries()
import pandas
assert "pyarrow" not in sys.modules and list(pandas.DataFrame({"a": ["x"]})["a"]) == ["x"]
import pyarrow
load_lean_libraries()
assert pyarrow.array([1]).to_pylist() == [1]
"""
    subprocess.run([sys.executable, "-c", check], cwd=ROOT, env=dict(os.environ), check=True)


def test_numpy_is_loaded_without_what_its_functions_say_of_themselves():
    check = """
import sys
from planner.cli.lean_libraries import load_lean_libraries
load_lean_libraries()
import numpy
assert "numpy._core._add_newdocs" in sys.modules and numpy.array([1]).sum() == 1
assert numpy.concatenate.__doc__ is None or numpy.ndarray.sum.__doc__ is None
"""
    subprocess.run([sys.executable, "-c", check], cwd=ROOT, env=dict(os.environ), check=True)


def test_styles_of_openpyxl_and_pictures_are_loaded_when_they_are_asked_for(tmp_path):
    pytest.importorskip("PIL")
    check = """
import sys
from planner.cli.lean_libraries import load_lean_libraries
load_lean_libraries()
from openpyxl import Workbook, load_workbook
from openpyxl.drawing.image import Image
from openpyxl.styles import builtins
from PIL import Image as Pillow
assert "PIL.ExifTags" not in sys.modules and type(builtins.styles) is not dict
Pillow.new("RGB", (3, 5)).save("picture.png")
book = Workbook()
book.active["A1"].style = "Good"
book.active.add_image(Image("picture.png"))
book.save("book.xlsx")
sheet = load_workbook("book.xlsx").active
assert sheet["A1"].style == "Good" and sheet["A1"].fill.fgColor.rgb == "FFC6EFCE"
assert [(image.width, image.height) for image in sheet._images] == [(3, 5)]
assert len(builtins.styles) == len(set(builtins.styles)) > 40
"""
    path = {"PYTHONPATH": str(ROOT), **os.environ}
    subprocess.run([sys.executable, "-c", check], cwd=tmp_path, env=path, check=True)


@pytest.mark.parametrize(("argument", "code"), [("--version", 0), ("--no-such-option", 2)])
def test_a_process_ends_with_its_code_after_what_waits_for_its_end(argument, code):
    check = """
import atexit, sys
from planner.__main__ import program
atexit.register(print, "the end")
program()
"""
    command = [sys.executable, "-c", check, argument]
    done = subprocess.run(command, cwd=ROOT, env=dict(os.environ), capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.splitlines()[-1]) == (code, "the end")
