"""Build the extension: a zip of texts made from the registry, the component and the package.

Everything is made by plain Python on any machine. The type library is UNOIDL source, which
LibreOffice has read itself since 4.1.
"""

from __future__ import annotations

import ast
import io
import os
import re
import sys
import zipfile
from collections.abc import Iterable, Mapping
from importlib import metadata
from pathlib import Path
from types import MappingProxyType
from xml.sax.saxutils import escape, quoteattr

from ... import __version__
from ...base.errors import DispenseError, FileError, Problem
from ...base.fields import Field
from ...handbook import catalogue as functions
from ...handbook.declare import Function
from ...handbook.in_formulas import OWN
from ...xlsx.write import atomic_write
from .. import REQUIRED, argument_help, argument_title, function_help
from . import component_names as names
from .menu_files import menu_files, pictures

PACKAGE = Path(__file__).resolve().parents[2]
EPOCH = (1980, 1, 1, 0, 0, 0)
MINIMAL_VERSION = "7.2"

# identifiers of UNOIDL that an argument may not have
_RESERVED = """
    any attribute boolean bound byte case char const constants constrained context default
    double enum exception false float get hyper in inout interface long maybeambiguous
    maybedefault maybevoid method methods module needs object oneway optional out property
    published raises readonly removable reserved sequence service set short singleton string
    struct switch transient true type typedef union unsigned void
"""


def parameter_name(name: str) -> str:
    """An argument's name as UNOIDL allows it: `lead_time` is `leadTime`."""
    first, *rest = name.split("_")
    joined = first + "".join(word.capitalize() for word in rest)
    return f"{joined}Value" if joined.lower() in _RESERVED.split() else joined


def _all() -> list[Function]:
    return [functions.FUNCTIONS[name] for name in sorted(functions.FUNCTIONS)]


def type_library(entries: Iterable[Function]) -> str:
    """The interface, one method for each function, as UNOIDL source.

    Every argument is `any`, so that it may be left out and take a value or a range.
    """
    lines = [f"module {names.MODULE} {{", f"  interface {names.INTERFACE} {{"]
    for entry in entries:
        arguments = ", ".join(f"[in] any {parameter_name(item.name)}" for item in entry.arguments)
        lines.append(f"    sequence< sequence<any> > {entry.name}({arguments});")
    return "\n".join([*lines, "  };", "};", ""])


_XCU = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" '
    'xmlns:xs="http://www.w3.org/2001/XMLSchema" oor:name="{name}" '
    'oor:package="org.openoffice.Office">\n{body}</oor:component-data>\n'
)


NO_OTHERS: Mapping[str, str] = MappingProxyType({})  # a text in no other language


def _property(name: str, text: str, lang: bool = True, others: Mapping[str, str] = NO_OTHERS) -> str:
    """A property; `others` are its text in other languages: LibreOffice takes that of its windows."""
    mark = ' xml:lang="en-US"' if lang else ""
    values = f"<value{mark}>{escape(text)}</value>"
    values += "".join(f'<value xml:lang="{code}">{escape(said)}</value>' for code, said in others.items())
    return f'<prop oor:name="{name}">{values}</prop>\n'


def _node(name: str, body: str, replace: bool = True) -> str:
    mark = ' oor:op="replace"' if replace else ""
    return f"<node oor:name={quoteattr(name)}{mark}>\n{body}</node>\n"


def _argument_text(item: Field) -> str:
    text = argument_help(item)
    if item.is_required:  # Calc writes "(optional)" after the name of every argument of an add-in
        return text.removesuffix(f"{REQUIRED}.") + "Never left out, whatever stands after its name."
    if item.kind not in {"number", "whole"}:
        return text
    return f"{text} Leave it out for that; a single blank cell counts as 0 in Calc."


def wizard_texts(entries: Iterable[Function]) -> str:
    """CalcAddIns.xcu: what the function wizard shows."""
    nodes = []
    for entry in entries:
        parameters = "".join(
            _node(
                parameter_name(item.name),
                _property("DisplayName", argument_title(item))
                + _property("Description", _argument_text(item)),
            )
            for item in entry.arguments
        )
        nodes.append(
            _node(
                entry.name,
                _property("DisplayName", entry.name)
                + _property("Description", function_help(entry))
                + _property("Category", "Add-In", lang=False)
                + _property("CompatibilityName", entry.name)
                + _node("Parameters", parameters, replace=False),
            )
        )
    body = _node("AddInFunctions", "".join(nodes), replace=False)
    body = _node("AddInInfo", _node(OWN.service, body), replace=False)
    return _XCU.format(name="CalcAddIns", body=body)


