"""Planner for adhesive, sealant, thermal paste and potting compound put onto parts at a takt."""

from __future__ import annotations

__version__ = "0.1.0"

# What the top level offers, loaded on first use so that importing the package stays quick.
_OFFERED = {
    "call": "registry",
    "evaluate": "registry",
    "lookup": "registry",
    "FUNCTIONS": "functions",
    "DispenseError": "errors",
    "InputError": "errors",
}

__all__ = ["__version__", *_OFFERED]


def __getattr__(name: str):
    if name in _OFFERED:
        from importlib import import_module

        return getattr(import_module(f".{_OFFERED[name]}", __name__), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
