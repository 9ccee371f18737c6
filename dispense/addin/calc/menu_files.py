"""The texts by which LibreOffice shows menu, toolbar and pane, made from the commands of the core."""

from __future__ import annotations

import ast
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from ...jobs.on_screen import COMMANDS
from ..icons import DECK, icon_files
from ..menu_words import PANE, TITLE, said_in_each
from . import component_names as names

SIZES = (16, 26)  # pixels of a picture: small and large, as LibreOffice asks for them
SPREADSHEET = "com.sun.star.sheet.SpreadsheetDocument"
ON_BAR = ("check", "fill", "station", "forecast")  # buttons of the toolbar; the menu has all
#: entries of the menu that the host answers by itself: the pane, and the end of a job
OWN = {PANE[0]: PANE[1], "stop": "Stop the job"}

#: starts the package that added the extension, wherever LibreOffice's own Python looks for packages
_STARTER = "import sys; sys.path.insert(0, sys.argv.pop(1)); from dispense.cli import run; run()"

EMPTY_DIALOG = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE dlg:window PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "dialog.dtd">\n'
    '<dlg:window xmlns:dlg="http://openoffice.org/2000/dialog" dlg:id="empty" dlg:left="0" dlg:top="0" '
    'dlg:width="120" dlg:height="240" dlg:closeable="true" dlg:moveable="true" '
    'dlg:withtitlebar="false"/>\n'
)

Property = Callable[..., str]


def planner_command() -> list[str]:
    """What starts the package that is running now."""
    package = Path(__file__).resolve().parents[3]
    return [sys.executable, "-c", _STARTER, str(package), "addin", "serve", "--host", "calc"]


def menu_files(xcu: str, prop: Property, node: Property, command: list[str] | None) -> dict[str, str]:
    """Each file of the extension that belongs to the menu; `xcu`, `prop` and `node` spell their XML."""
    files = {
        "Addons.xcu": xcu.format(name="Addons", body=_addons(prop, node)),
        "ProtocolHandler.xcu": xcu.format(name="ProtocolHandler", body=_protocol(prop, node)),
        "Sidebar.xcu": xcu.format(name="Sidebar", body=_sidebar(prop, node)),
        "Factories.xcu": xcu.format(name="Factories", body=_factories(prop, node)),
        "CalcWindowState.xcu": xcu.format(name="CalcWindowState", body=_bar_state(prop, node)),
    }
    by_package = {
        "Addons.xcu": "Office",
        "ProtocolHandler.xcu": "Office",
        "Sidebar.xcu": "Office.UI",
        "Factories.xcu": "Office.UI",
        "CalcWindowState.xcu": "Office.UI",
    }
    for name, package in by_package.items():
        files[name] = files[name].replace("org.openoffice.Office", f"org.openoffice.{package}", 1)
    files["empty.xdl"] = EMPTY_DIALOG
    files["words.json"] = json.dumps(own_words(), ensure_ascii=True, sort_keys=True) + "\n"
    files["planner.json"] = json.dumps(command or []) + "\n"
    return files


def own_texts() -> list[str]:
    """Every text that the menu's own file says, in the order in which it stands there."""
    source = Path(__file__).with_name("menu.py").read_text(encoding="utf-8")
    return [
        ast.literal_eval(node.args[0])
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "said"
    ]


def own_words() -> dict[str, dict[str, str]]:
    """Those texts in each language that comes with the planner."""
    found: dict[str, dict[str, str]] = {}
    for text in own_texts():
        for code, words in said_in_each(text).items():
            found.setdefault(code, {})[text] = words
    return found


def _titled(prop: Property, label: str) -> str:
    return prop("Title", label, others=said_in_each(label))


def _entries() -> Iterator[tuple[str, str]]:
    """Name and label of each entry of the menu."""
    for item in COMMANDS.values():
        yield item.name, item.label
    yield from OWN.items()


def _item(prop: Property, name: str, label: str) -> str:
    return (
        prop("URL", f"{names.PROTOCOL}{name}", lang=False)
        + _titled(prop, label)
        + prop("Target", "_self", lang=False)
        + prop("Context", SPREADSHEET, lang=False)
    )


