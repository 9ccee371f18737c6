"""What a folder offers under its own name, loaded on first use so that importing it stays quick."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def offer(package: str, names: Mapping[str, str]) -> Callable[[str], Any]:
    """The `__getattr__` of a package that offers `names`, each with the module that holds it.

    A name that is called otherwise in its module is given as "module:name".

    >>> offer("dispense", {"read_plan": "plan.read:load_plan"})("read_plan").__name__
    'load_plan'
    """

    def look_up(name: str) -> Any:
        if name not in names:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        module, _, other = names[name].partition(":")
        return getattr(import_module(f".{module}", package), other or name)

    return look_up


__all__ = ["offer"]
