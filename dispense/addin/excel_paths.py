"""What on a Windows machine keeps the Excel add-in from working, and the mend of each.

`examine` is a pure function of a `Machine`, what was found there, so that each case can be tried anywhere;
`this_machine` looks.
"""

from __future__ import annotations

import os
import shutil
import struct
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path, PureWindowsPath

STORE = "windowsapps"  # the folder of the programs that only open Microsoft's shop
SHELL_SIGNS = "&^%!"  # cmd.exe reads these in a path, even in quotation marks
LONGEST_PATH = 259  # characters: MAX_PATH of Windows less its end
BITS = {"x64": 64, "x86": 32}


@dataclass(frozen=True, slots=True)
class Machine:
    """What counts of a machine: paths as Windows writes them."""

    interpreter: str  # the python.exe that Excel is to start
    startup: str  # the folder whose add-ins Excel opens, "" where there is none
    pythons: Sequence[str] = ()  # each python.exe on the PATH
    own_settings: str = ""  # the interpreter in the user's own xlwings.conf, "" where it says none
    clouds: Sequence[str] = ()  # folders of OneDrive
    code_page: str = "cp1252"  # of programs that know no Unicode, as VBA and xlwings' DLL
    excel_bits: int | None = None  # None where not found out
    python_bits: int = 64
    dlls: Sequence[str] = ()  # xlwings' DLLs by name, beside the interpreter or a folder above
    has_pywin32: bool = True


def examine(machine: Machine) -> list[str]:
    """Each thing that is in the way, with its mend."""
    return [text for look in LOOKS for text in look(machine)]


def _shop(machine: Machine) -> Iterator[str]:
    if STORE in machine.interpreter.lower():
        yield (
            f"{machine.interpreter} is the Python of Microsoft's shop, which xlwings cannot start: install "
            "Python from python.org and install the add-in from there"
        )


def _cloud(machine: Machine) -> Iterator[str]:
    for words, path in (("Python", machine.interpreter), ("Excel's start-up folder", machine.startup)):
        if "://" in path:
            yield (
                f"{words} has an address of OneDrive or SharePoint ({path}): it must be a folder of this "
                "computer"
            )
        elif any(_is_below(path, folder) for folder in machine.clouds):
            yield (
                f"{words} lies in OneDrive ({path}), which may keep its files elsewhere: "
                r"install into a folder of this computer, such as C:\Python"
            )


def _is_below(path: str, folder: str) -> bool:
    return PureWindowsPath(path.lower()).is_relative_to(PureWindowsPath(folder.lower()))


def _letters(machine: Machine) -> Iterator[str]:
    for words, path in (("Python", machine.interpreter), ("Excel's start-up folder", machine.startup)):
        try:
            path.encode(machine.code_page)
        except UnicodeEncodeError as error:
            yield (
                f'{words} has a letter in its path, "{path[error.start]}", that is not in the code page of '
                f"this Windows ({machine.code_page}): {path}. "
                r"Install Python into a folder of plain letters, such as C:\Python"
            )


def _signs(machine: Machine) -> Iterator[str]:
    signs = [sign for sign in SHELL_SIGNS if sign in machine.interpreter]
    if signs:
        yield (
            f"the path of Python has {' '.join(signs)}, which the command shell reads: "
            f"{machine.interpreter}. Blanks do no harm, these do: install Python into another folder"
        )
    if len(machine.interpreter) > LONGEST_PATH:
        yield f"the path of Python has {len(machine.interpreter)} characters, {LONGEST_PATH} are the most"


def _several(machine: Machine) -> Iterator[str]:
    own = machine.own_settings
    if own and own.lower() != machine.interpreter.lower():
        yield (
            f"xlwings' own settings file names another Python, {own}: the add-in names "
            f"{machine.interpreter}, which wins. Where the other one is meant, run dispense addin install "
            "--host excel with it"
        )
    others = [path for path in machine.pythons if path.lower() != machine.interpreter.lower()]
    if machine.interpreter.lower() in ("python", "pythonw") and len(machine.pythons) > 1:
        yield (
            f"the add-in names no python.exe and {len(machine.pythons)} are on the PATH "
            f"({', '.join(others)}): run dispense addin install --host excel with the one that has dispense"
        )


def _bits(machine: Machine) -> Iterator[str]:
    needed = f"xlwings{machine.excel_bits}"
    if machine.excel_bits is not None and not any(name.startswith(needed) for name in machine.dlls):
        yield (
            f"Excel has {machine.excel_bits} bits and beside this Python of {machine.python_bits} bits there "
            f"is no {needed}-….dll: pip install --force-reinstall xlwings; Python and Excel need not have "
            "the same bits"
        )
    if not machine.has_pywin32:
        yield "pywin32 is not installed: pip install pywin32"


LOOKS: tuple[Callable[[Machine], Iterator[str]], ...] = (_shop, _cloud, _letters, _signs, _several, _bits)


# --------------------------------------------------------------------------------------- looking


def this_machine(startup: Path | None, interpreter: str | None = None) -> Machine:
    """What is found here; `interpreter` is what the installed add-in starts."""
    program = interpreter or sys.executable
    clouds = [os.environ.get(name, "") for name in ("OneDrive", "OneDriveConsumer", "OneDriveCommercial")]
    return Machine(
        interpreter=program,
        startup="" if startup is None else str(startup),
        pythons=_pythons(),
        own_settings=_own_settings(Path.home() / ".xlwings" / "xlwings.conf"),
        clouds=[folder for folder in dict.fromkeys(clouds) if folder],
        code_page=_code_page(),
        excel_bits=_excel_bits(),
        python_bits=8 * struct.calcsize("P"),
        dlls=_dlls(Path(program)),
        has_pywin32=find_spec("win32com") is not None or sys.platform != "win32",
    )


def _pythons() -> list[str]:
    folders = os.environ.get("PATH", "").split(os.pathsep)
    found = (shutil.which("python", path=folder) for folder in folders if folder)
    return list(dict.fromkeys(path for path in found if path))


def _own_settings(file: Path) -> str:
    """The interpreter that a user's own xlwings.conf names: lines of "NAME","value"."""
    try:
        lines = file.read_text("utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    for line in lines:
        name, _, value = line.partition(",")
        if name.strip().strip('"').upper() == "INTERPRETER_WIN":
            return value.strip().strip('"')
    return ""


def _code_page() -> str:
    if sys.platform != "win32":
        return "cp1252"
    import ctypes

    return f"cp{ctypes.windll.kernel32.GetACP()}"


def _excel_bits() -> int | None:
    """As Office's installer wrote it down; None where it did not."""
    if sys.platform != "win32":
        return None
    import winreg

    try:
        with winreg.OpenKey(
            winreg.HKEY_LOCAL_MACHINE, r"SOFTWARE\Microsoft\Office\ClickToRun\Configuration"
        ) as key:
            return BITS.get(str(winreg.QueryValueEx(key, "Platform")[0]).lower())
    except OSError:
        return None


def _dlls(program: Path) -> list[str]:
    return [file.name for folder in program.parents[:2] for file in folder.glob("xlwings*.dll")]


__all__ = ["Machine", "examine", "this_machine"]
