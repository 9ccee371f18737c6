"""Whether a workbook is open in a spreadsheet: the lock file that it leaves beside what it has open."""

from __future__ import annotations

import os
from pathlib import Path

from ..base.errors import FileError, Problem


def lock_of(path: str | os.PathLike[str]) -> tuple[Path, str] | None:
    """The lock file beside a workbook and who holds it ("" where it does not say); None where none is.

    LibreOffice writes `.~lock.plan.xlsx#`, a line whose second field is the user; Excel `~$plan.xlsx`, a
    length and the name (both as seen in files that they left, no published source).
    """
    file = Path(path)
    for lock, reader in (
        (file.with_name(f".~lock.{file.name}#"), _of_libreoffice),
        (file.with_name(f"~${file.name}"), _of_excel),
    ):
        if not os.path.isfile(lock):  # a name that no disk takes is no file
            continue
        try:
            return lock, reader(lock.read_bytes())
        except OSError:  # Excel keeps it shut to others
            return lock, ""
    return None


def _of_libreoffice(data: bytes) -> str:
    fields = data.decode("utf-8", "replace").split(",")
    return next((text.strip() for text in fields[:3] if text.strip()), "")


def _of_excel(data: bytes) -> str:
    return data[1 : 1 + data[0]].decode("latin-1").strip() if data else ""


def refuse_open(path: str | os.PathLike[str]) -> None:
    """Raise FileError where a workbook is open: what is on the screen may not be what its file says."""
    found = lock_of(path)
    if found is None:
        return
    lock, user = found
    raise FileError(
        Problem(
            os.fspath(path),
            message=f"is open in a spreadsheet{f' ({user})' if user else ''}: what was typed there and not "
            "saved does not count here",
            fix=f"save it and go on with --saved, which reads the file as it was saved; where it is not open "
            f"any more, {lock.name} was left behind",
        )
    )


def refuse_locked(path: str | os.PathLike[str]) -> None:
    """Raise FileError where a file to be written is open: its window would go on showing the old figures."""
    found = lock_of(path)
    if found is None:
        return
    lock, user = found
    raise FileError(
        Problem(
            os.fspath(path),
            message=f"is open in a spreadsheet{f' ({user})' if user else ''} and is left as it is",
            fix=f"close it there and run this again; where it is not open any more, remove {lock.name}",
        )
    )


__all__ = ["lock_of", "refuse_locked", "refuse_open"]
