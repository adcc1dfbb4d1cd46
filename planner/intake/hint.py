"""Where sites or hubs were not found by any name: what they may be, and the command that adopts the file."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING

from planner.intake.findings import Findings, Place
from planner.intake.names import sheet_of
from planner.intake.rawtable import RawSheet

if TYPE_CHECKING:
    from planner.intake.adopt.guesses import Adoption

# Sheets that every plan or rollout workbook of ours has, and no fleet.
_OF_A_PLAN = ({"Plan record"}, {"Summary", "Hosts", "Assignments"}, {"Overview", "Steps"})
_UNFOUND = frozenset({"sheet_missing", "sheet_question", "column_missing", "column_question"})


def is_plan(titles: Sequence[tuple[str, str]]) -> bool:
    """Return whether the sheets of a file, by (file, title), are those of a plan or a rollout."""
    there = {title for _, title in titles}
    return any(wanted <= there for wanted in _OF_A_PLAN) and "Sites" not in there


def hint_to_adopt(sheets: Sequence[RawSheet], path: str, missing: Sequence[str], findings: Findings) -> None:
    """Say first which columns may hold the ids of the sheets ``missing``, and the command to go on with.

    Nothing is said where no table looks like sites and hubs.
    """
    if not missing or not findings.has(_UNFOUND):
        return
    from planner.intake.adopt import Guesser

    adoption = Guesser(sheets).guess({})
    if not adoption.complete or not all(_stands_elsewhere(adoption, name) for name in missing):
        return
    what = " ".join(_guess_in_words(adoption, name) for name in missing)
    command = f"castingvote adopt {shlex.quote(path)} -o fleet.toml"
    findings.drop("sheet_missing")
    findings.lead("adopt_hint", Place(path.rstrip("/").rpartition("/")[2]), what=what, command=command)


def _stands_elsewhere(adoption: Adoption, sheet: str) -> bool:
    """Return whether the guess for a sheet stands on none that bears the name of another sheet of a fleet."""
    guess = next(g for g in adoption.guesses if g.sheet == sheet)
    bears = None if guess.table is None else sheet_of(guess.table.block.raw.title)
    return bears is None or bears.name == sheet


def _guess_in_words(adoption: Adoption, sheet: str) -> str:
    guess = next(g for g in adoption.guesses if g.sheet == sheet)
    if guess.pins.listed:
        return f"No sheet lists the hubs. Are they {', '.join(guess.pins.listed)}, which the round-trip times name?"
    profile = next(c.profile for c in guess.columns if c.name in ("site", "hub"))
    what = "branch ids" if sheet == "Sites" else "hub ids"
    return f"No column with {what} was found. Is it {profile.label} (sheet {profile.block.raw.title}, {profile.cell})?"
