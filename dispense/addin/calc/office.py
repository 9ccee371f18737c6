"""Find LibreOffice, and add, show or remove the extension.

An ordinary user adds it for himself with LibreOffice's own `unopkg`. Root adds it for all users
(`unopkg` refuses root anything else) unless `shared=False` or a profile is given: then a headless
LibreOffice is started and adds it through its own extension manager.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ... import __version__
from ...base.errors import DispenseError, Problem
from ...handbook.catalogue import FUNCTIONS
from ...xlsx.write import scratch
from .builder import build, needed
from .component_names import IDENTIFIER
from .menu_files import planner_command

VARIABLE = "DISPENSE_SOFFICE"  # the soffice program, where it is in no usual place
OLDEST_PYTHON = (3, 11)
_LINUX = (
    "/usr/lib/libreoffice/program",
    "/usr/lib64/libreoffice/program",
    "/opt/libreoffice*/program",
    "/usr/local/lib/libreoffice/program",
    "/snap/libreoffice/current/lib/libreoffice/program",
)
_MAC = ("/Applications/LibreOffice.app/Contents/MacOS", "~/Applications/LibreOffice.app/Contents/MacOS")
_WINDOWS = ("ProgramFiles", "ProgramW6432", "ProgramFiles(x86)")


@dataclass(frozen=True, slots=True)
class Office:
    """An installed LibreOffice: its programs and its own Python."""

    soffice: Path
    unopkg: Path
    python: Path | None

    @property
    def shared_folder(self) -> Path:
        """Where extensions for all users are unpacked."""
        return self.soffice.parent.parent / _share() / "uno_packages" / "cache" / "uno_packages"


def _share() -> str:
    return "Resources" if sys.platform == "darwin" else "share"


def _folders() -> Iterator[Path]:
    """Program folders, the likeliest first."""
    given = os.environ.get(VARIABLE)
    if given:
        path = Path(given).expanduser()
        yield (path if path.is_dir() else Path(os.path.realpath(path)).parent)
        return
    for name in ("soffice", "libreoffice"):
        found = shutil.which(name)
        if found:
            yield Path(os.path.realpath(found)).parent
    if sys.platform == "darwin":
        yield from (Path(name).expanduser() for name in _MAC)
    elif os.name == "nt":
        for variable in _WINDOWS:
            if os.environ.get(variable):
                yield Path(os.environ[variable]) / "LibreOffice" / "program"
    else:
        for pattern in _LINUX:
            yield from sorted(Path("/").glob(pattern.lstrip("/")), reverse=True)


def _program(folder: Path, name: str) -> Path | None:
    for suffix in (".com", ".exe", "") if os.name == "nt" else ("", ".bin"):
        path = folder / f"{name}{suffix}"
        if path.is_file():
            return path
    return None


def _own_python(folder: Path) -> Path | None:
    """LibreOffice's interpreter: its own, or the system's that its bridge is linked to."""
    for name in ("python", "python.exe", "../Resources/python"):
        path = folder / name
        if path.is_file():
            return path
    bridge = folder / "libpyuno.so"
    if bridge.is_file():
        linked = re.search(rb"libpython(3\.\d+)", bridge.read_bytes())
        if linked:
            name = f"python{linked[1].decode()}"
            for place in (f"/usr/bin/{name}", shutil.which(name), "/usr/bin/python3"):
                if place and Path(place).is_file():
                    return Path(place)
    return None


def find_office() -> Office:
    """The LibreOffice to use: DISPENSE_SOFFICE, the PATH, then the usual places."""
    looked = []
    for folder in _folders():
        soffice, unopkg = _program(folder, "soffice"), _program(folder, "unopkg")
        if soffice and unopkg:
            return Office(soffice, unopkg, _own_python(folder))
        looked.append(str(folder))
    raise DispenseError(
        Problem(
            "addin",
            message="LibreOffice is not found in " + (", ".join(looked) or "the PATH"),
            fix=f"install LibreOffice with its Python support (Debian: apt install "
            f"libreoffice-calc python3-uno), or set {VARIABLE} to its soffice program",
        )
    )


def default_profile() -> Path:
    """The user's LibreOffice profile."""
    if os.name == "nt":
        return Path(os.environ.get("APPDATA", str(Path.home()))) / "LibreOffice" / "4"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "LibreOffice" / "4"
    config = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(config) / "libreoffice" / "4"


# ------------------------------------------------------------------------------------ interpreter

