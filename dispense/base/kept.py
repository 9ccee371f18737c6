"""Answers of long calculations, kept on the disk from one run of a command to the next.

An answer lies under the hash of all that it follows from: every argument to its last digit, the text of
every file that the calculation may draw on, and the versions of Python, numpy and scipy. Whatever changes
there asks for another file, so that no answer is ever out of date; one that was damaged fails its own hash
and is worked out anew. A library keeps nothing: a command says for how long, with `keeping`.

Only what lies below `handbook` may be kept, and of it only functions of numbers and records: those of its
modules import `handbook` and `base` and nothing else of the package, whose files are therefore all the text
that counts.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import pickle
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import numpy as np

from .errors import InputError
from .program import program_hash

VARIABLE = "DISPENSE_KEPT"  # a folder to keep answers in, or "off"
MOST_BYTES = 64_000_000  # in the folder; the answers longest unused go first
ENDING = ".answer"
_HASH = 32  # bytes of SHA-256
_OTHERS_MAY_WRITE = 0o022
_SECRET = 0o700
_OWN_PACKAGE = __name__.partition(".")[0]
_FROM_NUMPY = {
    ("numpy", "ndarray"),
    ("numpy", "dtype"),
    ("numpy._core.multiarray", "_reconstruct"),
    ("numpy._core.multiarray", "scalar"),
    ("numpy._core.numeric", "_frombuffer"),
    ("numpy.core.multiarray", "_reconstruct"),
    ("numpy.core.multiarray", "scalar"),
    ("numpy.core.numeric", "_frombuffer"),
}

_Given = ParamSpec("_Given")
_Answer = TypeVar("_Answer")
_folders: list[Path | None] = [None]  # the last is used


def home_folder() -> Path | None:
    """Where commands keep answers: as `DISPENSE_KEPT` says, else with what other programs keep of a user."""
    given = os.environ.get(VARIABLE, "")
    if given.casefold() in ("off", "0", "no"):
        return None
    if given:
        return Path(given)
    for variable in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        if os.environ.get(variable):
            return Path(os.environ[variable]) / _OWN_PACKAGE
    with contextlib.suppress(RuntimeError):  # a user without a home
        return Path.home() / ".cache" / _OWN_PACKAGE
    return None


@contextlib.contextmanager
def keeping(folder: Path | None) -> Iterator[None]:
    """Keep answers in a folder meanwhile; None keeps none. A folder that others may write to is not used."""
    _folders.append(folder if folder is not None and _is_own(folder) else None)
    try:
        yield
    finally:
        _folders.pop()


def _is_own(folder: Path) -> bool:
    """Whether a folder is there, or can be made, and is this user's alone to write to."""
    try:
        folder.mkdir(mode=_SECRET, parents=True, exist_ok=True)
        state = folder.stat()
    except OSError:
        return False
    if os.name != "posix":
        return True
    return state.st_uid == os.getuid() and not state.st_mode & _OTHERS_MAY_WRITE


def kept(function: Callable[_Given, _Answer]) -> Callable[_Given, _Answer]:
    """The same function, whose answers are kept while a command says so.

    It must follow from its arguments and its text alone. Arguments may be numbers, texts, arrays and records
    of them; with others it is worked out. Of its errors an `InputError` is kept.
    """

    @wraps(function)
    def answered(*given: _Given.args, **named: _Given.kwargs) -> _Answer:
        folder = _folders[-1]
        place = None if folder is None else _place(folder, function, given, named)
        if place is None:
            return function(*given, **named)
        found = _read(place)
        if found is None:
            try:
                answer = function(*given, **named)
            except InputError as error:
                _write(place, (False, error.problems))
                raise
            _write(place, (True, answer))
            return answer
        good, read = found
        if not good:
            raise InputError(read)
        known: _Answer = read
        return known

    return answered


# ------------------------------------------------------------------------------------ what is asked


