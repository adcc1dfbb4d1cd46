"""Texts in the source put together as a user sees them: pieces stand inside the sentences that they are part of.

What is filled in when the program runs is shown by a name that says what it is, ``{hosts}``; a piece that is one of
several wordings is shown as ``{one | other}``. Texts that one call or one entry of a table shows together stand
together.
"""

import ast
import functools
import re

_DEEPEST = 3
_LONGEST = 320
_LONGEST_LABEL = 5  # words
MOST_HEADERS = 14  # longer lists hold words that are read
_SHEETS = ("Sites", "Hubs", "Latency", "Links", "Current", "Policy", "Prices", "Changes", "Tables")  # of findings
_STYLES = ("plain", "good", "bad", "quiet", "red", "yellow", "green")
_CODE_WORD = re.compile(r"^[a-z0-9_./:=*-]*$")
_NO_TEXT = (ast.expr_context, ast.operator, ast.cmpop, ast.boolop, ast.unaryop)


@functools.cache
def children(node):
    """The nodes below a node that may hold text; asked for again and again."""
    return tuple(child for child in ast.iter_child_nodes(node) if not isinstance(child, _NO_TEXT))


class Module:
    """The texts of one file: ``functions`` are those of all files, by name, for pieces that functions return."""

    def __init__(self, tree, functions, skipped):
        self.tree, self.functions, self.skipped = tree, functions, skipped
        self.used = set()  # ids of nodes that stand inside another text
        self.assigned = {}
        self._collect(tree, None)

    def _collect(self, node, function):
        for child in children(node):
            inner = child if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef) else function
            if isinstance(child, ast.Assign) and len(child.targets) == 1 and isinstance(child.targets[0], ast.Name):
                self.assigned.setdefault((id(inner), child.targets[0].id), []).append(child.value)
            if isinstance(child, ast.AugAssign) and isinstance(child.target, ast.Name):
                self.assigned.setdefault((id(inner), child.target.id), []).append(child.value)
            self._collect(child, inner)

    def texts(self):
        """Yield line number and text of everything that stands by itself."""
        found = list(self._tops(self.tree, None))
        for node, function in found:  # twice, since a text can name a piece that stands before it
            self._together(node, function)
        for node, function in found:
            if id(node) not in self.used:
                yield node.lineno, " ".join(self._together(node, function).split())

    def _tops(self, node, function):
        """Yield the outermost nodes that hold text, each with its function."""
        if id(node) in self.skipped:
            return
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            function = node
        if _is_text(node) or _is_table(node) or self._is_message(node, function):
            yield node, function
            if not _is_text(node):
                for child in children(node):
                    yield from self._inner(child, node, function)
            return
        for child in children(node):
            yield from self._tops(child, function)

    def _is_message(self, node, function):
        if not isinstance(node, ast.Call) or not (said := _said(node, self.skipped)):
            return False
        return len(said) + len(self._named_texts(node, function)) > 1

    def _inner(self, child, parent, function):
        """Yield what stands below a call or table and is not shown together with it."""
        together = {id(one) for one in _said(parent, self.skipped)}
        value = child.value if isinstance(child, ast.keyword) else child
        if id(value) not in together and not (
            isinstance(value, ast.Call) and id(value.args[:1] and value.args[0]) in together
        ):
            yield from self._tops(value, function)

    def _together(self, node, function):
        if _is_text(node):
            return self._text(node, function, 0)
        said = _said(node, self.skipped) + self._named_texts(node, function)
        said.sort(key=lambda one: (one.lineno, one.col_offset))
        texts = [self._filled(one, function, 1) for one in said]
        if isinstance(node, ast.Call):
            if ast.unparse(node.func) == "told":
                return "; ".join(texts)
            return _message([text for text in texts if text], _words(node.func) in ("Violation", "Conflict"))
        return (" " if any(text.endswith(".") for text in texts) else " | ").join(texts)

    def _named_texts(self, node, function):
        """Return the names among the arguments of a call that stand for texts of ours."""
        if not isinstance(node, ast.Call):
            return []
        values = [*node.args, *(one.value for one in node.keywords)]
        return [one for one in values if isinstance(one, ast.Name) and self._pieces(one, function)]

    def _text(self, node, function, depth):
        if isinstance(node, ast.Constant):
            return str(node.value)
        if isinstance(node, ast.JoinedStr):
            return "".join(self._text(part, function, depth) for part in node.values)
        if isinstance(node, ast.FormattedValue):
            return self._filled(node.value, function, depth + 1)
        if isinstance(node, ast.BinOp):
            return self._text(node.left, function, depth) + self._text(node.right, function, depth)
        if isinstance(node, ast.IfExp):
            return _either([self._text(one, function, depth) for one in (node.body, node.orelse)])
        return self._filled(node, function, depth)

    def _filled(self, node, function, depth):
        """Return what stands where a value is filled in."""
        if depth <= _DEEPEST and (pieces := self._pieces(node, function)):
            texts = [self._text(piece, owner, depth + 1) for piece, owner in pieces]
            if (text := _either(texts)) and len(text) <= _LONGEST:
                self.used.update(id(part) for piece, _ in pieces for part in ast.walk(piece))
                return text
        return named(node)

    def _pieces(self, node, function):
        """Return the texts that a value may be, each with its function; none where it is no text of ours."""
        if _is_text(node):
            return [(node, function)]
        if isinstance(node, ast.IfExp):
            return [(one, function) for one in (node.body, node.orelse)]
        if isinstance(node, ast.BoolOp) and any(_is_text(one) for one in node.values):
            return [(one, function) for one in node.values]
        if isinstance(node, ast.Name):
            values = self.assigned.get((id(function), node.id), []) or self.assigned.get((id(None), node.id), [])
            return [(one, function) for one in values] if values and all(map(_is_wording, values)) else []
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "join":
            one = node.args[0].elt if isinstance(node.args[0], ast.ListComp | ast.GeneratorExp) else None
            return [(one, function)] if one is not None and _is_wording(one) else []
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            owner = self.functions.get(node.func.id)
            returned = [] if owner is None else _returned(owner)
            return [(one, owner) for one in returned] if returned and all(map(_is_wording, returned)) else []
        return []