def _addons(prop: Property, node: Property) -> str:
    entries = "".join(
        node(f"m{number:02}", _item(prop, name, label)) for number, (name, label) in enumerate(_entries())
    )
    menu = node(
        names.TOOLBAR,
        prop("Title", TITLE)
        + prop("Context", SPREADSHEET, lang=False)
        + node("Submenu", entries, replace=False),
    )
    labels = dict(_entries())
    # the buttons stand directly in the node of the bar: with a node between, no bar is shown at all
    buttons = "".join(
        node(f"b{number:02}", _item(prop, name, labels[name].rstrip("…")))
        for number, name in enumerate(ON_BAR)
    )
    return node(
        "AddonUI",
        _images(prop, node)
        + node("OfficeMenuBar", menu, replace=False)
        + node("OfficeToolBar", node(names.TOOLBAR, buttons), replace=False),
        replace=False,
    )


def icon_path(name: str, size: int) -> str:
    """Where a picture lies in the extension."""
    return f"icons/{name}_{size}.png"


def pictures() -> dict[str, bytes]:
    """The pictures of menu, toolbar and pane by their place in the extension."""
    entries = [*(name for name, _ in _entries()), DECK]
    return icon_files((icon_path(name, size), name, size) for name in entries for size in SIZES)


def _images(prop: Property, node: Property) -> str:
    """The picture of each entry; an entry that names one itself is shown as text on the toolbar."""
    found = ""
    for number, (name, _) in enumerate(_entries()):
        paths = zip(("ImageSmallURL", "ImageBigURL"), SIZES, strict=True)
        pictures = "".join(prop(key, f"%origin%/{icon_path(name, size)}", lang=False) for key, size in paths)
        body = prop("URL", f"{names.PROTOCOL}{name}", lang=False)
        found += node(f"i{number:02}", body + node("UserDefinedImages", pictures, replace=False))
    return node("Images", found, replace=False)


def _protocol(prop: Property, node: Property) -> str:
    return node(
        "HandlerSet", node(names.MENU, prop("Protocols", names.PROTOCOL + "*", lang=False)), replace=False
    )


def _panel_url() -> str:
    return f"private:resource/toolpanel/{names.PANEL}/pane"


def _sidebar(prop: Property, node: Property) -> str:
    context = '<prop oor:name="ContextList"><value oor:separator=";">Calc, any, visible ;</value></prop>\n'
    deck = prop("Title", TITLE) + prop("Id", names.DECK, lang=False) + context
    place = f"vnd.sun.star.extension://{names.IDENTIFIER}/{icon_path(DECK, SIZES[-1])}"
    icon = prop("IconURL", place, lang=False)
    panel = (
        _titled(prop, "Problems and findings")
        + prop("Id", names.PANEL, lang=False)
        + prop("DeckId", names.DECK, lang=False)
        + context
        + prop("ImplementationURL", _panel_url(), lang=False)
        + '<prop oor:name="OrderIndex"><value>100</value></prop>\n'
    )
    content = node("DeckList", node(names.DECK, deck + icon), replace=False)
    content += node("PanelList", node(names.PANEL, panel), replace=False)
    return node("Content", content, replace=False)


def _factories(prop: Property, node: Property) -> str:
    factory = (
        prop("Type", "toolpanel", lang=False)
        + prop("Name", names.PANEL, lang=False)
        + prop("Module", "", lang=False)
        + prop("FactoryImplementation", names.PANELS, lang=False)
    )
    registered = node("UIElementFactories", node("DispensePanelFactory", factory), replace=False)
    return node("Registered", registered, replace=False)


def _bar_state(prop: Property, node: Property) -> str:
    state = prop("UIName", TITLE) + '<prop oor:name="Visible"><value>true</value></prop>\n'
    state += '<prop oor:name="Docked"><value>true</value></prop>\n'
    bar = node(f"private:resource/toolbar/addon_{names.TOOLBAR}", state)
    return node("UIElements", node("States", bar, replace=False), replace=False)


__all__ = ["menu_files", "own_texts", "own_words", "pictures", "planner_command"]
