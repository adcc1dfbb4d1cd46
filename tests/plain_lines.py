"""How easy lines are to read, in nodes of Python's syntax tree: `python -m tests.plain_lines planner/sizing`.

A simple statement is an assignment, a call, a return, a raise or an assert; texts such as docstrings are none.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_SIMPLE = (ast.Assign, ast.AnnAssign, ast.AugAssign, ast.Expr, ast.Return, ast.Raise, ast.Assert)
_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True)
class Line:
    """A statement with the number of its nodes."""

    where: str
    nodes: int


@dataclass(frozen=True)
class Figures:
    """What was measured of some files."""

    lines: list[Line]
    nodes: int  # of whole trees, all kinds
    long_files: list[Line]  # above 300 lines
    long_functions: list[Line]  # above 40 lines of body
    wide_functions: list[Line]  # above six parameters

    def percentile(self, percent: float) -> float:
        """Return the nodes that so many percent of the statements do not exceed."""
        return float(np.percentile([line.nodes for line in self.lines], percent))


def measure(paths: Sequence[Path]) -> Figures:
    """Return the figures of all Python files in ``paths``."""
    files = sorted(file for path in paths for file in (path.rglob("*.py") if path.is_dir() else [path]))
    found = Figures([], sum(1 for file in files for _ in ast.walk(ast.parse(file.read_text()))), [], [], [])
    for file in files:
        text = file.read_text()
        if (length := text.count("\n")) > 300:
            found.long_files.append(Line(str(file), length))
        for node in ast.walk(ast.parse(text)):
            where = f"{file}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, _SIMPLE) and not _is_text(node):
                found.lines.append(Line(where, sum(1 for _ in ast.walk(node))))
            if isinstance(node, _FUNCTIONS):
                _function(node, where, found)
    return found


def _function(node: ast.FunctionDef | ast.AsyncFunctionDef, where: str, found: Figures) -> None:
    body = node.body[1:] if _is_text(node.body[0]) else node.body
    length = 0 if not body else (node.end_lineno or 0) - body[0].lineno + 1
    if length > 40:
        found.long_functions.append(Line(f"{where} {node.name}", length))
    arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    width = len([one for one in arguments if one.arg not in ("self", "cls")])
    if width > 6:
        found.wide_functions.append(Line(f"{where} {node.name}", width))


def _is_text(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


def main(arguments: Sequence[str]) -> None:
    """Print the figures of the paths that are named, and the worst lines."""
    figures = measure([Path(name) for name in arguments or ["planner/sizing"]])
    parts = ", ".join(f"{percent}: {figures.percentile(percent):.0f}" for percent in (50, 75, 90, 95, 99))
    print(f"{figures.nodes:,} nodes; {len(figures.lines):,} simple statements; their nodes by percentile: {parts}")
    for name, lines in (
        ("files above 300 lines", figures.long_files),
        ("functions above 40 lines", figures.long_functions),
        ("functions above six parameters", figures.wide_functions),
        ("longest statements", sorted(figures.lines, key=lambda line: -line.nodes)[:15]),
    ):
        print(f"{name}: {len(lines)}")
        for line in lines:
            print(f"  {line.nodes:5d}  {line.where}")


if __name__ == "__main__":
    main(sys.argv[1:])
