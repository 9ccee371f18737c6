"""The add-in for LibreOffice Calc: one extension file, made from the registry by plain Python.

build(out)        write the .oxt
install()         build it for the LibreOffice found here and add it, for the user or for all
uninstall()       take it away again
status()          what is installed, in which interpreter it runs and what that lacks
"""

from __future__ import annotations

from ...base.offer import offer

_OFFERED = {
    "build": "builder",
    "install": "office",
    "uninstall": "office",
    "status": "office",
    "find_office": "office",
}

__all__ = list(_OFFERED)
__getattr__ = offer(__name__, _OFFERED)
