"""The tab *Dispense* of Excel's ribbon: its XML (customUI of Office 2010), its pictures, its VBA.

Labels and tips are asked of the VBA, which says them in the language of Excel's windows, with the words of
Calc's menu; the pictures are the same drawings.
"""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree

from ..jobs.on_screen import COMMANDS
from .excel_vba import assign, said_texts, vba_source, vba_text
from .icons import icon_files
from .menu_words import PANE, TITLE

CUSTOM_UI = "http://schemas.microsoft.com/office/2009/07/customui"
RIBBON_TYPE = "http://schemas.microsoft.com/office/2007/relationships/ui/extensibility"
IMAGE_TYPE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/image"
RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
RIBBON_PART = "customUI/customUI14.xml"
RIBBON_LINKS = "customUI/_rels/customUI14.xml.rels"
SIZE = 32  # pixels of a picture; Excel shows it in 16, or in more on a screen of many dots
ADDIN = "dispense.xlam"

#: name, label and help of each button, by the identity of its group; a group has a label too
GROUPS = {
    "dispensePlan": (
        "Plan on the screen",
        (
            *((item.name, item.label, item.help) for item in COMMANDS.values()),
            (*PANE, "Show the last answer again."),
        ),
    ),
    "dispensePython": (
        "Python",
        (
            ("again", "Start again", "Start Python anew: after a start that failed, or an upgrade."),
            ("why", "Why", "What stands in the way of Python."),
            (
                "links",
                "Mend links",
                "Lead the functions of open workbooks that were written elsewhere to this add-in.",
            ),
        ),
    ),
}


def _named(tag: str) -> str:
    """The identity of a button."""
    return f"dispense_{tag}"


def _entries() -> Iterator[tuple[str, str, str]]:
    """Identity, label and help of all that has words."""
    for group, (label, buttons) in GROUPS.items():
        yield group, label, ""
        for tag, words, help_ in buttons:
            yield _named(tag), words, help_


def ribbon() -> bytes:
    """The tab: the commands of the menu, and what concerns Python."""
    root = etree.Element(f"{{{CUSTOM_UI}}}customUI", nsmap={None: CUSTOM_UI})
    tabs = etree.SubElement(etree.SubElement(root, f"{{{CUSTOM_UI}}}ribbon"), f"{{{CUSTOM_UI}}}tabs")
    tab = etree.SubElement(tabs, f"{{{CUSTOM_UI}}}tab", id="dispenseTab", label=TITLE)
    for group, (_, buttons) in GROUPS.items():
        holder = etree.SubElement(tab, f"{{{CUSTOM_UI}}}group", id=group, getLabel="DispenseLabel")
        for tag, _, _ in buttons:
            attributes = {"id": _named(tag), "tag": tag, "image": tag, "onAction": "DispensePressed"}
            attributes |= {"getLabel": "DispenseLabel", "getScreentip": "DispenseTip"}
            attributes["getSupertip"] = "DispenseHelpOf"
            etree.SubElement(holder, f"{{{CUSTOM_UI}}}button", attributes)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True)


def add_ribbon(parts: dict[str, bytes]) -> None:
    """Put the tab and its pictures among the parts of a workbook."""
    tags = [tag for _, buttons in GROUPS.values() for tag, _, _ in buttons]
    links = "".join(
        f'<Relationship Id="{tag}" Type="{IMAGE_TYPE}" Target="images/{tag}.png"/>' for tag in tags
    )
    parts[RIBBON_PART] = ribbon()
    parts[RIBBON_LINKS] = (
        '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
        f'<Relationships xmlns="{RELATIONSHIPS}">{links}</Relationships>'
    ).encode()
    parts |= icon_files((f"customUI/images/{tag}.png", tag, SIZE) for tag in tags)
    link = f'<Relationship Id="dispenseRibbon" Type="{RIBBON_TYPE}" Target="{RIBBON_PART}"/>'
    end = b"</Relationships>"
    parts["_rels/.rels"] = parts["_rels/.rels"].replace(end, link.encode() + end)
    types = parts["[Content_Types].xml"]
    if b'Extension="png"' not in types:
        kind = b'<Default Extension="png" ContentType="image/png"/>'
        parts["[Content_Types].xml"] = types.replace(b"<Default ", kind + b"<Default ", 1)


def ribbon_texts() -> list[str]:
    """Every text of the tab and of its VBA, in English."""
    words = [text for _, label, help_ in _entries() for text in (label, label.rstrip("…"), help_) if text]
    return [*words, *said_texts(vba_source("menu.bas"))]


def menu_module() -> str:
    """The VBA module of the tab, lines ended by a line feed."""
    cases = []
    for name, label, help_ in _entries():
        cases.append(f"        Case {vba_text(name)}")
        cases += (f"            {line}" for line in assign("label_", label))
        cases += (f"            {line}" for line in assign("help_", help_) if help_)
    text = vba_source("menu.bas").replace("{addin}", ADDIN)
    return text.replace("{entries}", "\n".join(cases)).replace("{dots}", vba_text("…"))


__all__ = ["ADDIN", "RIBBON_PART", "add_ribbon", "menu_module", "ribbon", "ribbon_texts"]
