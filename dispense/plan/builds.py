"""A plan with the builds of a file or data frame in place of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

from ..base.errors import NA, InputError, Problem
from .build import read_table, spell_as
from .prepared import prepared
from .records import Plan
from .rows import Build
from .sources import Source, by_row, raw_source
from .tables import BUILDS


def with_builds(plan: Plan, source: Source) -> Plan:
    """The plan with its builds replaced by those of a file or data frame."""
    problems: list[Problem] = []
    raw = raw_source(source, BUILDS.name)
    if not raw.columns:
        raise InputError(
            Problem(raw.sheet, message="has no columns", fix="columns date, shift, part, quantity")
        )
    notes: list[Problem] = []
    raw = prepared(raw, plan, problems)
    records = read_table(BUILDS, raw, problems, {}, notes)
    builders = {row.part for row in plan.parts} | {row.assembly for row in plan.assemblies}
    names = {"shift": {row.shift for row in plan.shifts}, "part": builders}
    for argument, known in names.items():
        records = spell_as(records, argument, known)
    tables = {"shift": "Shifts", "part": "Parts or Assemblies"}
    for row in records:
        problems += [
            Problem(row.at, argument, getattr(row, argument), f"a name in {tables[argument]}", code=NA)
            for argument in names
            if getattr(row, argument) not in names[argument]
        ]
    if problems:
        raise InputError(by_row(problems, raw.sheet))
    return replace(
        plan, builds=cast(list[Build], records), warnings=[*plan.warnings, *by_row(notes, raw.sheet)]
    )


__all__ = ["with_builds"]