def _place(
    folder: Path, function: Callable[..., Any], given: tuple[Any, ...], named: dict[str, Any]
) -> Path | None:
    """The file of an answer; None where the question cannot be spelled or the program not be read."""
    program = program_hash(Path(function.__code__.co_filename).parent, Path(__file__).parent)
    if program is None:
        return None
    digest = hashlib.sha256(program)
    digest.update(f"{function.__module__}.{function.__qualname__}".encode())
    try:
        for part in (given, tuple(sorted(named.items()))):
            for piece in _spelled(part):
                digest.update(piece)
    except TypeError:
        return None
    return folder / f"{digest.hexdigest()}{ENDING}"


def _spelled(value: Any) -> Iterator[bytes]:
    """A value to its last digit, with its kind: no two values are spelled alike.

    >>> b"".join(_spelled((1, 1.0, "a", None)))
    b'(tuple 4:int 1;float 0x1.0000000000000p+0;str 1:a;None;'
    """
    if value is None or isinstance(value, bool):
        yield f"{value};".encode()
    elif type(value) is int:
        yield f"int {value};".encode()
    elif type(value) is float:
        yield f"float {value.hex()};".encode()
    elif type(value) is str:
        text = value.encode("utf-8", "surrogatepass")
        yield b"str %d:%b;" % (len(text), text)
    elif isinstance(value, np.ndarray | np.generic) and value.dtype.kind in "biuf":
        yield f"{value.dtype.str} {value.shape}:".encode() + value.tobytes() + b";"
    elif isinstance(value, tuple | list):
        yield f"({_kind(value)} {len(value)}:".encode()
        for item in value:
            yield from _spelled(item)
    elif is_dataclass(value) and not isinstance(value, type):
        yield f"({_kind(value)}:".encode()
        for item in fields(value):
            yield from _spelled(getattr(value, item.name))
        yield b")"
    else:
        raise TypeError(f"a {type(value).__name__} is not kept")


def _kind(value: object) -> str:
    kind = type(value)
    return kind.__name__ if kind in (tuple, list) else f"{kind.__module__}.{kind.__qualname__}"


# -------------------------------------------------------------------------------------- the files


class _Reader(pickle.Unpickler):
    """Reads numbers, texts, arrays and records of this package; nothing else is made or called."""

    def find_class(self, module: str, name: str) -> Any:
        """A record's class, or what numpy needs to make an array."""
        if (module, name) in _FROM_NUMPY:
            return super().find_class(module, name)
        if module.partition(".")[0] == _OWN_PACKAGE:
            found = super().find_class(module, name)
            if isinstance(found, type) and (is_dataclass(found) or issubclass(found, tuple)):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is no record")


def _read(place: Path) -> tuple[bool, Any] | None:
    """What a file holds: whether there is an answer, and the answer or the problems. None where it is not
    there or not as it was written."""
    try:
        data = place.read_bytes()
        if hashlib.sha256(data[_HASH:]).digest() != data[:_HASH]:
            return None
        good, answer = _Reader(io.BytesIO(data[_HASH:])).load()
        with contextlib.suppress(OSError):
            os.utime(place)  # used: it stays longer
        return bool(good), answer
    except FileNotFoundError:
        return None
    except Exception:  # a file of another's making: the answer is worked out
        return None


def _write(place: Path, found: tuple[bool, Any]) -> None:
    """Keep an answer, whole or not at all; where that cannot be, nothing is kept."""
    with contextlib.suppress(OSError, pickle.PicklingError, TypeError, AttributeError):
        body = pickle.dumps(found, protocol=5)
        handle, name = tempfile.mkstemp(prefix=".", suffix=ENDING, dir=place.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(hashlib.sha256(body).digest() + body)
            os.replace(name, place)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise
        _make_room(place.parent)


def _make_room(folder: Path) -> None:
    """Remove the answers longest unused, so that the folder stays within `MOST_BYTES`."""
    files = []
    for entry in os.scandir(folder):
        if entry.name.endswith(ENDING):
            with contextlib.suppress(OSError):
                state = entry.stat()
                files.append((state.st_mtime, state.st_size, entry.path))
    too_much = sum(size for _, size, _ in files) - MOST_BYTES
    for _, size, path in sorted(files):
        if too_much <= 0:
            return
        with contextlib.suppress(OSError):
            os.unlink(path)
        too_much -= size


__all__ = ["VARIABLE", "home_folder", "kept", "keeping"]
