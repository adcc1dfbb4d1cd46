"""List every text that a user can see, by audience: ``python -m tests.sentences [AUDIENCE]``.

Texts are read from the source: strings and f-strings of more than one word that are not documentation of code. What is
filled in when the program runs is shown as ``{…}``. ``test_sentences.py`` holds them to the house style.
"""

import ast
import json
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from planner import columns
from planner.cli import cli

PLANNER = Path(__file__).parents[1] / "planner"
# The first folder or file that a path begins with tells who reads its texts; None: nobody but us.
AUDIENCES = {
    "cli": "terminal",
    "columns": None,  # told in words below
    # Words of many languages that are read, not written.
    "intake/lexicon": None,
    "intake/adopt/places": None,
    "intake/known_words": None,
    "intake/names": None,
    "intake/units": None,
    "outputs/progress_words": None,
    "intake/adopt": "terminal: adopt",
    "intake": "findings in the input",
    "outputs/run_": "run sheets",
    "outputs/rollout_": "run sheets",
    "outputs/steps_sheet": "run sheets",
    "outputs/calendar": "run sheets",
    "outputs/report": "report",
    "outputs": "workbook",
    "rollout": "rollout",
    "schedule": "rollout",
    "tracking": "progress",
    "verify": "verify",
    "certificate": "verify",
    "resilience": "drill and availability",
    "scenarios": "sweep, horizon and designs",
    "replan": "planning anew",
    "explain": "explain",
    "readiness": "readiness",
    "rules": "reasons and remedies",
    "sizing": "proof",
    "desk": "desk",
    "manual": None,
    "": "other",
}
_NO_SENTENCE = re.compile(
    r"^[\W\d_]*$|^[a-z_]+$|^\S+$|^[-\w]+: [-\w;' ]+;|[<>]=? ?[{\d]|\\[dwsS]|\(\?|^SELECT|^[A-Z]+ TABLE"
)
_QUIET = (
    "warnings.",
    "re.",
    "DeprecationWarning",
    "TypeError",
    "ValueError",
    "KeyError",
    "AssertionError",
    "RuntimeError",
)


@dataclass(frozen=True, order=True)
class Sentence:
    """One text: who reads it, where it stands in the source, and what it says."""

    audience: str
    place: str
    text: str


def sentences():
    """Yield every text, in the order of audiences and places."""
    found = [*_of_help(), *_of_columns(), *_of_report(), *_of_source()]
    seen = set()
    for one in sorted(found):
        if (one.audience, one.text) not in seen:
            seen.add((one.audience, one.text))
            yield one


def _of_help():
    for name in cli.list_commands(None):
        command = cli.get_command(None, name)
        words = command.help.partition("\b")[0]
        for part in [*words.split("\n\n"), *(getattr(option, "help", None) or "" for option in command.params)]:
            if text := " ".join(part.split()):
                yield Sentence("help", f"castingvote {name}", text)


def _of_columns():
    for sheet in columns.SHEETS:
        yield Sentence("columns", sheet.name, sheet.meaning)
        for column in columns.SETTINGS if sheet is columns.POLICY else sheet.columns:
            yield Sentence("columns", f"{sheet.name} {column.name}", column.meaning)


def _of_report():
    for path in PLANNER.rglob("english.json"):
        for text in _leaves(json.loads(path.read_text(encoding="utf-8"))):
            yield Sentence("report", path.relative_to(PLANNER).as_posix(), text)


def _leaves(value):
    if isinstance(value, str):
        yield value
    else:
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _leaves(inner)


def _of_source():
    for path in sorted(PLANNER.rglob("*.py")):
        place = path.relative_to(PLANNER).as_posix()
        audience = next(words for begin, words in AUDIENCES.items() if place.startswith(begin))
        if audience is None:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        skipped = _skipped(tree)
        for node in _tops(tree, skipped):
            text = " ".join(_text(node).split())
            if (
                len(text.split()) > 1
                and not _NO_SENTENCE.search(text)
                and re.search("[a-z]{2}", text.replace("{…}", ""))
            ):
                yield Sentence(audience, f"{place}:{node.lineno}", text)


def _skipped(tree):
    """The nodes whose strings nobody reads: documentation, hints, regular expressions, errors of programmers, help."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            body = node.body[:1]
            found.update(id(one.value) for one in body if isinstance(one, ast.Expr))
            if isinstance(node, ast.FunctionDef):
                found.update(id(one) for one in node.decorator_list)
                hints = [node.returns, *(argument.annotation for argument in node.args.args)]
                found.update(id(one) for one in hints if one is not None)
        elif isinstance(node, ast.AnnAssign):
            found.add(id(node.annotation))
        elif isinstance(node, ast.Call) and ast.unparse(node.func).startswith(_QUIET):
            found.add(id(node))
    return found


def _tops(node, skipped):
    """Yield the outermost strings below a node."""
    if id(node) in skipped:
        return
    if isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str)):
        yield node
        if isinstance(node, ast.JoinedStr):
            for part in node.values:
                if isinstance(part, ast.FormattedValue):
                    yield from _tops(part.value, skipped)
        return
    for child in ast.iter_child_nodes(node):
        yield from _tops(child, skipped)


def _text(node):
    if isinstance(node, ast.Constant):
        return node.value
    return "".join(part.value if isinstance(part, ast.Constant) else "{…}" for part in node.values)


def main():
    wanted = " ".join(sys.argv[1:])
    audience = ""
    for one in sentences():
        if wanted and one.audience != wanted:
            continue
        if one.audience != audience:
            audience = one.audience
            print(f"\n# {audience}\n")
        print(f"{one.text}    [{one.place}]")


if __name__ == "__main__":
    main()
