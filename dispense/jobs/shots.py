"""The proposed shots of a station's pots in a new plan workbook; the old one stays as it is."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from ..base.errors import InputError, Problem
from ..base.units import from_si
from ..plan.amounts import free_volume
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.rows import Pot, Shot
from ..plan.tables import TABLES
from ..reports.pour import PourReport
from ..reports.shot_plan import ShotChoice
from ..xlsx.write import atomic_write, scratch
from .rewrite import with_rows

_CLOSE = 1e-6  # of a share or a minute that is read back
_COLUMNS = ("part", "pot", "shot", "portion", "wait")

Row = tuple[str, str, int, float, float]  # part, pot, shot, portion, wait in minutes


def proposed_rows(plan: Plan, pot: Pot, choice: ShotChoice) -> list[Row]:
    """The rows of Shots for a choice: each shot's share of the volume, its wait in minutes."""
    levels = [number * choice.depth for number in range(1, choice.shots + 1)]
    volumes = [0.0, *(free_volume(plan, pot, level) for level in levels)]
    return [
        (
            pot.part,
            pot.pot,
            number,
            (volumes[number] - volumes[number - 1]) / volumes[-1],
            from_si(choice.wait, "min") if number > 1 else 0.0,
        )
        for number in range(1, choice.shots + 1)
    ]


def write_shots(
    path: str | os.PathLike[str], pours: Sequence[PourReport], out: str | os.PathLike[str]
) -> Path:
    """A new plan workbook with the shots that were proposed for pots; never over a file that is there.

    It is read again before it is put in place: it must hold these shots and all else as it was.
    """
    plan = load_plan(path)
    rows: list[Row] = []
    problems = []
    for pour in pours:
        found = pour.shot_map
        if found is None:
            continue
        if found.choice is None:
            problems.append(Problem(pour.pot.at, message=f"{pour.name}: {found.words}"))
        elif not _as_planned(found.choice, found.rows[0][0]):
            problems.append(
                Problem(
                    pour.pot.at,
                    message=f"{pour.name}: what is proposed asks for another temperature of compound or shop "
                    f"({found.choice.words})",
                    fix="state the pour temperature in Pots, or the hour in Temperatures, and ask again",
                )
            )
        else:
            rows += proposed_rows(plan, pour.pot, found.choice)
    if not rows and not problems:
        problems.append(
            Problem(
                "shots",
                message="no pot of the station has a limit and cells whose pattern is known",
                fix="give limit, arrangement, pitch, cells along and cell rows in Pots",
            )
        )
    if problems:
        raise InputError(problems)
    replaced = {row[:2] for row in rows}
    kept = [
        (shot.part, shot.pot, shot.shot, shot.portion, from_si(shot.wait, "min"))
        for shot in plan.shots
        if (shot.part, shot.pot) not in replaced
    ]
    content = with_rows(Path(path), "Shots", _COLUMNS, [*kept, *rows])
    with scratch() as folder:
        trial = folder / "plan.xlsx"
        trial.write_bytes(content)
        _check(plan, load_plan(trial), [*kept, *rows])
    return atomic_write(out, content, forbid=[path], new=True)


def _as_planned(choice: ShotChoice, planned: ShotChoice) -> bool:
    return (choice.pour, choice.shop) == (planned.pour, planned.shop)


def _check(old: Plan, new: Plan, rows: Sequence[Row]) -> None:
    """The new plan holds these shots, and all other records of the old one."""

    def shots(found: Sequence[Shot]) -> list[Row]:
        return sorted(
            (shot.part, shot.pot, shot.shot, shot.portion, from_si(shot.wait, "min")) for shot in found
        )

    def is_alike(one: Row, other: Row) -> bool:
        return one[:3] == other[:3] and all(
            abs(a - b) <= _CLOSE * max(1.0, abs(b)) for a, b in zip(one[3:], other[3:], strict=True)
        )

    written, wanted = shots(new.shots), sorted(rows)
    same = len(written) == len(wanted) and all(map(is_alike, written, wanted))
    others = [table.attribute for table in TABLES if table.name != "Shots"]
    if not same or any(getattr(old, name) != getattr(new, name) for name in others):
        raise InputError(
            Problem(
                "Shots",
                message="the table Shots of this workbook cannot be written safely",
                fix="type the proposed shots into it",
            )
        )


__all__ = ["proposed_rows", "write_shots"]
