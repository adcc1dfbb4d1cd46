"""Adopt a spreadsheet of anybody's making: tables and columns told by their content, questions, and a mapping file.

``blocks`` (with ``kinds``) finds tables by their shape; ``profile`` says what cells look like, ``patterns`` (with
``likeness`` and ``lexicon`` of intake) what headers say; ``entities`` finds the tables of sites and hubs, ``places``
and ``columns`` their columns, ``relations`` the tables of pairs, ``settings`` the policy; ``left_out`` says what is
not used; ``guess`` makes the whole of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.intake.adopt.guess import Guesser
    from planner.intake.adopt.guesses import Adoption, Choice, Question, SheetGuess
    from planner.intake.adopt.left_out import LeftOut

__all__ = ["Adoption", "Choice", "Guesser", "LeftOut", "Question", "SheetGuess"]

_HOMES = {
    "Adoption": "guesses",
    "Choice": "guesses",
    "Guesser": "guess",
    "LeftOut": "left_out",
    "Question": "guesses",
    "SheetGuess": "guesses",
}
__getattr__ = on_demand(__name__, _HOMES)
