"""What the commands print: aligned tables, progress on a terminal, colour only where wanted."""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import sys
import textwrap
import time
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Any, TextIO

from .errors import escaped
from .findings import DANGER, HEADINGS, KINDS, NOTE, Finding, grouped, tally
from .measures import NARROW, measures, spaced
from .units import is_number

_BOLD = re.compile("(\x1b\\[[01]m)")  # what `emphasise` writes


def use_colour(stream: TextIO) -> bool:
    """Whether colour may be written: a terminal, and NO_COLOR not set."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def emphasise(text: str, stream: TextIO | None = None) -> str:
    """Bold on a terminal, plain elsewhere."""
    stream = sys.stdout if stream is None else stream
    return f"\x1b[1m{text}\x1b[0m" if use_colour(stream) else text


def display_width(text: str) -> int:
    """Columns that a text takes on a terminal."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
        for char in text
    )


_PLAIN = 1e6  # from here on six figures come with a power of ten
_BETWEEN = "  "  # columns of a table
_NARROWEST = 16  # columns of a terminal that a folded text keeps


def terminal_width(stream: TextIO | None = None) -> int | None:
    """Columns of the terminal that is written to; None for a file or a pipe, which has no edge."""
    stream = sys.stdout if stream is None else stream
    return shutil.get_terminal_size().columns if stream.isatty() else None


def _folded_widths(
    headers: Sequence[str], widths: Sequence[int], numeric: Sequence[bool], under: Sequence[int], room: int
) -> list[int]:
    """Widths of columns that fit into `room`, as far as they may: headers wider than what stands `under`
    them give way first, then the widest texts, down to `_NARROWEST`.
    """
    fitted = list(widths)
    words = [
        len(head) - len(head.lstrip()) + max(map(display_width, head.split() or [""])) for head in headers
    ]
    heads = [max(below, word) for below, word in zip(under, words, strict=True)]
    texts = [
        wide if right else max(min(wide, _NARROWEST), word)
        for wide, right, word in zip(heads, numeric, words, strict=True)
    ]
    for least in heads, texts:
        while _across(fitted) > room:
            wide = [place for place, width in enumerate(fitted) if width > least[place]]
            if not wide:
                break
            fitted[max(wide, key=fitted.__getitem__)] -= 1
    return fitted


def _across(widths: Sequence[int]) -> int:
    return sum(widths) + len(_BETWEEN) * (len(widths) - 1)


def _stretches(widths: Sequence[int], room: int) -> list[list[int]]:
    """Columns side by side that fit into `room`; each stretch after the first repeats the first column."""
    found: list[list[int]] = [[]]
    for place in range(len(widths)):
        if len(found[-1]) > 1 and _across([widths[each] for each in (*found[-1], place)]) > room:
            found.append([0])
        found[-1].append(place)
    return found


def _lines_of(text: str, width: int, indent: str = "") -> list[str]:
    """A text in lines of a column; no line ends between a number and its unit."""
    if display_width(text) <= width:
        return [text]
    kept = spaced(text)
    lines = textwrap.wrap(kept, width, break_on_hyphens=False, subsequent_indent=indent) or [""]
    return [line.replace(NARROW, " ") for line in lines]


def folded(text: str, width: int | None = None) -> str:
    """A report whose lines are no wider than the terminal (or `width`); what goes on is set in.

    >>> print(folded("- pot life extrapolated to 31 °C", 28))
    - pot life extrapolated to
      31 °C
    """
    room = terminal_width() if width is None else width
    if room is None:
        return text
    found: list[str] = []
    for line in text.split("\n"):
        start = line[: len(line) - len(line.lstrip())]
        found += [start + part for part in _lines_of(line.lstrip(), max(room - len(start), _NARROWEST), "  ")]
    return "\n".join(found)


def table(
    headers: Sequence[str], rows: Iterable[Sequence[Any]], width: int | None = None, *, plain: bool = False
) -> str:
    """An aligned table: numbers to the right, texts to the left, nothing cut, thousands apart.

    Wider than the terminal (or `width`), headers and texts are folded within their columns; what is wider
    even so goes on below, its first column again. `plain` numbers have nothing between their thousands:
    they may be copied into a calculation.

    >>> print(table(["part", "what is to be done"], [["lid", "wipe the flange, then load it"]], 26))
    part  what is to be done
    lid   wipe the flange,
          then load it

    >>> print(table(["part", "volume [mL]", "mass [g]"], [["lid", 1.5, 2.0], ["frame", 12.25, 15.5]], 16))
    part   volume
             [mL]
    lid       1.5
    frame   12.25
    <BLANKLINE>
    part   mass [g]
    lid           2
    frame      15.5

    >>> print(table(["part", "volume [mL]"], [["lid", 1.5], ["frame", 12.25]]))
    part   volume [mL]
    lid            1.5
    frame        12.25

    >>> print(table(["part", "volume [mL]"], [["tray", 12345.6], ["lid", 1.5]]))
    part  volume [mL]
    tray     12,345.6
    lid           1.5
    """
    cells = [[measures().told(shown(value) if plain else apart(value)) for value in row] for row in rows]
    numeric = [
        all(is_number(row[place].replace(",", "")) for row in cells if row[place]) and bool(cells)
        for place in range(len(headers))
    ]
    widths = [
        max(display_width(line[place]) for line in [list(headers), *cells]) for place in range(len(headers))
    ]

    under = [max((display_width(row[place]) for row in cells), default=0) for place in range(len(headers))]
    room = terminal_width() if width is None else width

    def fitted(places: Sequence[int]) -> list[int]:
        wide = [widths[place] for place in places]
        if room is None or _across(wide) <= room:
            return wide
        heads, right = [headers[place] for place in places], [numeric[place] for place in places]
        return _folded_widths(heads, wide, right, [under[place] for place in places], room)

    def block(places: Sequence[int]) -> str:
        wide = fitted(places)
        lines = []
        for row in [headers, *cells]:
            parts = [_lines_of(row[place], width) for place, width in zip(places, wide, strict=True)]
            for texts in itertools.zip_longest(*parts, fillvalue=""):
                pads = [" " * (width - display_width(text)) for text, width in zip(texts, wide, strict=True)]
                line = [
                    pad + text if numeric[place] else text + pad
                    for place, text, pad in zip(places, texts, pads, strict=True)
                ]
                lines.append(_BETWEEN.join(line).rstrip())
        return "\n".join(lines)

    every = list(range(len(headers)))
    stretches = [every] if room is None else _stretches(fitted(every), room)
    return "\n\n".join(map(block, stretches))


