"""pandas as it is where pyarrow is not installed: loading both takes a command twice as long, and none of ours uses it.

That is for processes of our own. Where castingvote is used from Python, pandas is loaded as its user has it.
"""

from __future__ import annotations

import sys
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from types import ModuleType
from typing import Any

_PANDAS, _ARROW = "pandas", "pyarrow"


class _WithoutArrow(MetaPathFinder):
    """Finds pandas once, and hides pyarrow while it is loaded."""

    def find_spec(self, fullname: str, _path: Any = None, _target: ModuleType | None = None) -> ModuleSpec | None:
        if fullname != _PANDAS:
            return None
        sys.meta_path.remove(self)
        found = PathFinder.find_spec(fullname)
        if found is not None and found.loader is not None:
            load = found.loader.exec_module

            def alone(module: ModuleType) -> None:
                sys.modules[_ARROW] = None  # type: ignore[assignment]  # as Python notes what cannot be imported
                try:
                    load(module)
                finally:
                    del sys.modules[_ARROW]

            found.loader.exec_module = alone  # type: ignore[method-assign]
        return found


def load_pandas_without_arrow() -> None:
    """Let the first import of pandas in this process go without pyarrow, unless either is loaded already."""
    if not {_PANDAS, _ARROW} & sys.modules.keys():
        sys.meta_path.insert(0, _WithoutArrow())