def _message(texts, about):
    """Join the texts of a call: a label, or what a violation is ``about``, stands before a colon."""
    said = ""
    for text in texts:
        label = about or (len(said.split()) <= _LONGEST_LABEL and said[-1:].isalnum())
        said = f"{said}{': ' if label else ' '}{text}" if said else text
    return said


def _is_text(node):
    if isinstance(node, ast.BinOp):
        return isinstance(node.op, ast.Add) and (_is_text(node.left) or _is_text(node.right))
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _is_wording(node):
    if isinstance(node, ast.IfExp):
        return _is_wording(node.body) or _is_wording(node.orelse)
    return _is_text(node) and (not isinstance(node, ast.Constant) or " " in node.value or not node.value)


def _is_table(node):
    """Say whether a list or tuple holds a message with its remedy, or the headers of a table: texts alone."""
    if not isinstance(node, ast.List | ast.Tuple) or len(node.elts) < 2:
        return False
    if len(_fields(node)) > 1:
        return True
    if len(node.elts) > MOST_HEADERS:
        return False
    return all(_is_text(one) for one in node.elts) and any(" " in _plain(one) for one in node.elts)


def _fields(node):
    """Return the headers of a list of columns, each made by ``Field``."""
    calls = (one for one in node.elts if isinstance(one, ast.Call) and ast.unparse(one.func) == "Field" and one.args)
    return [one.args[0] for one in calls if _is_text(one.args[0])]


