"""The nouns of adopting: what each table is taken for and why, and what only a person can say."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

from planner.intake.adopt.columns import ColumnGuess
from planner.intake.adopt.entities import Table
from planner.intake.adopt.left_out import LeftOut
from planner.intake.layout import Pins, SheetPins
from planner.intake.names import plain

Answers = Mapping[str, str]  # by the key of a question, the key of the choice


@dataclass(frozen=True)
class Choice:
    """One answer to a question: its key, what it says, sample values, and how likely it is, from 0 to 1."""

    key: str
    words: str
    samples: str = ""
    likeness: float = 0.0


@dataclass(frozen=True)
class Question:
    """What is open: a key that stays the same from month to month, words, and choices, the likeliest first.

    ``free`` tells that any text may be typed instead. The smaller ``rank``, the more it changes the plan.
    """

    key: str
    words: str
    choices: tuple[Choice, ...]
    rank: int = 5
    free: bool = False


@dataclass(frozen=True)
class SheetGuess:
    """A sheet of the fleet, the table that it is taken from, and which columns are which."""

    sheet: str
    table: Table | None
    likeness: float
    why: str
    pins: SheetPins
    columns: tuple[ColumnGuess, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Adoption:
    """What was made of a file: a guess for each sheet of the fleet, questions with the answers taken, and what is left.

    ``unused`` are tables that are not read, ``left_out`` columns of those that are.
    """

    guesses: tuple[SheetGuess, ...]
    questions: tuple[Question, ...]
    answers: Answers
    unused: tuple[Table, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    taken: Mapping[str, Choice] = field(default_factory=dict)

    @property
    def open(self) -> tuple[Question, ...]:
        """The questions that nobody has answered, those that change the plan most first."""
        left = [q for q in self.questions if q.key not in self.answers]
        return tuple(sorted(left, key=lambda q: q.rank))

    @property
    def complete(self) -> bool:
        """Whether sites and hubs were found."""
        return {"Sites", "Hubs"} <= {guess.sheet for guess in self.guesses}

    @property
    def pins(self) -> Pins:
        """What a mapping file would say."""
        found: dict[str, SheetPins] = {}
        for guess in self.guesses:
            found.setdefault(guess.sheet, guess.pins)
        return found

    @property
    def fingerprint(self) -> str:
        """The same for every file whose tables have these headers, whatever their rows and the hubs of a matrix."""
        shapes = sorted({_shape(guess) for guess in self.guesses if guess.table is not None})
        return hashlib.sha256("\n".join(shapes).encode()).hexdigest()[:16]


def _shape(guess: SheetGuess) -> str:
    assert guess.table is not None
    block = guess.table.block
    of_pairs = guess.sheet == "Latency" and "rtt_ms" not in guess.pins.columns
    names = [guess.columns[0].profile.header] if of_pairs and guess.columns else list(block.names)
    if guess.sheet == "Policy":
        names = sorted(guess.pins.settings.values())
    return "|".join((guess.sheet, str(block.header_rows), *map(plain, names)))
