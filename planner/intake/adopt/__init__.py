"""Adopt a spreadsheet of anybody's making: tables and columns told by their content, questions, and a mapping file.

``blocks`` (with ``kinds``) finds tables by their shape; ``profile`` says what cells look like, ``likeness`` (with
``lexicon`` and ``patterns``) what headers say; ``entities`` finds the tables of sites and hubs, ``places`` and
``columns`` their columns, ``relations`` the tables of pairs, ``settings`` the policy; ``guess`` makes the whole of it.
"""

from planner.intake.adopt.guess import Guesser
from planner.intake.adopt.nouns import Adoption, Choice, Question, SheetGuess

__all__ = ["Adoption", "Choice", "Guesser", "Question", "SheetGuess"]
