"""Every kind of sheet on both papers, in each language and both systems of units, as a spreadsheet prints it.

By hand, before a release: `python tests/papers.py FOLDER` fills one shift of the demo and of a line for all
combinations, prints them with LibreOffice, says what is amiss, and leaves a picture of every page and a sheet
of contacts a kind and combination in the folder, to be looked at. `tests/test_papers.py` runs three of them.
"""

from __future__ import annotations

import argparse
import itertools
import re
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import openpyxl
from plans import routed_rows
from test_cells_fit import misfits

from dispense.books.plan import write_plan
from dispense.jobs.fill import fill
from dispense.plan.demo import DEMO

LANGUAGES = ("en", "de", "es")
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}  # points: ISO 216, ANSI Y14.1
UNITS = {
    "metric": {},
    "us": {"length_unit": "in", "volume_unit": "fl oz", "mass_unit": "oz", "temperature_unit": "°F"}
    | {"pressure_unit": "psi"},
}
DAY, SHIFT, STAMP = "2026-03-02", "Early", "2026-03-01 12:00"
#: kinds of which each worksheet is one page for the demo, by the end of the file's name
ONE_PAGE = ("material", "board", "setup", "staging", "check")
HEAD_PART = 0.12  # of a page, from its top, in which the running head stands
FEW_WORDS = 12  # of a page that holds a row and no more, its head and foot aside


@dataclass(frozen=True)
class Page:
    """A printed page: its words with the place of each in points from the upper left corner."""

    wide: float
    high: float
    words: tuple[tuple[float, float, float, float, str], ...]

    @property
    def head(self) -> str:
        return " ".join(word for _, top, _, _, word in self.words if top < HEAD_PART * self.high)


def combinations() -> list[tuple[str, str, str]]:
    """Language, paper and system of units."""
    return list(itertools.product(LANGUAGES, PAPERS, UNITS))


def sheets(folder: Path, language: str, paper: str, units: str) -> list[Path]:
    """The sheets of one shift, those of a line among them."""
    found = []
    for name, rows, day, shift in (("demo", DEMO, DAY, SHIFT), ("line", routed_rows(), DAY, "early")):
        settings = [{**(rows.get("Settings") or [{}])[0], **UNITS[units]}]
        plan = write_plan({**rows, "Settings": settings}, folder / f"{name}.xlsx")
        out = folder / name
        report = fill(plan, out, date=day, shift=shift, stamp=STAMP, language=language, paper=paper)
        found += [path for path in report.files if path.name != "results.xlsx"]
    return found


def printed(books: Sequence[Path], out: Path) -> dict[Path, list[Page]]:
    """The pages of the workbooks as LibreOffice prints them; the files beside each other in `out`."""
    found = {}
    out.mkdir(parents=True, exist_ok=True)
    for folder in sorted({path.parent for path in books}):
        here = [path for path in books if path.parent == folder]
        command = ["soffice", f"-env:UserInstallation=file://{out / 'profile'}", "--headless"]
        command += ["--convert-to", "pdf", "--outdir", str(out / folder.name), *map(str, here)]
        subprocess.run(command, check=True, capture_output=True, timeout=900)
        for path in here:
            found[path] = pages(out / folder.name / f"{path.stem}.pdf")
    return found


def pages(pdf: Path) -> list[Page]:
    """The words of each page of a PDF."""
    command = ["pdftotext", "-bbox", str(pdf), "-"]
    text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    found = []
    for part in text.split("<page ")[1:]:
        size = re.match(r'width="([\d.]+)" height="([\d.]+)"', part)
        words = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', part
        )
        each = tuple((float(a), float(b), float(c), float(d), word) for a, b, c, d, word in words)
        found.append(Page(float(size[1]), float(size[2]), each))
    return found


def faults(book: Path, found: Sequence[Page], paper: str) -> Iterator[str]:
    """What is amiss with a workbook and its pages."""
    kind = book.stem.rpartition("_")[2]
    workbook = openpyxl.load_workbook(book)
    shown = [sheet for sheet in workbook.worksheets if sheet.sheet_state == "visible"]
    yield from (f"cut: {item}" for item in misfits(book))
    if kind in ONE_PAGE and "demo" in book.parts and len(found) > len(shown):
        yield f"{len(found)} pages of {len(shown)} worksheets"
    for place, page in enumerate(found, 1):
        if any(abs(a - b) > 2 for a, b in zip(sorted((page.wide, page.high)), PAPERS[paper], strict=True)):
            yield f"page {place} is {page.wide:.0f} × {page.high:.0f} pt: not {paper}"
        numbers = f"{place}/{len(found)}"
        head = page.head
        if not re.search(rf"\b{place}\D{{1,8}}{len(found)}\b", head):
            yield f"page {place} does not say {numbers} in its head: {head[:80]!r}"
        station = workbook.defined_names.get("station")
        if station is not None:
            title, _, cell = station.attr_text.rpartition("!")
            name = str(workbook[title.strip("'")][cell.replace("$", "")].value)
            if name not in head:
                yield f"page {place} does not name {name}"
        under = [word for word in page.words if word[1] >= HEAD_PART * page.high]
        if place > 1 and len(under) < FEW_WORDS and len(found) > len(shown):
            yield f"page {place} holds {len(under)} words alone: {' '.join(word[4] for word in under)!r}"
        for left, top, right, bottom, word in page.words:
            if left < -1 or right > page.wide + 1 or top < -1 or bottom > page.high + 1:
                yield f"page {place}: {word!r} runs over the edge"


def amiss(folder: Path, language: str, paper: str, units: str) -> tuple[dict[str, int], list[str]]:
    """The pages of each file, and what is amiss, of one combination."""
    books = sheets(folder, language, paper, units)
    counts, found = {}, []
    for book, each in printed(books, folder / "pdf").items():
        name = f"{book.parent.name}/{book.name}"
        counts[name] = len(each)
        found += [f"{name}: {fault}" for fault in faults(book, each, paper)]
    return counts, found


def contacts(folder: Path, dots: int = 60) -> None:
    """A picture of each page and, a kind, one of all its pages."""
    for pdf in sorted((folder / "pdf").rglob("*.pdf")):
        subprocess.run(["pdftoppm", "-r", str(dots), "-png", str(pdf), str(pdf.with_suffix(""))], check=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("only", nargs="*", help="such as de-Letter-us")
    options = parser.parse_args()
    for each in combinations():
        name = "-".join(each)
        if options.only and name not in options.only:
            continue
        folder = (options.folder / name).resolve()
        folder.mkdir(parents=True)
        counts, found = amiss(folder, *each)
        print(f"{name}: {len(counts)} files, {sum(counts.values())} pages, {len(found)} faults", flush=True)
        for fault in found:
            print(f"  {fault}", flush=True)
        contacts(folder)


if __name__ == "__main__":
    main()
