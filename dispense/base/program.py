"""The text of the program and what it rests on, as one hash: two that are alike give the same digits."""

from __future__ import annotations

import hashlib
import os
import sys
from functools import cache
from importlib.util import find_spec
from pathlib import Path

LIBRARIES = ("numpy", "scipy")  # what the digits of a result rest on, beside Python and our own text
_KINDS = (".py", ".csv")


@cache
def program_hash(*folders: Path) -> bytes | None:
    """The hash of all text in some folders of the package, with the versions of Python, numpy and scipy.

    None where some of it cannot be read: then nothing can be said to be alike.
    """
    digest = hashlib.sha256(sys.version.encode())
    if hasattr(os, "uname"):
        digest.update(os.uname().machine.encode())
    try:
        for library in LIBRARIES:
            found = find_spec(library)
            if found is None or found.origin is None:
                return None
            digest.update(Path(found.origin).with_name("version.py").read_bytes())
        for place in sorted(set(folders)):
            names = sorted(path for path in place.rglob("*") if path.suffix in _KINDS)
            if not names:
                return None
            for path in names:
                text = path.read_bytes()
                digest.update(f"{path.relative_to(place.parent)} {len(text)}:".encode() + text)
    except (OSError, ValueError):
        return None
    return digest.digest()


def whole_program() -> bytes | None:
    """The hash of the whole package."""
    return program_hash(Path(__file__).resolve().parents[1])


__all__ = ["program_hash", "whole_program"]
