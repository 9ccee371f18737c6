"""Runs that nobody watches: what went in and came out, and sheets that no longer hold.

The manifest of a folder says which inputs, by their fingerprints, gave which files; it holds no time of
day, so that a run without a change writes the same bytes. How long each run took goes to a log, a line a
run, where one is asked for.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import re
import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from .. import __version__
from ..base.errors import FileError, Problem
from ..base.findings import Finding
from ..base.printed import listed
from ..base.workers import Stopped
from ..plan.sources import Sources, file_of, shown_source
from ..sheets.catalogue import SPECS
from ..xlsx.opened import refuse_locked
from ..xlsx.typed import foreign, kind_at
from ..xlsx.write import atomic_write, clean, make_folder, refuse_overwrite

MANIFEST = "manifest.json"
SUPERSEDED = "superseded"
MAKER = "dispense"
SHORT = 8  # digits of a fingerprint that tell two inputs apart on paper
_DAY = re.compile(r"(\d{4}-\d\d-\d\d)_(.+)")
_COPY = re.compile(r".*_filled_in_\d+$")  # what people filled in, kept beside its sheet


@dataclass(frozen=True, slots=True)
class Input:
    """Something that was read: what it is called, and the fingerprint of its bytes."""

    role: str
    name: str
    fingerprint: str
    changed: float = 0.0  # s since 1970


def inputs_of(
    plan: str | os.PathLike[str],
    sources: Sources,
    templates: Iterable[Path] = (),
    releases: Path | None = None,
) -> list[Input]:
    """Plan, sources, a plant's own templates and the list of what was released, each with its fingerprint.

    A database or a data frame has none: what was read of it cannot be had again.
    """
    found = [input_of("plan", Path(plan))]
    for table, source in sources.given.items():
        path = file_of(source)
        if path is None:
            found.append(Input(table.lower(), shown_source(source), ""))
        else:
            one = input_of(table.lower(), path)
            found.append(Input(one.role, Path(shown_source(source)).name, one.fingerprint, one.changed))
    found += [input_of("template", path) for path in templates]
    return found if releases is None else [*found, input_of("releases", releases)]


def input_of(role: str, path: Path) -> Input:
    """A file that is read, with its fingerprint."""
    try:
        return Input(role, path.name, fingerprint(path), path.stat().st_mtime)
    except OSError as error:
        raise FileError(Problem(str(path), message=f"cannot be read: {error.strerror}")) from error


def fingerprint(path: Path) -> str:
    """SHA-256 of a file."""
    return sha256(path.read_bytes()).hexdigest()


def stamp_of(inputs: Sequence[Input]) -> str:
    """What is printed as the stamp: when the newest input was saved, and by what all are told apart.

    No change of the inputs, no change of a byte of the sheets.
    """
    newest = datetime.datetime.fromtimestamp(max(one.changed for one in inputs))
    together = sha256("\n".join(one.fingerprint for one in inputs).encode()).hexdigest()
    return f"{newest:%Y-%m-%d %H:%M} {together[:SHORT]}"


@contextlib.contextmanager
def told_when_stopped(written: Sequence[Path], asked: Sequence[str | os.PathLike[str]]) -> Iterator[None]:
    """Where the work in it is stopped (SIGTERM, Ctrl-C) say what was written by then and what was not."""
    try:
        yield
    except KeyboardInterrupt as error:
        done = {path.absolute() for path in written}
        left = [
            os.fspath(one)
            for one in asked
            if not any(path.is_relative_to(Path(one).absolute()) for path in done)
        ]
        words = f"written: {listed([str(path) for path in written])}" if written else "nothing was written"
        more = f"; not written, or not all of it: {listed(left)}" if left else ""
        raise Stopped(f"stopped: {words}{more}") from error


# ------------------------------------------------------------------------------------------ manifest


def write_manifest(
    folder: Path,
    inputs: Sequence[Input],
    asked: dict[str, Any],
    files: Iterable[Path],
    not_written: Iterable[Problem],
    superseded: Iterable[str],
    findings: Iterable[Finding],
) -> Path:
    """Say in the folder what went in and came out; files of it by their names within the folder."""
    check_manifest(folder)
    content = _manifest(folder, inputs, asked, files, not_written, superseded, findings)
    return atomic_write(folder / MANIFEST, content)


def write_manifest_file(
    path: str | os.PathLike[str],
    inputs: Sequence[Input],
    asked: dict[str, Any],
    files: Iterable[Path],
    findings: Iterable[Finding],
    forbid: Iterable[str | os.PathLike[str]] = (),
) -> Path:
    """The same for a command that fills no folder of its own: a file of any name, files beside it by name."""
    target = Path(path)
    refuse_overwrite(target, forbid)
    clean(target.parent)
    if target.exists() and not _is_manifest(target):
        raise FileError(foreign(target))
    return atomic_write(target, _manifest(target.parent, inputs, asked, files, (), (), findings))


def _within(path: Path, folder: Path) -> str:
    """A file's name as seen from a folder; the whole one where it lies elsewhere."""
    path, folder = path.absolute(), folder.absolute()
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else path.as_posix()


