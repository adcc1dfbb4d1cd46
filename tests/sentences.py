"""List every text that a user can see, by audience: ``python -m tests.sentences [AUDIENCE]``.

Texts are read from the source: strings and f-strings of more than one word that are not documentation of code, put
together as they are shown (`tests.sentence_parts`). ``test_house_style.py`` holds them to the house style.
"""

import ast
import json
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from planner import columns
from planner.cli import cli
from tests import page_texts
from tests.sentence_parts import Module

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
# Where a user sees the texts of an audience, for readers of the list.
SHOWN = {
    "columns": "What each column and setting of the input means: in the template, the manual and castingvote check. "
    "In brackets: sheet and column. A sheet's name alone: what the sheet is for.",
    "findings in the input": "Findings of castingvote check, and of every command that reads a fleet: one line names "
    "file, sheet, cell; then the message, then what to do. {column}: the header. {cells}: cell addresses.",
    "help": "castingvote COMMAND --help. In brackets: the command.",
    "report": "The report (plan.html) in a browser: headings, table headers, buttons, notes.",
    "verify": "castingvote verify, castingvote certify: one line for each thing that is wrong, after the name of the "
    "site, host, pool, step or wave that it is about.",
    "workbook": "The plan workbook: titles, notes, column headers (joined by | in a table), cells.",
}
_NO_SENTENCE = re.compile(
    r"^[\W\d_]*$|^[a-z_]+$|^\S+$|^[-\w]+: [-\w;' ]+;|[<>]=? ?[{\d]|\\[dwsS]|\(\?|^SELECT|^[A-Z]+ TABLE"
    r"|'none'|'self'|camera=|charset=|^% \w+ |^(?:OBJ|RTP|SOL|VAR|CON|DER) |^(?:site|host|hub|pool|zone|wave|step) \{[^{}]*\}$"
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
    found = [*_of_help(), *_of_columns(), *_of_report(), *_of_pages(), *_of_source()]
    seen = set()
    for one in sorted(found, key=_in_order):
        if (one.audience, one.text) not in seen:
            seen.add((one.audience, one.text))
            yield one


def _in_order(one):
    file, _, line = one.place.rpartition(":")
    return (one.audience, file, int(line), one.text) if line.isdigit() else (one.audience, one.place, 0, one.text)


def _about(name):
    """Return what a file is about: the first line of its documentation, where readers see its texts."""
    if not name.endswith(".py"):
        return f"The page of the desk: {name.rpartition('/')[2]}"
    text = ast.get_docstring(ast.parse((PLANNER / name).read_text(encoding="utf-8"))) or name
    return " ".join(text.partition("\n\n")[0].split())


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


def _of_pages():
    for path in sorted((PLANNER / "desk" / "page").iterdir()):
        read = {".html": page_texts.of_html, ".js": page_texts.of_script}.get(path.suffix)
        for line, text in read(path.read_text(encoding="utf-8")) if read else ():
            if len(text.split()) > 1:
                yield Sentence("desk", f"{path.relative_to(PLANNER).as_posix()}:{line}", text)


def _leaves(value):
    if isinstance(value, str):
        yield value
    else:
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _leaves(inner)


def _of_source():
    trees = {path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(PLANNER.rglob("*.py"))}
    functions = _functions(trees.values())
    for path, tree in trees.items():
        place = path.relative_to(PLANNER).as_posix()
        audience = next(words for begin, words in AUDIENCES.items() if place.startswith(begin))
        if audience is None:
            continue
        own = {**functions, **_functions([tree], unique=False)}
        for line, text in Module(tree, own, _skipped(tree)).texts():
            filled = re.sub(r"\{[^{}]*\}", "", text)
            if len(text.split()) > 1 and not _NO_SENTENCE.search(text) and re.search("[a-z]{2}", filled):
                yield Sentence(audience, f"{place}:{line}", text)


def _functions(trees, unique=True):
    """Return the functions by name; of several of one name none, where names are to be unique."""
    found = {}
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                found[node.name] = None if unique and node.name in found else node
    return {name: node for name, node in found.items() if node is not None}


def _skipped(tree):
    """The nodes whose strings nobody reads: documentation, hints, regular expressions, errors of programmers, help."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body[:1]
            found.update(id(one.value) for one in body if isinstance(one, ast.Expr))
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                found.update(id(one) for one in node.decorator_list)
                hints = [node.returns, *(argument.annotation for argument in node.args.args)]
                found.update(id(one) for one in hints if one is not None)
        elif isinstance(node, ast.AnnAssign):
            found.add(id(node.annotation))
        elif isinstance(node, ast.Call) and ast.unparse(node.func).startswith(_QUIET):
            found.add(id(node))
    return found


def main():
    wanted = " ".join(sys.argv[1:])
    audience = place = ""
    for one in sentences():
        if wanted and one.audience != wanted:
            continue
        if one.audience != audience:
            audience = one.audience
            print(f"\n# {audience}\n\n{SHOWN.get(audience, '')}")
        name, _, line = (
            one.place.rpartition(":") if one.place[-1].isdigit() and ":" in one.place else (one.place, "", "")
        )
        if line and name != place:
            print(f"\n## {_about(name)}\n")
        place = name
        print(f"- {one.text}    [{one.place}]")


if __name__ == "__main__":
    main()
