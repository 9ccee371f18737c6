"""Files written whole or not at all.

A reader of the target sees the old file or the new one, never a half. The new bytes go to a
temporary file in the same folder, are flushed to the disk, and take the target's name in one step.
"""

from __future__ import annotations

import contextlib
import errno
import os
import platform
import shutil
import tempfile
import time
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from dispense.base.errors import FileError, Problem
from dispense.xlsx.opened import refuse_locked

__all__ = [
    "atomic_write",
    "atomic_write_all",
    "clean",
    "make_folder",
    "refuse_overwrite",
    "scratch",
    "temporary_name",
]

_PREFIX, _SUFFIX = ".dispense-", ".tmp"
LEFT_OVER = 86400.0  # s after which nobody still writes a temporary file; common practice, no source

Content = bytes | Callable[[BinaryIO], object]

_REASONS = {
    errno.ENOSPC: ("the disk is full", "free some space; the old file is untouched"),
    errno.EDQUOT: ("the disk quota is used up", "free some space; the old file is untouched"),
    errno.EROFS: ("the disk is read-only", "choose another folder"),
    errno.ENAMETOOLONG: ("the name is too long", "use a shorter file name"),
    errno.ENOENT: ("the folder does not exist", "make the folder first"),
    errno.ENOTDIR: ("the folder is a file", "choose another folder"),
    errno.EFBIG: ("a file of this size is not allowed here", "choose another folder"),
    errno.EISDIR: ("a folder has this name", "choose another file name"),
    errno.EACCES: (
        "not allowed to write here",
        "close the file if it is open in a spreadsheet, or choose another folder",
    ),
}
_REASONS[errno.EPERM] = _REASONS[errno.EBUSY] = _REASONS[errno.EACCES]
_REASONS[errno.ETXTBSY] = _REASONS[errno.EACCES]


def _failure(path: Path, error: OSError | ValueError) -> FileError:
    if isinstance(error, FileExistsError):
        return FileError(
            Problem(str(path), message="is there already and is not written over", fix="choose another name")
        )
    number = error.errno if isinstance(error, OSError) else None
    known = _REASONS.get(number) if number is not None else None
    if known is None:
        reason = error.strerror if isinstance(error, OSError) else None
        known = (reason or str(error), "")
    return FileError(Problem(str(path), message=f"cannot be written: {known[0]}", fix=known[1]))


def _status(path: Path) -> os.stat_result | None:
    """What a path leads to; None where nothing is there, or where that cannot be seen."""
    with contextlib.suppress(OSError, ValueError):
        return os.stat(path)
    return None


def _same_file(one: Path, found: os.stat_result | None, other: Path) -> bool:
    also = _status(other)
    if found is not None and also is not None:
        return os.path.samestat(found, also)
    if found is not also:  # one is there and the other not
        return False
    return os.path.normcase(os.path.realpath(one)) == os.path.normcase(os.path.realpath(other))


def refuse_overwrite(path: str | os.PathLike[str], forbid: Iterable[str | os.PathLike[str]]) -> None:
    """Raise `FileError` when `path` is open in a spreadsheet or one of the `forbid` files, also by a link."""
    target = Path(path)
    refuse_locked(target)
    found = _status(target)
    for given in forbid:
        if _same_file(target, found, Path(given)):
            raise FileError(
                Problem(
                    str(target),
                    message=f"is the input {Path(given)}; an input is never written over",
                    fix="choose another output name",
                )
            )


def atomic_write(
    path: str | os.PathLike[str],
    content: Content,
    *,
    forbid: Iterable[str | os.PathLike[str]] = (),
    new: bool = False,
) -> Path:
    """Write `content` to `path` in one step and return the path.

    `content` is the bytes, or a callable given the open binary file. `forbid` lists the inputs that
    must not be written over; with `new` no file is. Where anything fails the old file stands and no
    temporary is left.
    """
    target = Path(path)
    refuse_overwrite(target, forbid)
    try:
        if new and os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
        real = Path(os.path.realpath(target))
        if real.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        temporary = _write_temporary(real, content)
        try:
            if new:
                _put_new(temporary, real)
            else:
                os.replace(temporary, real)
        except BaseException:
            _discard(temporary)
            raise
        _sync_folder(real.parent)
    except (OSError, ValueError) as error:
        raise _failure(target, error) from error
    return target


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, unless it is there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError(Problem(str(folder), message=f"this folder cannot be made: {reason}")) from error


