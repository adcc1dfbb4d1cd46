"""Findings for people: those of one cause on one sheet in one line, with a count and up to three cells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from planner.fleet import Finding
from planner.intake.messages import CATALOGUE, REPAIRS

_SHOWN = 3
_CELL = re.compile(r"^(?:'(?:[^']|'')*'|[^'!]*)!(?:row )?")
_MORE = re.compile(r"(\d+) more( like the \d+ listed.*)?\.?", re.DOTALL)
_ORDER = {"error": 0, "warning": 1, "info": 2}


@dataclass(frozen=True, slots=True)
class Group:
    """Findings of one code on one sheet of one file, in the order in which they were made."""

    findings: tuple[Finding, ...]
    number: int

    @property
    def first(self) -> Finding:
        """The first of them."""
        return self.findings[0]

    @property
    def words(self) -> str:
        """All of them in one line: one in its own words, several by what they have in common."""
        first = self.first
        if self.number == 1 or len(self.findings) == 1:
            return str(first)
        many = CATALOGUE[first.code].many if first.code in CATALOGUE else ""
        cells = self._cells()
        place = " ".join(part for part in (first.file, _sheet_of(first.where)) if part)
        if many:
            said = many.format(n=f"{self.number:,}", cells=cells)
        else:
            said = f"{self.number:,} times ({cells}): {first.message}"
        general = first.code in CATALOGUE and "{" not in CATALOGUE[first.code].hint
        hint = f" {first.hint}" if first.hint and general else ""
        return f"{place}: {said}{hint}"

    def _cells(self) -> str:
        names = [_CELL.sub("", finding.where) for finding in self.findings if not _is_rest(finding)]
        rest = self.number - len(names[:_SHOWN])
        more = f" and {rest:,} more" if rest > 0 else ""
        return f"{', '.join(names[:_SHOWN])}{more}"


def grouped(findings: Iterable[Finding]) -> list[Group]:
    """Return findings by cause: errors first, then what may change the plan, then repairs, then information."""
    groups: dict[tuple[str, str, str, str], list[Finding]] = {}
    for finding in findings:
        template = CATALOGUE.get(finding.code)
        sums_up = template is None or "{cells}" in template.message  # one of many places already
        own = finding.message if sums_up or not finding.where else ""  # without places there is nothing to count
        groups.setdefault((finding.code, finding.file, _sheet_of(finding.where), own), []).append(finding)
    made = [Group(tuple(of_one), sum(map(_number, of_one))) for of_one in groups.values()]
    return sorted(made, key=lambda group: (_ORDER[group.first.severity], group.first.code in REPAIRS))


def _number(finding: Finding) -> int:
    """Return for how many places a finding speaks: one that sums up the rest says so."""
    match = _MORE.fullmatch(finding.message) if _is_rest(finding) else None
    return int(match[1]) if match else 1


def _is_rest(finding: Finding) -> bool:
    return _MORE.fullmatch(finding.message) is not None


def _sheet_of(where: str) -> str:
    match = _CELL.match(where)
    return match[0].rstrip("row ").rstrip("!") if match else where


def repairs_in_words(findings: Sequence[Finding]) -> str:
    """Return one line for all repairs among ``findings``; blank where there was none."""
    groups = [group for group in grouped(findings) if group.first.code in REPAIRS]
    if not groups:
        return ""
    kinds = "1 kind" if len(groups) == 1 else f"{len(groups)} kinds"
    return f"Repairs of {kinds} were made in the input; castingvote check lists them."
