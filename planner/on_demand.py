"""Names of a package that are loaded when they are first asked for, so that a command waits only for what it uses."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from types import ModuleType
from typing import Any


class _Package(ModuleType):
    """A package whose names stay those of functions when the modules of the same name are loaded."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in self._HOMES and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


def on_demand(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """Return the ``__getattr__`` of ``package``; its ``_HOMES``, here ``homes``, tell the module that has each name.

    Raises AttributeError for a name that is not among them.
    """
    sys.modules[package].__class__ = _Package

    def find(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        found = getattr(import_module(f"{package}.{homes[name]}"), name)
        setattr(sys.modules[package], name, found)
        return found

    return find
