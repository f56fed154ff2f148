"""A package's public names are there at once; what they need is loaded when one is asked for.

A package lists what it offers in imports that only type checkers follow. Whoever takes one name of it then loads the
module that holds the name, and not the whole room.
"""

import ast
import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

__all__ = ["on_demand"]


def on_demand(package: str) -> None:
    """Let a package load what it offers, the imports below its ``if TYPE_CHECKING``, when it is asked for.

    Args:
        package: its name.
    """
    sys.modules[package].__class__ = _Package


class _Package(ModuleType):
    """A package that knows which module each public name comes from."""

    __all__: list[str]

    def __getattr__(self, name: str) -> Any:
        module = _modules_of(self).get(name)
        if module is None:
            message = f"module {self.__name__!r} has no attribute {name!r}"
            raise AttributeError(message)
        value = getattr(import_module(module), name)
        setattr(self, name, value)
        return value

    def __setattr__(self, name: str, value: Any) -> None:
        """As ever, but a module that is loaded doesn't hide the public name that is spelt like it."""
        if not (isinstance(value, ModuleType) and name in self.__all__):
            super().__setattr__(name, value)


def _modules_of(package: ModuleType) -> dict[str, str]:
    if "_modules" not in vars(package):
        package._modules = _modules_in(package.__name__)  # type: ignore[attr-defined]  # noqa: SLF001
    modules: dict[str, str] = vars(package)["_modules"]
    return modules


def _modules_in(package: str) -> dict[str, str]:
    spec = find_spec(package)
    source = spec.loader.get_source(package) if spec else ""  # type: ignore[union-attr]
    return {
        alias.name: node.module
        for block in ast.parse(source).body
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.module
        for alias in node.names
    }
