"""The errors a caller can meet, and the exit code each one means on the command line.

CastingvoteError
├── InputError      the fleet, the plan file or the call is wrong; carries findings    exit 2
└── SolverError     the solver failed or gave an answer that cannot be right           exit 3
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from planner.fleet import Finding


class CastingvoteError(Exception):
    """Base of every error that castingvote raises on purpose."""

    exit_code = 3


class InputError(CastingvoteError):
    """The input cannot be planned; ``findings`` says where, why and how to mend it."""

    exit_code = 2

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        self.findings = findings
        errors = [f for f in findings if f.severity == "error"]
        noun = "error" if len(errors) == 1 else "errors"
        first = f": {errors[0]}" if errors else ""
        super().__init__(f"{len(errors)} {noun} in the input{first}")


class SolverError(CastingvoteError):
    """The solver gave no usable answer; the message says what it reported."""
