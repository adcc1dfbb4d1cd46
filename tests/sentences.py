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
from tests.sentence_parts import MOST_HEADERS, Module, children
from tests.sentence_places import AUDIENCES, NOTATION, SHOWN, part

PLANNER = Path(__file__).parents[1] / "planner"
_WORDS_READ = ("_UNITS",)  # names of tables of words that are read
_MOST_WORDS = 9  # of a text without a mark
_NO_SENTENCE = re.compile(
    r"^[\W\d_]*$|^[a-z_]+$|^\S+$|^[-\w]+: [-\w;' ]+;|\\[dwsS]|\(\?|^SELECT|^PRAGMA|^[A-Z]+ TABLE"
    r"|'none'|'self'|camera=|charset=|^% \w+ |^(?:OBJ|RTP|SOL|VAR|CON|DER) "
    r"|SUMPRODUCT|&P of|^-//|\": \[|^\{ \"|\| ---|= \{quoted\}|^\[K|^\w+ = (?:true|\[|\{)|_m$"
    r"|DOCTYPE|^(?:bold|dim) \w+$|^\{whole\}, \"|^service pack|offset points|^moves latency$|^castingvote fleet \{"
    r"|^(?:site|host|hub|pool|zone|wave|step) \{[^{}]*\}$"
)
_QUIET = (
    "warnings.",
    "re.",
    "DeprecationWarning",
    "TypeError",
    "ValueError",
    "KeyError",
    "AttributeError",
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
    return part(name) or " ".join(
        ast.get_docstring(ast.parse((PLANNER / name).read_text("utf-8"))).split("\n\n")[0].split()
    )


def without_braces(text, filled):
    """Return a text with ``filled`` for each thing that is filled in, and the longest of several wordings."""
    inner = re.compile(r"\{([^{}]*)\}")
    while found := inner.search(text):
        words = [one for one in found[1].split(" | ") if one != "(nothing)"] if " | " in found[1] else [filled]
        text = text[: found.start()] + max(words, key=lambda one: len(one.split()), default="") + text[found.end() :]
    return text


def _of_help():
    for name in cli.list_commands(None):
        command = cli.get_command(None, name)
        words = command.help.partition("\b")[0]
        for told in [*words.split("\n\n"), *(getattr(option, "help", None) or "" for option in command.params)]:
            if text := " ".join(told.split()):
                yield Sentence("help", f"castingvote {name}", text)


def _of_columns():
    for sheet in columns.SHEETS:
        yield Sentence("columns", sheet.name, sheet.meaning)
        for column in columns.SETTINGS if sheet is columns.POLICY else sheet.columns:
            yield Sentence("columns", f"{sheet.name} {column.name}", column.meaning)


def _of_report():
    for path in PLANNER.rglob("english.json"):
        for text in _leaves({**json.loads(path.read_text(encoding="utf-8")), "lang": ""}):
            if text:
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
    nodes = {path: list(_all_below(tree)) for path, tree in trees.items()}
    functions = _functions([node for inside in nodes.values() for node in inside])
    for path, tree in trees.items():
        place = path.relative_to(PLANNER).as_posix()
        audience = next(words for begin, words in AUDIENCES.items() if place.startswith(begin))
        if audience is None:
            continue
        own = {**functions, **_functions(nodes[path], unique=False)}
        for line, text in Module(tree, own, _skipped(nodes[path])).texts():
            filled = without_braces(text, "X")
            listed = len(text.split()) > _MOST_WORDS and not re.search(r"[.,;:?|{]", text)  # words that are read
            if (
                len(filled.split()) > 1
                and not listed
                and not _NO_SENTENCE.search(text)
                and re.search("[a-z]{2}", filled)
            ):
                yield Sentence(audience, f"{place}:{line}", text.replace("\\1", "{name}"))


def _all_below(tree):
    """A tree's nodes, level by level."""
    level = [tree]
    while level:
        yield from level
        level = [child for node in level for child in children(node)]


def _functions(nodes, unique=True):
    """Return the functions by name; of several of one name none, where names are to be unique."""
    found = {}
    for node in nodes:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            found[node.name] = None if unique and node.name in found else node
    return {name: node for name, node in found.items() if node is not None}


def _skipped(nodes):
    """The nodes whose strings nobody reads: documentation, hints, regular expressions, errors of programmers, help."""
    found = set()
    for node in nodes:
        documents = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if documents or (isinstance(node, ast.Attribute) and node.attr == "split"):
            found.add(id(node.value))
        elif isinstance(node, ast.Subscript) and ast.unparse(node.value) == "Literal":
            found.add(id(node))
        elif isinstance(node, ast.Compare):
            found.update(id(one) for one in (node.left, *node.comparators))
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            found.update(id(one) for one in node.decorator_list)
            hints = [node.returns, *(argument.annotation for argument in node.args.args)]
            found.update(id(one) for one in hints if one is not None)
        elif isinstance(node, ast.List | ast.Tuple) and len(node.elts) > MOST_HEADERS and _short(node.elts):
            found.add(id(node))
        elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) in _WORDS_READ:
            found.add(id(node.value))
        elif isinstance(node, ast.AnnAssign):
            found.add(id(node.annotation))
        elif isinstance(node, ast.Call) and ast.unparse(node.func).startswith(_QUIET):
            found.add(id(node))
    return found


def _short(nodes):
    """Say whether all are words of at most three, as lists of words that are read hold."""
    return all(isinstance(one, ast.Constant) and len(str(one.value).split()) <= 3 for one in nodes)


def main():
    wanted = " ".join(sys.argv[1:])
    print(NOTATION)
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