def _jobs() -> str:
    """Jobs.xcu: the job that runs when a document has been loaded."""
    job = _node(names.JOB, _property("Service", names.RESPELL, lang=False))
    listed = _node("JobList", _node(names.JOB, ""), replace=False)
    body = _node("Jobs", job, replace=False)
    body += '<node oor:name="Events">\n<node oor:name="OnLoadFinished" oor:op="fuse">\n'
    return _XCU.format(name="Jobs", body=body + listed + "</node>\n</node>\n")


def _components() -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<components xmlns="http://openoffice.org/2010/uno-components">\n'
        f'<component loader="com.sun.star.loader.Python" uri="component.py">\n'
        f'<implementation name="{names.IMPLEMENTATION}"><service name="{OWN.service}"/>'
        '<service name="com.sun.star.sheet.AddIn"/></implementation>\n'
        f'<implementation name="{names.RESPELL}"><service name="{names.RESPELL}"/>'
        "</implementation>\n</component>\n"
        '<component loader="com.sun.star.loader.Python" uri="menu.py">\n'
        f'<implementation name="{names.MENU}"><service name="com.sun.star.frame.ProtocolHandler"/>'
        "</implementation>\n"
        f'<implementation name="{names.PANELS}"><service name="{names.PANELS}"/>'
        "</implementation>\n</component>\n</components>\n"
    )


_KINDS = {
    "types.idl": "application/vnd.sun.star.uno-typelibrary;type=RDB",
    "addin.components": "application/vnd.sun.star.uno-components",
    "CalcAddIns.xcu": "application/vnd.sun.star.configuration-data",
    "Jobs.xcu": "application/vnd.sun.star.configuration-data",
}


def _manifest(more: Iterable[str]) -> str:
    kinds = _KINDS | dict.fromkeys(more, _KINDS["Jobs.xcu"])
    entries = "".join(
        f'<manifest:file-entry manifest:media-type="{kind}" manifest:full-path="{path}"/>\n'
        for path, kind in kinds.items()
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">\n'
        f"{entries}</manifest:manifest>\n"
    )


def _description(count: int) -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<description xmlns="http://openoffice.org/extensions/description/2006" '
        'xmlns:lo="http://libreoffice.org/extensions/description/2011" '
        'xmlns:d="http://openoffice.org/extensions/description/2006">\n'
        f'<identifier value="{names.IDENTIFIER}"/>\n<version value="{__version__}"/>\n'
        f'<dependencies><lo:LibreOffice-minimal-version value="{MINIMAL_VERSION}" '
        f'd:name="LibreOffice {MINIMAL_VERSION}"/></dependencies>\n'
        f'<display-name><name lang="en">Dispensing functions ({count})</name></display-name>\n'
        '<extension-description><src lang="en" xlink:href="description.txt" '
        'xmlns:xlink="http://www.w3.org/1999/xlink"/></extension-description>\n'
        "</description>\n"
    )


_ABOUT = (
    "Worksheet functions for adhesive, sealant, thermal paste and potting compound put onto parts "
    "at a takt: bead and pot volumes, mixing, nozzle pressure, pot life, cure, stock.\n"
)


# ------------------------------------------------------------------------------- package and wheels