def _said(node, skipped):
    """Return the texts that a call or table shows together."""
    if isinstance(node, ast.List | ast.Tuple):
        return _fields(node) if len(_fields(node)) > 1 else _without_kinds(node.elts)
    if not isinstance(node, ast.Call):
        return [node]
    values = [*node.args, *(one.value for one in node.keywords if one.arg not in ("encoding", "mode", "style", "kind"))]
    texts = [one for one in values if id(one) not in skipped and (_is_text(one) or _is_choice(one))]
    texts = [one for one in texts if not _CODE_WORD.match(_plain(one)) and _plain(one) not in _SHEETS]
    return texts if any(" " in _plain(one) for one in texts) else []


def _is_choice(node):
    """Say whether a value is one of several, of which one is a text."""
    return isinstance(node, ast.IfExp) and any(_is_text(one) or _is_choice(one) for one in (node.body, node.orelse))


def _without_kinds(nodes):
    """Return a pair without the word that says the kind or the colour of the other, which is a text."""
    if len(nodes) != 2:
        return nodes
    said = _plain(nodes[1])
    sentence = (
        _plain(nodes[0])
        and _CODE_WORD.match(_plain(nodes[0]))
        and (said.endswith(".") or len(said.split()) > _LONGEST_LABEL)
    )
    return nodes[1:] if sentence else nodes[:1] if said in _STYLES else nodes


def _plain(node):
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(one.value if isinstance(one, ast.Constant) else "X" for one in node.values)
    if isinstance(node, ast.BinOp):
        return _plain(node.left) + _plain(node.right)
    if isinstance(node, ast.IfExp):
        return f"{_plain(node.body)}{_plain(node.orelse)}"
    return ""


def _returned(function):
    """Return what a function returns, its inner functions left out."""
    found, waiting = [], list(function.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Return) and node.value is not None:
            found.append(node.value)
        if not isinstance(node, ast.FunctionDef | ast.Lambda):
            waiting += children(node)
    return found[::-1]


def _either(texts):
    different = list(dict.fromkeys(text for text in texts))
    if len(different) == 1:
        return different[0]
    return "{" + " | ".join(text.strip() or "(nothing)" for text in different) + "}"


def named(node):
    """Return what a value is, in braces, as far as its expression tells."""
    words = _words(node).replace("_", " ").strip()
    return "{" + (words or "…") + "}" if not words.startswith("{") else words


def _words(node):
    if isinstance(node, ast.Name):
        return node.id if len(node.id) > 1 else ""
    if isinstance(node, ast.Attribute):
        owner = node.value.attr if isinstance(node.value, ast.Attribute) else _words(node.value)
        plain = owner in ("", "self", "row", "entry", "one", "each", node.attr) or not owner.isidentifier()
        return node.attr if plain else f"{node.attr} of {owner}"
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.Subscript):
        return _words(node.slice) if isinstance(node.slice, ast.Constant) else _words(node.value)
    if isinstance(node, ast.Call):
        return _of_call(node)
    if isinstance(node, ast.BinOp):
        return _words(node.left) or _words(node.right)
    if isinstance(node, ast.IfExp):
        return _words(node.body)
    if isinstance(node, ast.BoolOp):
        return _words(node.values[0])
    if isinstance(node, ast.Starred | ast.FormattedValue):
        return _words(node.value)
    if isinstance(node, ast.ListComp | ast.GeneratorExp | ast.SetComp):
        return _words(node.elt)
    if isinstance(node, ast.JoinedStr):
        return " ".join(word for part in node.values if (word := _words(part)))
    return ""


def _of_call(node):
    name = _words(node.func)
    first = _words(node.args[0]) if node.args else ""
    if name == "counted" and len(node.args) == 2:
        noun = node.args[1]
        return "{number} " + (f"{noun.value}s" if isinstance(noun, ast.Constant) else named(noun))
    if name == "len":
        return f"number of {first}"
    if name in ("join", "first_few", "str", "repr", "float", "int", "sorted", "round", "abs", "sum", "max", "min"):
        return first
    if isinstance(node.func, ast.Attribute) and not node.args:
        return f"{_words(node.func.value)} {name}" if name in ("date",) else _words(node.func.value)
    return name.strip("_")
