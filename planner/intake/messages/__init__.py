"""One template for each finding code, so that wording stays even: severity, message, and how to mend it.

Slots come from the caller; ``{column}`` and ``{value}`` are always there for a cell, ``{cells}`` for a finding that
sums up many cells.
"""

from dataclasses import replace

from planner.intake.messages.cells import CELLS, DATES, NUMBERS, TEXTS
from planner.intake.messages.files import FILES, HEADERS, MAPPING, SHEETS
from planner.intake.messages.fleet import CHECKS, IDS, LATENCY, PINGS, POLICY
from planner.intake.messages.many import MANY
from planner.intake.messages.template import Template

__all__ = ["CATALOGUE", "REPAIRS", "UNREADABLE", "Template"]

_TEMPLATES: dict[str, Template] = {
    **FILES,
    **MAPPING,
    **SHEETS,
    **HEADERS,
    **CELLS,
    **TEXTS,
    **NUMBERS,
    **DATES,
    **IDS,
    **LATENCY,
    **PINGS,
    **POLICY,
    **CHECKS,
}
CATALOGUE = {code: replace(template, many=MANY.get(code, "")) for code, template in _TEMPLATES.items()}

# Codes of files, also mapping files, that could not be read at all, as opposed to files whose data are wrong.
UNREADABLE = frozenset(code for code, template in {**FILES, **MAPPING}.items() if template.severity == "error")

# Codes of findings about what was not written as it should be, yet could be read.
REPAIRS = frozenset(code for code, template in CATALOGUE.items() if template.repair)
