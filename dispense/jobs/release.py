"""Release a plan: a copy of it that stays, who released it and when; and what a later plan differs in.

Beside `plan.xlsx` a folder `plan_released` has a copy of each release and `released.json`, the list.
"""

from __future__ import annotations

import datetime
import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from ..base.errors import FileError, InputError, Problem
from ..base.file_names import safe_name
from ..base.findings import DANGER, Finding
from ..base.printed import counted
from ..base.terminal import findings_text
from ..plan.read import load_plan
from ..plan.records import Plan
from ..plan.revised import Difference, Revision
from ..plan.revision import differences, process_mark
from ..reports.findings import plan_findings
from ..xlsx.write import atomic_write, make_folder
from .unattended import fingerprint

LIST = "released.json"
FOLDER = "_released"
MOST_TOLD = 40  # differences on the screen


@dataclass(frozen=True, slots=True)
class Release:
    """One release as it is listed."""

    revision: str
    by: str
    at: str  # ISO date and time
    reason: str
    file: str
    sha256: str  # of the copy
    mark: str  # of its process

    @property
    def day(self) -> datetime.date:
        """The day of it."""
        return datetime.datetime.fromisoformat(self.at).date()


@dataclass(slots=True)
class ReleaseReport:
    """What is released, what differs, and what keeps a plan from being released."""

    plan: Path
    releases: list[Release]
    differences: list[Difference]
    is_this: bool
    made: Path | None = None
    findings: list[Finding] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """As data."""
        return {
            "plan": str(self.plan),
            "released": [asdict(one) for one in self.releases],
            "is_released": self.is_this,
            "differences": [
                {"table": one.table, "row": one.row, "what": one.what, "before": one.before, "now": one.now}
                for one in self.differences
            ],
            "written": str(self.made) if self.made else None,
            "findings": [finding.as_json() for finding in self.findings],
        }

    def as_text(self) -> str:
        """For the screen."""
        lines = []
        last = self.releases[-1] if self.releases else None
        if self.made and last:
            lines.append(f"released {self.plan.name} as revision {last.revision}: {self.made}")
        elif last is None:
            lines.append(f"{self.plan.name} was never released")
        elif self.is_this:
            lines.append(f"{self.plan.name} is revision {last.revision}, released by {last.by} on {last.day}")
        else:
            lines.append(f"{self.plan.name} is not released; the last is revision {last.revision}")
        if self.findings:
            lines += ["not released: settle first what can hurt someone", findings_text(self.findings)]
        if self.differences:
            since = "since the revision before" if self.is_this else "since then"
            lines.append(f"{counted(len(self.differences), 'change')} {since}:")
            lines += [f"  {one.text}" for one in self.differences[:MOST_TOLD]]
            if len(self.differences) > MOST_TOLD:
                lines.append(f"  and {len(self.differences) - MOST_TOLD} more")
        for one in self.releases:
            lines.append(f"{one.revision:>4}  {one.day}  {one.by}  {one.reason}".rstrip())
        return "\n".join(lines)


def releases_of(plan_path: str | os.PathLike[str]) -> list[Release]:
    """The releases of a plan, the last one last; none where it was never released.

    Raises FileError where the list cannot be understood or a copy is not as it was released.
    """
    listed = list_of(plan_path)
    if listed is None:
        return []
    try:
        found = [Release(**one) for one in json.loads(listed.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError) as error:
        raise FileError(
            Problem(str(listed), message="cannot be understood", fix="put its last copy back")
        ) from error
    return found


def list_of(plan_path: str | os.PathLike[str]) -> Path | None:
    """The list of the releases of a plan, where there is one."""
    path = _folder(plan_path) / LIST
    return path if path.is_file() else None


def revision_of(plan: Plan, plan_path: str | os.PathLike[str]) -> Revision | None:
    """What the sheets of a plan say of it; None where none of its versions was released."""
    releases = releases_of(plan_path)
    if not releases:
        return None
    last = releases[-1]
    is_this = last.mark == process_mark(plan)
    before = releases[-2] if is_this and len(releases) > 1 else None if is_this else last
    changed = differences(plan, _copy(plan_path, before)) if before else []
    return Revision(last.revision, last.by, last.day, is_this, tuple(changed))


def release(
    plan_path: str | os.PathLike[str],
    by: str | None = None,
    *,
    revision: str | None = None,
    reason: str = "",
    at: datetime.datetime | None = None,
) -> ReleaseReport:
    """Release a plan as its next revision, or without `by` say how it stands to the last.

    A plan of which a danger is found is not released. Where it is the last revision already, nothing is
    written.
    """
    source = Path(plan_path)
    plan = load_plan(source)
    releases = releases_of(source)
    state = revision_of(plan, source)
    report = ReleaseReport(
        source, releases, list(state.differences) if state else [], state is not None and state.is_this
    )
    if by is None or report.is_this:
        return report
    name = revision.strip() if revision else next_revision(releases[-1].revision if releases else "")
    _check(name, by, releases)
    report.findings = [item for item in plan_findings(plan) if item.kind == DANGER]
    if report.findings:
        return report
    folder = _folder(source)
    make_folder(folder)
    copy, content = folder / f"{source.stem} {safe_name(name)}{source.suffix}", source.read_bytes()
    if copy.exists() and copy.read_bytes() != content:  # the same is left of a run that was ended in between
        raise FileError(Problem(str(copy), message="is there already", fix="choose another --revision"))
    atomic_write(copy, content)
    moment = (at or datetime.datetime.now()).isoformat(timespec="seconds")
    made = Release(name, by.strip(), moment, reason.strip(), copy.name, fingerprint(copy), process_mark(plan))
    report.releases = [*releases, made]
    listed = json.dumps([asdict(one) for one in report.releases], ensure_ascii=False, indent=2)
    atomic_write(folder / LIST, (listed + "\n").encode())
    report.made, report.is_this = copy, True
    return report


def next_revision(last: str) -> str:
    """The name after a name: a number after a number, a letter after a letter.

    >>> next_revision(""), next_revision("A"), next_revision("Z"), next_revision("9"), next_revision("P-3")
    ('A', 'B', 'AA', '10', 'P-4')
    """
    head = last.rstrip("0123456789")
    if head != last:
        return f"{head}{int(last[len(head) :]) + 1}"
    start, final = last[:-1], last[-1:]
    if not ("A" <= final < "Z"):
        return f"{last.rstrip('Z')}{'A' * (len(last) - len(last.rstrip('Z')) + 1)}"
    return start + chr(ord(final) + 1)


def _check(name: str, by: str, releases: list[Release]) -> None:
    problems = []
    if not by.strip():
        problems.append(Problem("release", "by", by, "the name of who releases it"))
    if any(one.revision.casefold() == name.casefold() for one in releases):
        given = ", ".join(one.revision for one in releases)
        problems.append(
            Problem("release", "revision", name, f"a name that was not given yet; given are {given}")
        )
    if problems:
        raise InputError(problems)


def _folder(plan_path: str | os.PathLike[str]) -> Path:
    path = Path(plan_path)
    return path.with_name(path.stem + FOLDER)


def _copy(plan_path: str | os.PathLike[str], one: Release) -> Plan:
    """A released version, as it was released."""
    path = _folder(plan_path) / one.file
    if not path.is_file() or fingerprint(path) != one.sha256:
        raise FileError(
            Problem(
                str(path),
                message=f"is not as it was released as revision {one.revision}",
                fix="put it back from a copy",
            )
        )
    return load_plan(path)


__all__ = ["Release", "ReleaseReport", "list_of", "next_revision", "release", "releases_of", "revision_of"]