def _imports(path: Path) -> set[tuple[int, str]]:
    """Every module a file imports, also inside functions: level of dots and dotted name."""
    found: set[tuple[int, str]] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {(0, alias.name) for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            found.add((node.level, base))
            found |= {(node.level, f"{base}.{alias.name}".lstrip(".")) for alias in node.names}
    return found


def _module_file(parts: list[str]) -> Path | None:
    base = PACKAGE.parent.joinpath(*parts)
    for path in (base.with_suffix(".py"), base / "__init__.py"):
        if path.is_file():
            return path
    return None


def needed() -> tuple[list[Path], list[str]]:
    """The package's files that the functions need, and the other packages those import."""
    todo = [["dispense", "handbook", "catalogue"], ["dispense", "addin", "calc", "cells"]]
    files: dict[Path, None] = {}
    outside: set[str] = set()
    while todo:
        parts = todo.pop()
        for depth in range(1, len(parts) + 1):
            path = _module_file(parts[:depth])
            if path is None or path in files:
                continue
            files[path] = None
            here = parts[:depth] if path.name == "__init__.py" else parts[: depth - 1]
            for level, name in _imports(path):
                words = [word for word in name.split(".") if word]
                if level:
                    todo.append([*here[: len(here) - level + 1], *words])
                elif words[0] == "dispense":
                    todo.append(words)
                elif words[0] not in sys.stdlib_module_names:
                    outside.add(words[0])
    data = PACKAGE / "handbook" / "data"
    beside = [path for path in data.rglob("*") if path.is_file()] if data.is_dir() else []
    kept = {path for path in [*files, *beside] if "__pycache__" not in path.parts}
    return sorted(kept), sorted(outside)


def _distributions(modules: Iterable[str]) -> list[metadata.Distribution]:
    """The installed distributions of these modules and all that those require."""
    by_module = metadata.packages_distributions()
    todo = [name for module in modules for name in by_module.get(module, [])[:1]]
    found: dict[str, metadata.Distribution] = {}
    while todo:
        name = re.sub(r"[-_.]+", "-", todo.pop()).lower()
        if name in found:
            continue
        try:
            found[name] = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue  # required for another system or version only
        for line in found[name].requires or []:
            requirement, _, marker = line.partition(";")
            if "extra" not in marker:
                todo.append(re.split(r"[\s<>=!~\[(]", requirement.strip(), maxsplit=1)[0])
    return [found[name] for name in sorted(found)]


def _is_wanted(path: str) -> bool:
    parts = path.split("/")
    return not (
        path.startswith("..")
        or path.endswith((".pyc", ".pyi", ".a", ".lib"))
        or "__pycache__" in parts
        or "tests" in parts
        or parts[0] in {"bin", "Scripts"}
    )


def _dependency_files(modules: Iterable[str]) -> dict[str, Path]:
    files: dict[str, Path] = {}
    for distribution in _distributions(modules):
        for item in distribution.files or []:
            name = item.as_posix()
            path = Path(str(distribution.locate_file(item)))
            if _is_wanted(name) and path.is_file():
                files[name] = path
    return files


def _archive(members: dict[str, bytes]) -> bytes:
    """A zip whose bytes depend on its members only."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(members):
            info = zipfile.ZipInfo(name, EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.create_system = 3
            info.external_attr = 0o644 << 16
            archive.writestr(info, members[name])
    return buffer.getvalue()


def build(
    out: str | os.PathLike[str], with_dependencies: bool = False, planner: list[str] | None = None
) -> Path:
    """Write the extension to `out` (an .oxt file) and return its path.

    `planner` is the command that the menu starts; without it the program `dispense` on the path of the
    machine where it is used.

    With `with_dependencies` the packages that the functions import (numpy, pint and what those
    need) are copied into it from the running interpreter; such a file fits only a LibreOffice
    whose Python is of the same version and system.
    """
    path = Path(out)
    if path.suffix.lower() != ".oxt":
        raise DispenseError(Problem("addin build", "out", path.name, "a file name ending in .oxt"))
    entries = _all()
    files, outside = needed()
    menu = menu_files(_XCU, _property, _node, planner)
    texts = {
        **menu,
        "META-INF/manifest.xml": _manifest(name for name in menu if name.endswith(".xcu")),
        "description.xml": _description(len(entries)),
        "description.txt": _ABOUT,
        "types.idl": type_library(entries),
        "CalcAddIns.xcu": wizard_texts(entries),
        "Jobs.xcu": _jobs(),
        "addin.components": _components(),
        "functions.txt": "\n".join(entry.name for entry in entries) + "\n",
        "modules.txt": "\n".join(outside) + "\n",
    }
    members = {name: text.encode("utf-8") for name, text in texts.items()}
    members |= pictures()
    for name in ("component.py", "menu.py"):
        members[name] = (Path(__file__).parent / name).read_bytes()
    shared = Path(__file__).parent / "dispense_errors.py"  # the menu imports it without the package
    members[f"pythonpath/{shared.name}"] = shared.read_bytes()
    for file in files:
        name = file.relative_to(PACKAGE.parent).as_posix()
        members[f"pythonpath/{name}"] = file.read_bytes()
    if with_dependencies:
        for name, file in _dependency_files(outside).items():
            members[f"pythonpath/{name}"] = file.read_bytes()
    if path.exists() and not _is_extension(path):
        raise FileError(
            Problem(str(path), message="is there already and is no add-in of ours", fix="choose another name")
        )
    atomic_write(path, _archive(members))
    return path


def _is_extension(path: Path) -> bool:
    """Whether the file at a path is an extension that was built here."""
    try:
        with zipfile.ZipFile(path) as archive:
            return {"CalcAddIns.xcu", "component.py", "modules.txt"} <= set(archive.namelist())
    except (OSError, zipfile.BadZipFile):
        return False
