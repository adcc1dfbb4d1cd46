"""Libraries as they are without the parts that take long to load and that no command of ours uses, or few do.

That is for processes of our own. Where castingvote is used from Python, libraries are loaded as their user has them.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from types import ModuleType
from typing import Any

_ARROW = "pyarrow"


class _Lean(MetaPathFinder):
    """Finds each of the modules below once, and has it loaded by the function beside its name."""

    def __init__(self) -> None:
        self._left = {
            "numpy._core._add_newdocs": _not_at_all,
            "pandas": _without_arrow,
            "openpyxl.styles.builtins": _styles_when_asked,
            "PIL.Image": _when_asked,
        }

    def find_spec(self, fullname: str, path: Any = None, _target: ModuleType | None = None) -> ModuleSpec | None:
        load_by = self._left.pop(fullname, None)
        if load_by is None:
            return None
        if not self._left:
            sys.meta_path.remove(self)
        found = PathFinder.find_spec(fullname, path)
        if found is not None and found.loader is not None:
            load_by(found)
        return found


def _loaded_by(found: ModuleSpec, load: Callable[[ModuleType], None]) -> None:
    found.loader.exec_module = load  # type: ignore[union-attr, method-assign]


def _without_arrow(found: ModuleSpec) -> None:
    """Load pandas as where pyarrow is not installed: loading both takes a command twice as long."""
    load = found.loader.exec_module  # type: ignore[union-attr]

    def alone(module: ModuleType) -> None:
        sys.modules[_ARROW] = None  # type: ignore[assignment]  # as Python notes what cannot be imported
        try:
            load(module)
        finally:
            del sys.modules[_ARROW]

    _loaded_by(found, alone)


def _not_at_all(found: ModuleSpec) -> None:
    """Leave out what NumPy's compiled functions say of themselves to readers of their documentation."""
    _loaded_by(found, lambda _module: None)


class _Styles(Mapping[str, Any]):
    """The styles that every spreadsheet program has, read from their XML when the first of them is asked for."""

    def __init__(self, load: Callable[[ModuleType], None], name: str) -> None:
        self._load, self._name = load, name
        self._known: dict[str, Any] | None = None

    def _all(self) -> dict[str, Any]:
        if self._known is None:
            module = ModuleType(self._name)
            module.__package__ = self._name.rpartition(".")[0]
            self._load(module)
            self._known = module.styles
        return self._known

    def __getitem__(self, name: str) -> Any:
        return self._all()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._all())


def _styles_when_asked(found: ModuleSpec) -> None:
    """Leave openpyxl's own styles until a workbook is read that has no other: ours has styles of its own."""
    load = found.loader.exec_module  # type: ignore[union-attr]

    def fill(module: ModuleType) -> None:
        module.styles = _Styles(load, module.__name__)  # type: ignore[attr-defined]

    _loaded_by(found, fill)


def _when_asked(found: ModuleSpec) -> None:
    """Leave Pillow, which openpyxl imports, until a workbook with pictures is copied."""
    if found.loader is not None:
        found.loader = LazyLoader(found.loader)


def load_lean_libraries() -> None:
    """Let libraries be loaded in this process without those parts, and their functions be bound when they are called.

    Does nothing for a library that is loaded already.
    """
    if hasattr(sys, "setdlopenflags"):
        sys.setdlopenflags(os.RTLD_LAZY)
    if not {"pandas", _ARROW, "openpyxl", "PIL"} & sys.modules.keys():
        sys.meta_path.insert(0, _Lean())
