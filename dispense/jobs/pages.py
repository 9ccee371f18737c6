"""Writes docs/functions.md, docs/plan_tables.md and plan/rows.py from the declarations.

`python -m dispense.jobs.pages [FOLDER]`; the folder is `docs` where none is given.
"""

from __future__ import annotations

import sys
from pathlib import Path

from ..base.fields import Field
from ..base.units import describe_unit
from ..handbook.catalogue import FUNCTIONS
from ..handbook.declare import Function
from ..handbook.words import by_category, call_text, literal, remarks
from ..plan import make_rows
from ..plan.tables import SETTINGS, TABLES, Table

_HEAD = """# Workbook functions

Made from the registry by `python -m dispense.jobs.pages`; do not edit. Plain numbers are in the units
below; any number may be a text with a unit, such as `"3/16 in"` or `"75 degF"`. Ranges broadcast and
results spill. A wrong type or unit gives `#VALUE!`, an impossible number `#NUM!`, a name that is not
in its list `#N/A`; `LAST_PROBLEMS()` says why.
"""


def functions_markdown() -> str:
    """The whole page."""
    lines = [_HEAD]
    topics = by_category(FUNCTIONS.values())
    for category, members in topics:
        links = ", ".join(f"[{entry.name}](#{entry.name.lower()})" for entry in members)
        lines.append(f"- **{category}**: {links}")
    for category, members in topics:
        lines.append(f"\n## {category}")
        lines.extend(map(_section, members))
    return "\n".join(lines).rstrip() + "\n"


def _section(entry: Function) -> str:
    lines = [f"\n### {entry.name}\n", f"`{entry.signature}`\n", f"{entry.summary}\n"]
    if entry.arguments:
        lines += ["| argument | unit | default | meaning | it must be |", "|---|---|---|---|---|"]
    for item in entry.arguments:
        unit = describe_unit(item.unit) if item.kind in _NUMBERS else item.kind
        default = item.default_text() or ("required" if item.is_required else "optional")
        words = "; ".join(part.title for part in item.columns) if item.columns else item.allowed()
        lines.append("| " + " | ".join(map(_cell, (item.label, unit, default, item.help, words))) + " |")
    lines += ["", "| result | unit | meaning |", "|---|---|---|"]
    lines += [
        f"| {_cell(item.name)} | {_cell(describe_unit(item.unit))} | {_cell(item.help)} |"
        for item in entry.returns
    ]
    lines.append("")
    lines += [f"- {title}: {body}" for title, body in remarks(entry)]
    lines += [
        f"- Example: `{call_text(entry.name, example)}` gives {literal(example.result)} ({example.source})"
        for example in entry.examples[:1]
    ]
    return "\n".join(lines)


_NUMBERS = {"number", "whole", "vector", "matrix", "points"}


def _cell(text: str) -> str:
    return str(text).replace("|", "\\|").replace("\n", " ")


_TABLES_HEAD = """# The tables of a plan

Made from the declarations by `python -m dispense.jobs.pages`; do not edit. A plan workbook has one
sheet for each table. A header carries its unit, `Width [mm]`, and you may change it to another of the
same kind, `Width [in]`; `Width (in)` and `Width, in` are read too. A number may be written as `0.1875`,
`3/16`, `1 1/8`, `1-1/8`, `½`, `2×10⁷` or, where its column leaves no doubt, `0,1875`; it takes the unit of
the header. A text may carry its own unit instead: `3/16 in`, `5 mil`, `1 US gal`, `3500 mPas` (a gallon
or fluid ounce without a word before it is that of the US). Rows and columns may stand in any order. A
blank cell takes the default; where the default is "none" the value is then unknown.

Names are compared without capitals and kinds of blanks. A column, sheet or setting of your own does no
harm: `dispense check` names it in a note. One that resembles what the plan lacks, or that carries a unit,
is a problem, for it was meant to be read. A header that an earlier version used is still
read.
"""


def plan_tables_markdown() -> str:
    """The page of the plan's tables."""
    names = [
        ("Settings", "what holds for the whole plan; one value in each row"),
        *((table.name, table.help) for table in TABLES),
    ]
    lines = [_TABLES_HEAD, "| table | what it holds |", "|---|---|"]
    lines += [f"| [{name}](#{name.lower()}) | {_cell(words)} |" for name, words in names]
    lines += ["\n## Settings\n", *_columns(SETTINGS)]
    for table in TABLES:
        lines += [f"\n## {table.name}\n", _sentence(table), "", *_columns(table.columns)]
    return "\n".join(lines).rstrip() + "\n"


def _sentence(table: Table) -> str:
    words = [table.help[:1].upper() + table.help[1:] + "."]
    if table.required:
        words.append("Must hold rows.")
    if table.key:
        keys = " and ".join(f"`{table.column(name).title}`" for name in table.key)
        words.append(f"No two rows have the same {keys}.")
    return " ".join(words)


def _columns(fields: tuple[Field, ...]) -> list[str]:
    lines = ["| column | default | meaning | it must be |", "|---|---|---|---|"]
    topic = ""
    for item in fields:
        if item.topic != topic:
            topic = item.topic
            lines.append(f"| **{topic}** | | | |")
        default = item.default_text() or ("required" if item.is_required else "none")
        allowed = f"a name in {item.refers}" if item.refers else item.allowed()
        lines.append("| " + " | ".join(map(_cell, (item.title, default, item.help, allowed))) + " |")
    return lines


PAGES = {"functions.md": functions_markdown, "plan_tables.md": plan_tables_markdown}


def main() -> None:
    """Write the pages."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "docs")
    for name, page in PAGES.items():
        (folder / name).write_text(page(), encoding="utf-8")
        print(f"wrote {folder / name}")
    make_rows.main()


if __name__ == "__main__":
    main()