def _manifest(
    folder: Path,
    inputs: Sequence[Input],
    asked: dict[str, Any],
    files: Iterable[Path],
    not_written: Iterable[Problem],
    superseded: Iterable[str],
    findings: Iterable[Finding],
) -> bytes:
    named = [{"file": _within(path, folder), "sha256": fingerprint(path)} for path in files]
    content = {
        "made_by": MAKER,
        "version": __version__,
        "asked": asked,
        "inputs": [{"role": one.role, "name": one.name, "sha256": one.fingerprint or None} for one in inputs],
        "files": sorted(named, key=lambda item: item["file"]),
        "not_written": [str(problem) for problem in not_written],
        "superseded": sorted(superseded),
        "findings": [finding.as_json() for finding in findings],
    }
    return (json.dumps(content, ensure_ascii=False, indent=2, default=str) + "\n").encode()


def check_manifest(folder: Path) -> None:
    """Refuse a folder whose manifest is another program's."""
    path = folder / MANIFEST
    if path.exists() and not _is_manifest(path):
        raise FileError(foreign(path))


def _is_manifest(path: Path) -> bool:
    try:
        return bool(json.loads(path.read_bytes())["made_by"] == MAKER)
    except (OSError, ValueError, KeyError, TypeError):
        return False


def log_run(
    log: str | os.PathLike[str],
    command: str,
    begun: datetime.datetime,
    seconds: float,
    code: int,
    forbid: Iterable[str | os.PathLike[str]] = (),
    **more: Any,
) -> None:
    """Add a line of JSON to the log of runs."""
    refuse_overwrite(log, forbid)
    line = {
        "command": command,
        "begun": begun.isoformat(timespec="seconds"),
        "seconds": round(seconds, 3),
        "exit_code": code,
        "version": __version__,
        **more,
    }
    try:
        with open(log, "a", encoding="utf-8") as stream:
            stream.write(json.dumps(line, ensure_ascii=False) + "\n")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError(Problem(str(log), message=f"cannot be written: {reason}")) from error


# ------------------------------------------------------------------------------------------ superseded


@dataclass(slots=True)
class Moved:
    """Sheets that were moved away, by their names in the folder, and those that could not be."""

    names: list[str] = field(default_factory=list)
    left: list[Problem] = field(default_factory=list)


def supersede(
    folder: Path, wanted: Iterable[Path], is_covered: Callable[[datetime.date | None, str, str], bool]
) -> Moved:
    """Move sheets of the run's period that it no longer asks for into `superseded/`.

    `wanted` are the files of this run; `is_covered` says of a day (None for setup cards), a shift and a
    station's part of a file name whether the run speaks for them. Only what this program wrote is moved;
    what people filled in and was kept beside its sheet stays.
    """
    kept, moved = set(wanted), Moved()
    if not os.path.isdir(folder):
        return moved
    for home in sorted(path for path in folder.iterdir() if path.is_dir() and path.name != SUPERSEDED):
        match = _DAY.fullmatch(home.name)
        try:
            day = datetime.date.fromisoformat(match[1]) if match else None
        except ValueError:
            continue
        if match is None and home.name != "setup":
            continue
        for path in sorted(home.glob("*.xlsx")):
            if path in kept or _COPY.fullmatch(path.stem) or kind_at(path) not in SPECS:
                continue
            if is_covered(day, match[2] if match else "", path.stem):
                _move(folder, path, moved)
        if not any(home.iterdir()):
            home.rmdir()
    return moved


def supersede_alike(folder: Path, wanted: Iterable[Path], kind: str) -> Moved:
    """Move workbooks of a kind that a run no longer asks for into `superseded/`; kept copies stay."""
    kept, moved = set(wanted), Moved()
    for path in sorted(folder.glob("*.xlsx")):
        if path not in kept and not _COPY.fullmatch(path.stem) and kind_at(path) == kind:
            _move(folder, path, moved)
    return moved


def _move(folder: Path, path: Path, moved: Moved) -> None:
    name = path.relative_to(folder)
    target, number = folder / SUPERSEDED / name, 1
    while target.exists():
        number += 1
        target = (folder / SUPERSEDED / name).with_stem(f"{path.stem}_{number}")
    try:
        refuse_locked(path)
        make_folder(target.parent)
        shutil.move(path, target)
    except (OSError, FileError) as error:
        told = error.problems[0].message if isinstance(error, FileError) else None
        reason = told or getattr(error, "strerror", None) or error
        moved.left.append(
            Problem(
                str(path),
                message=f"no longer holds and cannot be moved to {SUPERSEDED}: {reason}",
                fix="close it and move it yourself",
            )
        )
    else:
        moved.names.append(name.as_posix())


__all__ = [
    "MANIFEST",
    "SUPERSEDED",
    "Input",
    "Moved",
    "check_manifest",
    "inputs_of",
    "log_run",
    "stamp_of",
    "supersede",
    "supersede_alike",
    "told_when_stopped",
    "write_manifest",
    "write_manifest_file",
]
