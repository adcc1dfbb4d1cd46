"""What a template of a finding is, and the four kinds of them."""

from dataclasses import dataclass

from planner.fleet import Severity


@dataclass(frozen=True, slots=True)
class Template:
    """What a finding of one code says; ``message`` and ``hint`` may hold slots in braces."""

    severity: Severity
    message: str
    hint: str = ""
    many: str = ""  # what several of them on one sheet say together, with slots {n} and {cells}
    repair: bool = False  # a cell or header was not as it should be, yet could be read


def error(message: str, hint: str = "") -> Template:
    """Return the template of an error: the fleet cannot be planned until it is mended."""
    return Template("error", message, hint)


def warning(message: str, hint: str = "") -> Template:
    """Return the template of a warning: what was taken could change the plan."""
    return Template("warning", message, hint)


def info(message: str, hint: str = "") -> Template:
    """Return the template of an information."""
    return Template("info", message, hint)


def repair(severity: Severity, message: str, hint: str = "") -> Template:
    """Return the template of what was not as it should be, yet could be read."""
    return Template(severity, message, hint, repair=True)
