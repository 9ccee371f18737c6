"""What the generated VBA is spelled with: texts in plain ASCII, lines, words in the language of Excel."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from locale import windows_locale
from pathlib import Path

from ..base.language import ENGLISH, languages
from .menu_words import said_in_each

_LINE = 900  # where a text is broken into the next statement; a line of VBA holds 1023 characters
LANGUAGE_BITS = 0x3FF  # of a Windows number: the language without its country ([MS-LCID])


def vba_source(name: str) -> str:
    """A part of the VBA that no function of the registry changes."""
    return (Path(__file__).with_name("vba") / name).read_text("ascii")


def lines_of_windows(text: str) -> str:
    """VBA with the line ends of Windows."""
    return text.replace("\n", "\r\n")


def vba_text(text: str) -> str:
    """A text as a VBA expression in plain ASCII.

    >>> vba_text('a "gap" in mm²')
    '"a ""gap"" in mm" & ChrW$(178)'
    """
    pieces: list[str] = []
    for run in re.findall(r"[ -~]+|[^ -~]", text):
        if " " <= run[0] <= "~":
            pieces.append('"' + run.replace('"', '""') + '"')
        else:
            code = ord(run)
            if code > 0xFFFF:  # two halves, as VBA keeps its texts
                high, low = 0xD800 + ((code - 0x10000) >> 10), 0xDC00 + (code & 0x3FF)
                pieces.append(f"ChrW$({high - 0x10000}) & ChrW$({low - 0x10000})")
            else:
                pieces.append(f"ChrW$({code - 0x10000 if code > 0x7FFF else code})")
    return " & ".join(pieces) or '""'


def assign(target: str, text: str) -> Iterator[str]:
    """Statements that give a text to a variable, each short enough for a line."""
    whole = vba_text(text)
    if len(whole) <= _LINE:
        yield f"{target} = {whole}"
        return
    for start in range(0, len(text), 40):  # a character is at most 28 of VBA
        piece = vba_text(text[start : start + 40])
        yield f"{target} = {f'{target} & ' if start else ''}{piece}"


def said_texts(module: str) -> list[str]:
    """Every text that a module says through `DispenseSaid`, in the order in which it stands there."""
    return re.findall(r'DispenseSaid \w+, "([^"]*)"', module)


def translations(texts: Iterable[str]) -> str:
    """The VBA that puts texts into the language of Excel's windows.

    A text with a place to fill in, `{name}`, keeps it.
    """
    in_each = {text: said_in_each(text) for text in dict.fromkeys(texts)}
    cases, subs = [], []
    for code in languages():
        if code == ENGLISH:
            continue
        numbers = {number & LANGUAGE_BITS for number, name in windows_locale.items() if name[:2] == code}
        name = f"DispenseWords{code.capitalize()}"
        cases += [f"        Case {', '.join(map(str, sorted(numbers)))}: {name} said"]
        subs += ["", f"Private Sub {name}(ByRef said As String)", "    Select Case said"]
        for text, words in in_each.items():
            if words[code] != text:
                subs.append(f"        Case {vba_text(text)}")
                subs += (f"            {line}" for line in assign("said", words[code]))
        subs += ["    End Select", "End Sub"]
    head = [
        "Public Sub DispenseSaid(ByRef said As String, ByVal words As String)",
        "    'Words in the language of Excel's windows (msoLanguageIDUI); English where it is none of ours",
        "    Dim settings As Object",
        "    On Error Resume Next",
        "    said = words",
        "    Set settings = Application.LanguageSettings",
        f"    Select Case settings.LanguageID(2) And {LANGUAGE_BITS}",
    ]
    return "\n".join([*head, *cases, "    End Select", "End Sub", *subs])


__all__ = ["assign", "lines_of_windows", "said_texts", "vba_source", "translations", "vba_text"]
