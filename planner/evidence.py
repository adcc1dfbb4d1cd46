"""One folder for an auditor: fleet, plan, proof, certificate, checks, approvals and results, all with hashes."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from planner.approvals import Approval
from planner.errors import InputError
from planner.fleet import Finding
from planner.identity import identity_in_words, plan_hash
from planner.outputs import headings
from planner.outputs.atomic import write_bytes
from planner.outputs.how_sure import headline
from planner.outputs.plan_json import plan_to_json
from planner.plan import Plan
from planner.progress import Cell, Merged
from planner.tracking.rows import text_in

HASHES = "hashes.txt"
_RESULTS = (
    *(headings.SITE, headings.HOST, headings.PLANNED_HOST, headings.PROGRESS, headings.DATE, headings.INITIALS),
    *(headings.RTT_AFTER, headings.VOTES_SEEN, headings.REMARKS),
)
_STEPS = (
    *(headings.WAVE, headings.STEP, headings.KIND, headings.SITE, headings.FROM_HOST, headings.TO_HOST, headings.HOST),
    *(headings.RELEASE, headings.PROGRESS, headings.DATE, headings.INITIALS, headings.TICKET, headings.REMARKS),
)
_APPROVALS = ("name", "role", "date", "decision", "plan_hash", "remarks", "where")


@dataclass(frozen=True)
class Evidence:
    """What an auditor gets: the files as they were given, the plan, and what was found.

    ``fleet`` are the files that the fleet was read from, ``returned`` the workbooks that came back and ``merged`` what
    they say as one. ``certificate`` is the text of one, "" where none could be made and ``why_none`` says why.
    ``checks_json`` and ``checks`` are what verify found, as data and in words.
    """

    fleet: tuple[Path, ...]
    plan_file: Path
    plan: Plan
    checks_json: str
    checks: tuple[str, ...]
    certificate: str = ""
    why_none: str = ""
    approvals: tuple[Approval, ...] = ()
    approval_file: Path | None = None
    returned: tuple[Path, ...] = ()
    merged: Merged | None = None


def write_evidence(evidence: Evidence, folder: Path) -> list[Path]:
    """Write the folder and return its files; `HASHES` has the SHA-256 of every other one.

    Raises InputError where there is something in the folder already, or a file cannot be read or written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise _refused(folder, "is not an empty folder", "Name a new one: evidence is never mixed with other files.")
    content = dict(_files(evidence))
    lines = (f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(content.items()))
    content[HASHES] = "".join(lines).encode("utf-8")
    written = []
    for name, data in content.items():
        path = folder / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _refused(folder, f"cannot be created: {error.strerror}", "Name another folder.") from error
        write_bytes(path, data)
        written.append(path)
    return written


def _files(evidence: Evidence) -> Iterator[tuple[str, bytes]]:
    """Yield each file by its name in the folder."""
    yield "README.txt", _read_me(evidence).encode("utf-8")
    yield from _copies("fleet", evidence.fleet)
    yield from _copies("plan", (evidence.plan_file,))
    if evidence.plan_file.name != "plan.json":
        yield "plan/plan.json", plan_to_json(evidence.plan).encode("ascii")
    yield "plan/proof.txt", _text((headline(evidence.plan), evidence.plan.proof.words))
    if evidence.certificate:
        yield "plan/certificate.vipr", evidence.certificate.encode("ascii")
    yield "checks/verify.json", evidence.checks_json.encode("utf-8")
    yield "checks/verify.txt", _text(evidence.checks)
    yield (
        "approvals/approvals.csv",
        _csv(_APPROVALS, ({n: getattr(a, n) for n in _APPROVALS} for a in evidence.approvals)),
    )
    if evidence.approval_file is not None and evidence.approval_file != evidence.plan_file:
        yield from _copies("approvals", (evidence.approval_file,))
    if evidence.merged is not None:
        yield from _copies("results", evidence.returned)
        merged = evidence.merged
        yield "results/results.csv", _csv((*_RESULTS, "source"), (_result(row, _RESULTS) for row in merged.rows))
        if merged.steps:
            yield "results/steps.csv", _csv((*_STEPS, "source"), (_result(row, _STEPS) for row in merged.steps))


def _copies(folder: str, paths: Sequence[Path]) -> Iterator[tuple[str, bytes]]:
    taken: set[str] = set()
    for path in paths:
        name, number = path.name, 2
        while name in taken:  # copies from several folders may have one name
            name, number = f"{path.stem}-{number}{path.suffix}", number + 1
        taken.add(name)
        if path.is_dir():  # a copy as a folder of .csv files
            yield from _copies(f"{folder}/{name}", sorted(file for file in path.iterdir() if file.is_file()))
            continue
        try:
            yield f"{folder}/{name}", path.read_bytes()
        except OSError as error:
            raise _refused(path, f"cannot be read: {error.strerror}", "Check the path.") from error


def _result(row: Mapping[str, Cell], names: Sequence[str]) -> dict[str, str]:
    """Return what a row says, with the file and cell of its status."""
    cell = row.get(headings.PROGRESS, row[headings.SITE])
    return {**{name: text_in(row, name) for name in names}, "source": cell.source or cell.where}


def _text(lines: Iterable[str]) -> bytes:
    return "".join(f"{line}\n" for line in lines if line).encode("utf-8")


def _csv(names: Sequence[str], rows: Iterable[Mapping[str, str]]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, names, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _harmless(value) for name, value in row.items()} for row in rows)
    return text.getvalue().encode("utf-8-sig")


def _harmless(value: str) -> str:
    """Return a text that spreadsheet programs do not take for a formula."""
    return f"'{value}" if value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def _read_me(evidence: Evidence) -> str:
    plan = evidence.plan
    certificate = "the proof, line by line, in the format VIPR 1.0" if evidence.certificate else evidence.why_none
    lines = [
        identity_in_words(plan),
        f"SHA-256 of hosts, assignments and sites without a host: {plan_hash(plan)}",
        headline(plan),
        "",
        "fleet/      the inputs as they were given",
        "plan/       the plan as it was given, and as plan.json; proof.txt: why no fewer hosts, in words",
        f"            certificate.vipr: {certificate}",
        "checks/     what verify found, as JSON and in words",
        f"approvals/  who approved which plan: {len(evidence.approvals)} on record",
        f"results/    {'what was done, and the workbooks that came back' if evidence.merged else 'not given'}",
        "",
        f"{HASHES} has a line for each file: its SHA-256, two blanks, its name.",
        "To check again: castingvote verify FLEET PLAN --proof, with the files in fleet and plan.",
    ]
    return "".join(f"{line}\n" for line in lines)


def _refused(path: Path, why: str, hint: str) -> InputError:
    return InputError((Finding("error", "cannot_write", "", f"{why}.", hint, str(path)),))