_PROBE = """
import json, sys, sysconfig
sys.path[:0] = json.loads(sys.argv[1])
found = {}
for name in json.loads(sys.argv[2]):
    try:
        found[name] = str(getattr(__import__(name), "__version__", "present"))
    except Exception:
        found[name] = None
print(json.dumps({"executable": sys.executable, "version": list(sys.version_info[:3]),
    "tag": sys.implementation.cache_tag, "platform": sysconfig.get_platform(), "modules": found}))
"""


def clean_environment() -> dict[str, str]:
    """The environment without what would lead LibreOffice's Python to another's packages."""
    kept = dict(os.environ)
    for name in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "__PYVENV_LAUNCHER__"):
        kept.pop(name, None)
    # its Python takes the first python3 there for its own: one of a virtual environment that is switched on
    folders = kept.get("PATH", "").split(os.pathsep)
    kept["PATH"] = os.pathsep.join(
        folder for folder in folders if not (Path(folder).parent / "pyvenv.cfg").is_file()
    )
    return kept


def probe(office: Office, modules: list[str], first: list[str] | None = None) -> dict[str, Any]:
    """What LibreOffice's interpreter is and which of these modules it can import."""
    if office.python is None:
        raise DispenseError(
            Problem(
                "addin",
                message="this LibreOffice has no Python",
                fix="install its Python support (Debian: apt install python3-uno)",
            )
        )
    command = [str(office.python), "-c", _PROBE, json.dumps(first or []), json.dumps(modules)]
    done = subprocess.run(
        command, capture_output=True, text=True, env=clean_environment(), timeout=120, check=False
    )
    if done.returncode:
        raise DispenseError(f"LibreOffice's Python {office.python} fails: {done.stderr.strip()}")
    return json.loads(done.stdout.splitlines()[-1])


def _fits(found: dict[str, Any]) -> bool:
    """Whether the running interpreter's compiled packages work in LibreOffice's."""
    return found["tag"] == sys.implementation.cache_tag and found["platform"] == sysconfig.get_platform()


def lacking(office: Office) -> tuple[list[str], bool]:
    """Packages that LibreOffice's Python lacks, and whether ours can be copied for it."""
    found = probe(office, needed()[1])
    version = tuple(found["version"])
    if version[:2] < OLDEST_PYTHON:
        raise DispenseError(
            Problem(
                "addin install",
                message="LibreOffice's own Python is "
                f"{'.'.join(map(str, version))}; the functions need "
                f"{'.'.join(map(str, OLDEST_PYTHON))} or newer",
                fix="install a newer LibreOffice",
            )
        )
    return [name for name, have in found["modules"].items() if have is None], _fits(found)


def _advice(missing: list[str], office: Office) -> str:
    if str(office.python).startswith("/usr/bin/"):
        packages = " ".join(f"python3-{name}" for name in missing)
        return f"run: sudo apt install {packages} (or the same packages of your system)"
    return (
        f'run: "{office.python}" -m pip install {" ".join(missing)}, or run '
        "`dispense addin install` from a Python of LibreOffice's version"
    )


# -------------------------------------------------------------------------- install and uninstall


def _is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0


def _manage(office: Office, action: str, argument: str, shared: bool, profile: Path | None) -> None:
    """Add or remove through unopkg, or for root's own profile through the extension manager."""
    place = [f"-env:UserInstallation={profile.resolve().as_uri()}"] if profile else []
    if _is_root() and not shared:
        script = Path(__file__).with_name("manage.py")
        url = (profile or default_profile()).resolve().as_uri()
        command = [str(office.python), str(script), str(office.soffice), url, action, argument]
    else:
        command = [str(office.unopkg), action, *(["--shared"] if shared else []), *place]
        command += ["--force", argument] if action == "add" else [argument]
    done = subprocess.run(
        command, capture_output=True, text=True, env=clean_environment(), timeout=600, check=False
    )
    if done.returncode:
        lines = (done.stderr.strip() or done.stdout.strip()).splitlines()
        raise DispenseError(
            Problem(
                f"addin {'install' if action == 'add' else 'uninstall'}",
                message="; ".join(line for line in lines[-3:] if line.strip()),
                fix="close LibreOffice and try again",
            )
        )


