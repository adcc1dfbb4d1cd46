"""Adopt a spreadsheet of anybody's making: tables and columns told by their content, questions, and a mapping file.

``blocks`` (with ``kinds``) finds tables by their shape; ``profile`` says what cells look like, ``likeness`` (with
``lexicon`` and ``patterns``) what headers say; ``entities`` finds the tables of sites and hubs, ``places`` and
``columns`` their columns, ``relations`` the tables of pairs, ``settings`` the policy; ``guess`` makes the whole of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.intake.adopt.guess import Guesser
    from planner.intake.adopt.guesses import Adoption, Choice, Question, SheetGuess

__all__ = ["Adoption", "Choice", "Guesser", "Question", "SheetGuess"]

_HOMES = {
    "Adoption": "guesses",
    "Choice": "guesses",
    "Guesser": "guess",
    "Question": "guesses",
    "SheetGuess": "guesses",
}
__getattr__ = on_demand(__name__, _HOMES)
