"""The language that sheets are printed in: one word list for each, English words and theirs.

A list is a CSV of the columns English and Translation. A text of figures and names is listed as a
pattern: `Batch {number} may be moved at {time}`. What stands for a field is kept: `{name}` and names that
begin so (`{name2}`) are the plan's own words and stay as they are; `{text}` is looked up in the list
again; all others are figures, whose decimal mark and days of the week follow the language.
English needs no list: it is what the code says.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from .errors import FileError, InputError, Problem, one_line
from .measures import measures
from .units import SHOP_UNITS

WORDS = Path(__file__).resolve().parents[1] / "words"
ENGLISH = "en"
DECIMAL_MARK = "decimal mark"  # an entry of each list: what parts the decimals
LOCALE = "locale of dates"  # and the code by which spreadsheets know the names of its days: 407

_FIGURES = r"(?:(?![a-z]{4}).)+?"  # no longer word, so that no sentence is taken for a figure
_FIELD = re.compile(r"\{(\w+)\}")
_FIGURE = re.compile(r"(?<![\w.,:/-])\d+(?:,\d{3})*(?:\.\d+)?(?![\w:/-]|[.,]\w)")
_DAY = re.compile(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b")
_WORD = re.compile(r"[^\W\d_]{2,}")
_MARKS = str.maketrans(",.", ".,")
_EDGES = re.compile(r"(\s*(?:▲ )?)(.*?)(\s*)\Z", re.DOTALL)


@dataclass(slots=True)
class _Pattern:
    """An entry with fields: how it is known, and the words it becomes."""

    source: str  # a regular expression, compiled on first use: a list has a thousand, a run asks for few
    words: str
    literal: str  # its longest stretch without a field, to pass over most texts at once
    _known: re.Pattern[str] | None = None

    def met(self, text: str) -> re.Match[str] | None:
        """What stands at the fields of the entry where a text is one of it."""
        if self.literal not in text:
            return None
        if self._known is None:
            self._known = re.compile(self.source, re.DOTALL)
        return self._known.fullmatch(text)


@dataclass(slots=True)
class Language:
    """A word list; `missing` gathers what was asked for and is not in it."""

    code: str
    texts: dict[str, str] = field(default_factory=dict)
    patterns: list[_Pattern] = field(default_factory=list)
    missing: dict[str, None] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    _found: dict[str, str] = field(default_factory=dict)

    @property
    def locale(self) -> str:
        """What a number format begins with so that it names days in this language."""
        code = self.texts.get(LOCALE, "")
        return f"[$-{code}]" if code else ""

    def translate(self, text: str, *, known: bool = True) -> str:
        """A text in this language; as it is where the list has none.

        `known` says that the list should have it, and not that it may be a name.

        A warning mark and blanks at its ends are kept; what stands between "; " is looked up by itself.
        """
        if self.code == ENGLISH or not text:
            return text
        if text not in self._found:
            before, words, after = _EDGES.match(text).groups()  # type: ignore[union-attr]
            said = self._said(words, known)
            if said is None:
                return text if not known else before + self.figures(words) + after
            self._found[text] = before + said + after
        return self._found[text]

    def _said(self, text: str, known: bool) -> str | None:
        """What the list says, None where it says nothing."""
        if text in self.texts:
            self.used.add(text)
            return self.texts[text]
        for pattern in self.patterns:
            if (found := pattern.met(text)) and _is_apart(found):
                self.used.add(pattern.source)
                given = {name: self._value(name, value) for name, value in found.groupdict().items()}
                return pattern.words.format_map(given)
        if "; " in text:
            return "; ".join(self.translate(part, known=known) for part in text.split("; "))
        if known and {word for word in _WORD.findall(_DAY.sub("", text)) if word not in SHOP_UNITS}:
            self.missing[text] = None
        return None

    def _value(self, name: str, value: str) -> str:
        if name.startswith("name"):
            return value
        return self.translate(value) if name.startswith("text") else self.figures(value)

    def figures(self, text: str) -> str:
        """A text of figures and clock times with this language's decimal mark and names of days."""
        if self.texts.get(DECIMAL_MARK) == ",":
            text = _FIGURE.sub(lambda each: each[0].translate(_MARKS), text)
        return _DAY.sub(lambda each: self.texts.get(each[0], each[0]), text)


_ENGLISH = Language(ENGLISH)
_current: ContextVar[Language | None] = ContextVar("language", default=None)