def install(
    oxt: str | os.PathLike[str] | None = None,
    shared: bool | None = None,
    profile: str | os.PathLike[str] | None = None,
) -> dict[str, Any]:
    """Add the extension to LibreOffice and return its `status`.

    Without `oxt` it is built for the LibreOffice found here, with the packages that its Python
    lacks. `shared` adds it for all users; where it is None that is what root gets. `profile` is
    another LibreOffice profile folder than the user's.
    """
    office = find_office()
    place = Path(profile) if profile else None
    for_all = (_is_root() and place is None) if shared is None else shared
    with scratch() as folder:
        if oxt is None:
            missing, fits = lacking(office)
            if missing and not fits and missing != ["pint"]:
                raise DispenseError(
                    Problem(
                        "addin install",
                        message="LibreOffice's Python lacks " + " and ".join(missing),
                        fix=_advice(missing, office),
                    )
                )
            path = build(
                folder / "dispense.oxt", with_dependencies=bool(missing) and fits, planner=planner_command()
            )
        else:
            path = Path(oxt).resolve()
            if not path.is_file():
                raise DispenseError(f"addin install: there is no file {path}")
        _manage(office, "add", str(path), for_all, place)
    return status(profile)


def uninstall(shared: bool | None = None, profile: str | os.PathLike[str] | None = None) -> dict[str, Any]:
    """Remove the extension, from where it is installed, and return the `status` after it."""
    office = find_office()
    place = Path(profile) if profile else None
    removed = False
    for item in _installed(office, place):
        if shared is None or shared == (item["for"] == "all users"):
            _manage(office, "remove", IDENTIFIER, item["for"] == "all users", place)
            removed = True
    if not removed:
        raise DispenseError("addin uninstall: the add-in is not installed")
    return status(profile)


def _installed(office: Office, profile: Path | None) -> list[dict[str, Any]]:
    """Each installed copy: version, for whom, folder, functions."""
    user = (profile or default_profile()) / "user" / "uno_packages" / "cache" / "uno_packages"
    found = []
    for owner, folder in (("this user", user), ("all users", office.shared_folder)):
        for description in sorted(folder.glob("*/*.oxt/description.xml")):
            text = description.read_text("utf-8")
            if f'value="{IDENTIFIER}"' not in text or _is_removed(description.parent.parent):
                continue
            version = re.search(r'<version value="([^"]*)"', text)
            place = description.parent
            found.append(
                {
                    "for": owner,
                    "version": version[1] if version else "",
                    "folder": str(place),
                    "functions": len((place / "functions.txt").read_text("ascii").split()),
                }
            )
    return found


def _is_removed(folder: Path) -> bool:
    """Whether an unpacked extension only waits to be deleted at LibreOffice's next start."""
    name = folder.name.rstrip("_")
    listing = folder.parent.with_suffix(".pmap")  # a user's extensions are listed here
    return folder.with_name(f"{name}removed").exists() or (
        listing.is_file() and name.encode() not in listing.read_bytes()
    )


def status(profile: str | os.PathLike[str] | None = None) -> dict[str, Any]:
    """What is installed and in what it runs.

    Keys: `installed` (a list: for whom, version, function count, folder), `soffice`, `python`
    (interpreter and version), `modules` (version of each package the functions need, None where it
    is missing), `problems` (sentences; empty where all is well).
    """
    office = find_office()
    found = _installed(office, Path(profile) if profile else None)
    result: dict[str, Any] = {
        "installed": found,
        "soffice": str(office.soffice),
        "python": None,
        "modules": {},
        "problems": [],
    }
    if office.python is None:
        result["problems"].append("this LibreOffice has no Python support")
        return result
    own = [str(Path(item["folder"]) / "pythonpath") for item in found[:1]]
    seen = probe(office, needed()[1], own)
    result["python"] = f"{seen['executable']} {'.'.join(map(str, seen['version']))}"
    result["modules"] = seen["modules"]
    missing = [name for name, have in seen["modules"].items() if have is None]
    if not found:
        result["problems"].append("the add-in is not installed; run: dispense addin install")
    elif any(item["version"] != __version__ for item in found) or any(
        item["functions"] != len(FUNCTIONS) for item in found
    ):
        result["problems"].append(
            f"an add-in of another version is installed, this is {__version__} with "
            f"{len(FUNCTIONS)} functions; run: dispense addin install"
        )
    if found and missing:
        result["problems"].append(
            f"LibreOffice's Python lacks {' and '.join(missing)}; {_advice(missing, office)}"
        )
    if tuple(seen["version"][:2]) < OLDEST_PYTHON:
        result["problems"].append("LibreOffice's own Python is too old; install a newer one")
    return result
