"""What is measured: each case is a command of castingvote, and what it is held against in the same run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.benchmarks.commands.fleets import FLEETS

SCRIPT = Path(__file__).with_name("straight_script.py")
_TAB = {"_CASTINGVOTE_COMPLETE": "bash_complete", "COMP_WORDS": "castingvote plan --ti", "COMP_CWORD": "2"}
_SAMPLE = "sample_fleets/twelve_sites.xlsx"


@dataclass(frozen=True)
class Case:
    """``command`` and ``against`` make arguments of Python from a folder and a limit in seconds for the script.

    ``fleet`` names the workbook that lies in the folder as fleet.xlsx, ``plan`` says that its plan lies beside it;
    ``most`` is the ratio of processor times that is aimed at.
    """

    command: Callable[[Path], list[str]]
    against: Callable[[Path, float], list[str]] | None = None
    fleet: str = ""
    plan: bool = False
    most: float | None = None
    times: int = 1
    environment: Mapping[str, str] = field(default_factory=dict)


def _start(*arguments: str, **environment: str) -> Case:
    return Case(
        lambda _folder: ["-m", "planner", *arguments],
        lambda _folder, _seconds: ["-c", "import click"],
        most=3.0,
        times=7,
        environment=environment,
    )


def _script(folder: Path, seconds: float) -> list[str]:
    return [str(SCRIPT), str(folder / "fleet.xlsx"), str(folder / "straight.xlsx"), str(seconds)]


def _planned(folder: Path) -> list[str]:
    fleet, plan = str(folder / "fleet.xlsx"), folder / "plan"
    return ["-m", "planner", "plan", fleet, "-o", f"{plan}.xlsx", "--json", f"{plan}.json", "-q"]


def _of_plan(name: str, *options: str, plan: bool = False) -> Case:
    def command(folder: Path) -> list[str]:
        files = [str(folder / "fleet.xlsx"), *([str(folder / "plan.json")] if plan else [])]
        return ["-m", "planner", name, *files, *(option.format(folder=folder) for option in options)]

    return Case(command, fleet="5000x60 towns", plan=plan)


_AIMS = {"1000x40": 0.8, "2000x60": 0.8, "5000x100": 1 / 20}

CASES: dict[str, Case] = {
    "--help": _start("--help"),
    "--version": _start("--version"),
    "TAB": _start(**_TAB),
    "12 sites": Case(lambda folder: ["-m", "planner", "plan", _SAMPLE, "-o", f"{folder}/plan.xlsx", "-q"], times=3),
    **{
        name: Case(_planned, None if name.startswith("20000") else _script, name, most=_AIMS.get(name.split()[0]))
        for name in FLEETS
        if name != "5000x60 towns"
    },
    "explain 5000x60": _of_plan("explain"),
    "report 5000x60": _of_plan("report", "-o", "{folder}/report.html", plan=True),
    "designs 5000x60": _of_plan("designs", "-o", "{folder}/designs.xlsx"),
    "horizon 5000x60": _of_plan("horizon", "--from", "2027-01-01", "--periods", "5", "-o", "{folder}/horizon.xlsx"),
    "rollout 5000x60": _of_plan("rollout", "-o", "{folder}/rollout.xlsx", plan=True),
}