def findings_text(
    findings: Iterable[Finding], *, most: int = 8, where: bool = True, notes: bool = True, more: str = ""
) -> str:
    """Findings under a heading for each kind, the gravest first, those of one sort together.

    `where` adds the columns of station and day, where one is told; without `notes` they are counted only.
    At most `most` sorts of a kind are shown; all dangers, and what single cells of the plan hold, always.
    `more` says where all of them stand.

    >>> print(findings_text([Finding("stop", "529 s of work", "more nozzles", "takt", "hem")]))
    1 stops the line
    <BLANKLINE>
    Stops the line
      times  station  what
          1  hem      529 s of work
                      → more nozzles
    """
    findings = list(findings)
    groups = grouped(findings)
    lines = [tally(findings) + (f" ({more})" if more else "")]
    for kind in KINDS:
        mine = [group for group in groups if group.first.kind == kind]
        if not mine or (kind == NOTE and not notes):
            continue
        shown_groups = [group for place, group in enumerate(mine)
                        if kind == DANGER or place < most or group.first.is_of_a_cell]  # fmt: skip
        lines += ["", HEADINGS[kind]]
        if where:
            rows: list[list[str]] = []
            for group in shown_groups:
                rows.append([f"  {group.count}", group.where, _first_on(group.first), _what(group.first)])
                rows += [["", "", "", f"→ {group.first.fix}"]] if group.first.fix else []
            heads = ["  times", "station", "first on", "what"]
            told = [place for place in range(len(heads)) if any(row[place] for row in rows)]
            lines.append(table([heads[place] for place in told], [[row[at] for at in told] for row in rows]))
        else:
            mark = "-" if kind == NOTE else "▲"
            lines += [
                f"{mark} {group.first}" + (f" ({group.count} of this sort)" if group.count > 1 else "")
                for group in shown_groups
            ]
        if len(mine) > len(shown_groups):
            lines.append(f"  and {len(mine) - len(shown_groups)} more sorts (--json has all)")
    return "\n".join(lines)


def _what(finding: Finding) -> str:
    """What is found, led by the cell of the plan where it is that cell's."""
    if not finding.is_of_a_cell or finding.text.startswith(finding.cell):
        return finding.text
    return f"{finding.cell}: {finding.text}"


def _first_on(finding: Finding) -> str:
    return f"{finding.day or ''} {finding.shift}".strip()


def shown(value: Any) -> str:
    """A value in a printed table; numbers to six significant digits."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return escaped(str(value))


def apart(value: Any) -> str:
    """A value in a table that is read: thousands apart.

    >>> apart(1234567), apart(12345.678), apart(999.5), apart("2026")
    ('1,234,567', '12,345.7', '999.5', '2026')
    """
    if isinstance(value, float):
        return f"{value:,.6g}" if abs(value) < _PLAIN else shown(value)
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else shown(value)


def printable(text: str) -> str:
    """A report as a terminal may print it: its lines and its bold stay, codes of cells are shown.

    >>> printable("one\\ntwo\\x1b[2J")
    'one\\ntwo\\\\x1b[2J'
    """
    return "\n".join(
        "".join(piece if _BOLD.fullmatch(piece) else escaped(piece) for piece in _BOLD.split(line))
        for line in text.split("\n")
    )


def json_text(value: Any) -> str:
    """JSON as a terminal may print it: codes that it would obey are written as JSON escapes."""
    text = json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False, default=str)
    return (
        "".join(char if char.isprintable() or char == "\n" else json.dumps(char)[1:-1] for char in text)
        if not text.replace("\n", "").isprintable()
        else text
    )


def in_words(value: Any) -> str:
    """A value of a report on one line.

    >>> in_words(["one", "two"]), in_words([]), in_words({"numpy": None, "pint": "0.24"})
    ('one; two', 'none', 'numpy none, pint 0.24')
    """
    if value is None or value == [] or value == {}:
        return "none"
    if isinstance(value, dict):
        return ", ".join(f"{key} {in_words(item)}" for key, item in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(in_words(item) for item in value)
    return shown(value)


class Progress:
    """A line on standard error that shows how far long work is; nothing unless it is a terminal."""

    def __init__(self, total: int, what: str, stream: TextIO | None = None):
        self.total, self.what, self.done = total, what, 0
        self.stream = sys.stderr if stream is None else stream
        self.live = self.stream.isatty() and total > 1
        self._last = 0.0

    def step(self, count: int = 1) -> None:
        """So much more is done."""
        self.done += count
        now = time.monotonic()
        if self.live and (now - self._last > 0.1 or self.done >= self.total):
            self._last = now
            filled = 24 * self.done // max(self.total, 1)
            bar = "#" * filled + "." * (24 - filled)
            self.stream.write(f"\r{self.what} [{bar}] {self.done}/{self.total}")
            self.stream.flush()

    def close(self) -> None:
        """End the line."""
        if self.live:
            self.stream.write("\n")
            self.stream.flush()

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
