"""Makes the templates of the printed sheets: `python -m dispense.books.templates [FOLDER] [--language de]`.

Each sheet's own file in `dispense.sheets` says what it has and how it is laid out, so that a template
has what its contents need. A plant may restyle the files: names and table headers are what counts.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from ..base.language import ENGLISH, languages, printed_in
from ..base.measures import CHOICES, Measures, measured_in
from ..sheets.catalogue import LAYOUTS, SPECS
from ..sheets.layout import Book
from ..sheets.litres import spec_in_litres
from ..sheets.spec import SheetSpec
from ..xlsx.write import atomic_write
from .finish import finished
from .form import FormBook

__all__ = ["make", "template", "write_all"]


def template(spec: SheetSpec, layout: Callable[[Book], None]) -> bytes:
    """A template with the values of its formulas; the same bytes on any day."""
    pages = FormBook(spec)
    layout(pages)
    pages.close()
    return finished(pages.book, spec.file)


def make(key: str, *, in_litres: bool = False) -> bytes:
    """The template of one kind of sheet; `in_litres`: that of much material."""
    return template(spec_in_litres(SPECS[key]) if in_litres else SPECS[key], LAYOUTS[key])


def write_all(folder: str | Path) -> list[Path]:
    """Write all templates into a folder."""
    Path(folder).mkdir(parents=True, exist_ok=True)
    return [atomic_write(Path(folder) / spec.file, make(key)) for key, spec in SPECS.items()]


def main() -> None:
    """Write the templates in a language into a folder, by default that of the repository."""
    parser = argparse.ArgumentParser(prog="python -m dispense.books.templates")
    parser.add_argument("folder", nargs="?", default=Path(__file__).parents[2] / "workbook_templates")
    parser.add_argument("--language", default=ENGLISH, help=f"{', '.join(languages())}, or fr.csv")
    units = ", ".join(unit for offered in CHOICES.values() for unit in offered[1:])
    parser.add_argument("--units", default="", help=f"those other than the shop's, of {units}")
    options = parser.parse_args()
    chosen = tuple(filter(None, (unit.strip() for unit in options.units.split(","))))
    if unknown := [unit for unit in chosen if unit not in units.split(", ")]:
        parser.error(f"--units {', '.join(unknown)}: it must be some of {units}")
    with printed_in(options.language), measured_in(Measures(chosen)):
        for path in write_all(options.folder):
            print(path)


if __name__ == "__main__":
    main()