def clean(folder: Path) -> None:
    """Remove what a run that was killed has left half written in a folder.

    The name of a temporary file says which process of which machine writes it: it goes where that process
    is no more, and in any case after a day.
    """
    for path in folder.glob(f"{_PREFIX}*{_SUFFIX}"):
        with contextlib.suppress(OSError, ValueError):
            _, machine, process, _ = path.name.split("-", 3)
            is_over = machine == _machine() and not _runs(int(process))
            if not is_over and path.lstat().st_mtime >= time.time() - LEFT_OVER:
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            elif path.is_file():
                path.unlink()


def temporary_name(what: str = "") -> str:
    """How the name of a temporary file of this process begins, so that `clean` knows whose it is."""
    return f"{_PREFIX}{_machine()}-{os.getpid()}-{what}"


@contextlib.contextmanager
def scratch() -> Iterator[Path]:
    """A folder for files on the way, gone afterwards; what a kill has left of one goes with the next."""
    clean(Path(tempfile.gettempdir()))
    with tempfile.TemporaryDirectory(prefix=temporary_name(), suffix=_SUFFIX) as folder:
        yield Path(folder)


def _machine() -> str:
    """This machine in a few characters, for names of temporary files."""
    return f"{zlib.crc32(platform.node().encode()):08x}"


def _runs(process: int) -> bool:
    """Whether a process of this machine is at work; where that cannot be asked it may be."""
    if os.name != "posix" or process <= 0:
        return True
    try:
        os.kill(process, 0)  # asks only: no signal is sent
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def atomic_write_all(
    files: Mapping[str | os.PathLike[str], Content], *, forbid: Iterable[str | os.PathLike[str]] = ()
) -> list[Path]:
    """Write several files; none is put in place until all of them are safely on the disk."""
    forbidden = list(forbid)
    targets = [Path(path) for path in files]
    for target in targets:
        refuse_overwrite(target, forbidden)
    ready: list[tuple[str, Path]] = []
    target = Path()
    try:
        for target, content in zip(targets, files.values(), strict=True):
            real = Path(os.path.realpath(target))
            if real.is_dir():
                raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
            ready.append((_write_temporary(real, content), real))
        while ready:
            target = targets[-len(ready)]
            temporary, real = ready[0]
            os.replace(temporary, real)
            del ready[0]
            _sync_folder(real.parent)
    except (OSError, ValueError) as error:
        raise _failure(target, error) from error
    finally:
        for temporary, _ in ready:
            _discard(temporary)
    return targets


def _write_temporary(real: Path, content: Content) -> str:
    """The bytes on the disk under a temporary name beside the target, with its permissions."""
    _check_name(real)
    handle, temporary = tempfile.mkstemp(prefix=temporary_name(), suffix=_SUFFIX, dir=real.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            if callable(content):
                content(stream)
            else:
                stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        _set_mode(temporary, real)
    except BaseException:
        _discard(temporary)
        raise
    return temporary


def _check_name(real: Path) -> None:
    """Fail on a name the folder cannot hold before any byte is written."""
    with contextlib.suppress(FileNotFoundError):
        os.lstat(real)
    if not real.parent.is_dir():
        number = errno.ENOTDIR if real.parent.exists() else errno.ENOENT
        raise OSError(number, os.strerror(number))
    if real.exists() and not os.access(real, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


def _set_mode(temporary: str, real: Path) -> None:
    """Give the new file the old one's permissions, or those of an ordinary new file."""
    try:
        mode = os.stat(real).st_mode & 0o777
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        mode = 0o666 & ~mask
    with contextlib.suppress(OSError):
        os.chmod(temporary, mode)


def _put_new(temporary: str, real: Path) -> None:
    """Give the file its name unless another took it meanwhile."""
    try:
        os.link(temporary, real)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links
        if os.path.lexists(real):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST)) from None
        os.replace(temporary, real)
    else:
        _discard(temporary)


def _discard(temporary: str) -> None:
    with contextlib.suppress(OSError):
        os.unlink(temporary)


def _sync_folder(folder: Path) -> None:
    """Make the new name last through a power cut where the system lets a folder be synced."""
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
