"""The add-in for LibreOffice Calc: one extension file, made from the registry by plain Python.

build(out)        write the .oxt
install()         build it for the LibreOffice found here and add it, for the user or for all
uninstall()       take it away again
status()          what is installed, in which interpreter it runs and what that lacks
"""

from __future__ import annotations

_OFFERED = {
    "build": "builder",
    "install": "office",
    "uninstall": "office",
    "status": "office",
    "find_office": "office",
}

__all__ = list(_OFFERED)


def __getattr__(name: str):
    if name in _OFFERED:
        from importlib import import_module

        return getattr(import_module(f".{_OFFERED[name]}", __name__), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