def translated(text: str, *, known: bool = True) -> str:
    """A text in the language and the units that are printed at present; see `Language.translate`.

    >>> translated("Lots to bring")
    'Lots to bring'
    >>> with printed_in("de"):
    ...     translated("break until Tue 10 Mar 02:05"), translated("no warning"), translated("12.5 mL")
    ('Pause bis Di 10 Mär 02:05', 'keine Warnung', '12,5 mL')
    """
    units = measures()
    return units.said(language().translate(units.turned(text), known=known))


def said_problem(problem: Problem) -> str:
    """A problem in the language that is printed: its sentence and its fix each by itself, as findings are.

    >>> with printed_in("de"):
    ...     said_problem(Problem("Beads!B2", "width", -3.0, "above 0 mm", "check it"))
    'Beads!B2: width ist -3; erlaubt: über 0 mm (nachsehen)'
    """
    bare = replace(problem, where="", fix="")
    text = translated(str(bare))
    before = f"{problem.where}: " if problem.where else ""
    after = f" ({translated(problem.fix)})" if problem.fix else ""
    return one_line(f"{before}{text}{after}")


def language() -> Language:
    """The language that is printed at present."""
    return _current.get() or _ENGLISH


@contextmanager
def printed_in(code: str | Language, folder: Path | None = None) -> Iterator[Language]:
    """Print in a language: the code of a list that comes with the planner, or a plant's own CSV file."""
    chosen = code if isinstance(code, Language) else read_language(code, folder)
    token = _current.set(chosen)
    try:
        yield chosen
    finally:
        _current.reset(token)


def languages() -> list[str]:
    """The codes of the languages that come with the planner."""
    return [ENGLISH, *sorted(path.stem for path in WORDS.glob("*.csv"))]


def read_language(code: str, folder: Path | None = None) -> Language:
    """A language by its code, or from a CSV file that is named as it is or from `folder`.

    Raises InputError for a code that is not known, FileError for a file that is no word list.
    """
    wanted = code.strip() or ENGLISH
    if wanted.casefold() == ENGLISH:
        return Language(ENGLISH)
    if not wanted.casefold().endswith(".csv"):
        if wanted.casefold() not in languages():
            allowed = f"one of {', '.join(languages())}, or a word list such as fr.csv"
            raise InputError(Problem("", "language", code, allowed))
        return read_words(WORDS / f"{wanted.casefold()}.csv")
    places = [(folder or Path()) / wanted, Path(wanted)]
    return read_words(next((path for path in places if path.is_file()), places[0]))


@cache
def shipped_language(code: str) -> Language:
    """A language that comes with the planner, read once."""
    return read_language(code)


def read_words(path: Path) -> Language:
    """A word list from its CSV file; every row that is wrong is told at once."""
    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except OSError as error:
        raise FileError(Problem(str(path), message="cannot be read", fix="check its name")) from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise FileError(Problem(str(path), message="is no CSV in UTF-8", fix="save it as such")) from error
    found = Language(path.stem)
    problems = []
    for number, row in enumerate(rows[1:], 2):
        if not any(row):
            continue
        if len(row) < 2 or not row[0]:
            problems.append(Problem(f"{path.name} row {number}", message="needs English and Translation"))
            continue
        english, words = row[:2]
        if set(_FIELD.findall(english)) != set(_FIELD.findall(words)) and words:
            problems.append(
                Problem(
                    f"{path.name} row {number}",
                    message=f"its fields {_fields(words)} are not those of the English, {_fields(english)}",
                )
            )
        elif words:
            _add(found, english, words)
    if problems:
        raise FileError(problems)
    found.patterns.sort(key=lambda pattern: -len(pattern.literal))
    return found


def _is_apart(found: re.Match[str]) -> bool:
    """Whether no name was taken that goes on into the next of several texts."""
    return not any("; " in value for name, value in found.groupdict().items() if name.startswith("name"))


def _fields(text: str) -> str:
    return ", ".join(f"{{{name}}}" for name in sorted(set(_FIELD.findall(text)))) or "none"


def _add(found: Language, english: str, words: str) -> None:
    if not _FIELD.search(english):
        found.texts[english] = words
        return
    parts = _FIELD.split(english)
    seen: set[str] = set()
    known = ""
    for place, part in enumerate(parts):
        if place % 2 == 0:
            known += re.escape(part)
        else:
            given = ".+?" if part.startswith(("name", "text")) else _FIGURES
            known += f"(?P={part})" if part in seen else f"(?P<{part}>{given})"
            seen.add(part)
    found.patterns.append(_Pattern(known, words, max(parts[::2], key=len)))


__all__ = [
    "DECIMAL_MARK",
    "ENGLISH",
    "LOCALE",
    "WORDS",
    "Language",
    "language",
    "languages",
    "printed_in",
    "read_language",
    "read_words",
    "said_problem",
    "shipped_language",
    "translated",
]
