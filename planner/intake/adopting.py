"""Adopt a file: its sheets are read once and guessed anew with every answer; the road then reads it by the mapping."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from planner.errors import InputError
from planner.intake.adopt import Adoption, Guesser
from planner.intake.adopt.guesses import Answers
from planner.intake.files import Reading, read_sheets
from planner.intake.findings import Findings, Place
from planner.intake.layout import Pins
from planner.intake.mapping import ADOPTED, read_mapping, read_toml
from planner.intake.mapping_text import adoption_text
from planner.intake.read_fleet import Inspection, inspect_reading

_MOST_KEPT = 200  # bytes of a file name in the memory


@dataclass(frozen=True)
class Adopting:
    """A file that is being adopted."""

    path: Path
    reading: Reading
    findings: Findings
    _guesser: Guesser = field(repr=False)

    def adoption(self, answers: Answers) -> Adoption:
        """Return what everything is taken for, given ``answers``; the best guess counts where there is none."""
        return self._guesser.guess(answers)

    def mapping(self, adoption: Adoption) -> str:
        """Return the text of the mapping file."""
        return adoption_text(adoption, self.path.name)

    def inspect(self, mapping: Path, pins: Pins | None = None) -> Inspection:
        """Return what reading the file with a mapping gives; the one at ``mapping``, unless ``pins`` are given."""
        found = read_mapping(mapping, self.findings) if pins is None else pins
        return inspect_reading(self.reading, self.path, found, self.findings)


def adopt(path: str | Path) -> Adopting:
    """Return the file at ``path`` as one to be adopted; raises InputError if it cannot be read at all."""
    findings = Findings()
    reading = read_sheets(path, lambda title: True, findings)
    if findings.any_error:
        raise InputError(findings.result())
    guesser = Guesser(reading.sheets)
    if not guesser.guess({}).complete:
        seen = "; ".join(f"{t.where}: {', '.join(p.header for p in t.profiles[:6])}" for t in guesser.tables[:8])
        findings.add("adopt_nothing", Place(Path(path).name), seen=seen or "no table at all")
        raise InputError(findings.result())
    return Adopting(Path(path), reading, findings, guesser)


def fingerprint_of(mapping: Path) -> str:
    """Return the fingerprint that an adopted mapping file holds; blank if it is none."""
    adopted = read_toml(mapping, Findings()).get(ADOPTED)
    return str(adopted.get("fingerprint", "")) if isinstance(adopted, dict) else ""


class Memory:
    """Answers that were given, by the fingerprint of the headers, in a folder of the user's own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def _path(self, fingerprint: str) -> Path:
        return self._folder / f"{fingerprint}.json"

    def recall(self, fingerprint: str) -> tuple[Answers, str]:
        """Return the answers for these headers and the name of the file they were given for; nothing if unknown."""
        try:
            kept: Any = json.loads(self._path(fingerprint).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}, ""
        if not isinstance(kept, dict) or not isinstance(kept.get("answers"), dict):
            return {}, ""
        answers = {str(key): str(value) for key, value in kept["answers"].items()}
        return answers, str(kept.get("file", ""))

    def keep(self, fingerprint: str, answers: Mapping[str, str], file: str) -> bool:
        """Keep answers for these headers; return whether that was possible."""
        text = json.dumps({"file": file[:_MOST_KEPT], "answers": dict(answers)}, ensure_ascii=False, indent=1)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._path(fingerprint).write_text(text + "\n", encoding="utf-8")
        except OSError:
            return False
        return True
