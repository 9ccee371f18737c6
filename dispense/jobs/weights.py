"""`dispense weights`: the shot weights in the journal against the plan, and their workbook."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..base.errors import NA, InputError, Problem
from ..base.findings import Finding, gravest_first
from ..base.paper import paper_code
from ..base.printed import counted, listed
from ..base.terminal import emphasise, findings_text, table
from ..books.weights import weights_workbook
from ..journal.statistics import FALSE_ALARMS, Effect
from ..journal.store import journal_path, read_journal
from ..journal.weights import (
    WEIGH_MORE,
    Weights,
    slope_reach,
    slope_unit,
    source_words,
    weights_findings,
    weights_of,
)
from ..plan.read import load_plan
from ..xlsx.typed import save_signed


@dataclass(slots=True)
class WeightsReport:
    """All series of weights, what was found of them, and the workbook that was written."""

    series: list[Weights]
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    out: Path | None = None

    def as_json(self) -> dict[str, Any]:
        """For a script."""
        return {
            "series": [_json(item) for item in self.series],
            "findings": [item.as_json() for item in self.findings],
            "notes": list(self.notes),
            "false_alarms": FALSE_ALARMS,
            "weigh_more_at_most": WEIGH_MORE,
            "out": str(self.out) if self.out else None,
        }

    def as_text(self) -> str:
        """For a terminal: of each series the sentence, then the figures."""
        lines: list[str] = []
        for item in self.series:
            lines += [*_lines(item), ""]
        if not self.series:
            lines += ["no weights are booked: dispense book PLAN FILE", ""]
        warnings = [item for item in self.findings if item.is_warning]
        if warnings:
            lines += [findings_text(warnings), ""]
        lines += [f"note: {words}" for words in self.notes]
        if self.out:
            lines.append(f"wrote {self.out}")
        return "\n".join(lines).rstrip()


def _lines(item: Weights) -> list[str]:
    lines = [emphasise(f"{item.station}, {item.what}: {item.sentence}")]
    if len(item.weights) > 1:
        values = item.deviations
        first, last = item.weights[0].moment, item.weights[-1].moment
        lines.append(
            f"  {counted(len(values), 'weight')}, {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}: mean "
            f"{values.mean():+.2f} % from target, {item.sd:.2f} % from one to the next"
        )
    if item.capability:
        cp, cpk, cp_low, cp_high, low, high = item.capability
        lines.append(
            f"  Cp {cp:.2f} ({cp_low:.2f} to {cp_high:.2f}), Cpk {cpk:.2f} ({low:.2f} to {high:.2f}), "
            "95 % intervals"
        )
    signals = [
        f"{chart} at {listed(map(str, numbers))}" for chart, numbers in item.signals.items() if numbers
    ]
    if item.signals:
        lines.append(f"  charts: {'; '.join(signals) or 'no signal'}")
    if item.ratio is not None:
        mean, reach = item.ratio.ratio[0], item.ratio.reach
        lines.append(
            f"  B per A by mass: {mean:+.2f} % ± {reach:.2f} % (95 %) from the plan, {item.ratio.count} pairs"
        )
    if item.effects:
        rows = [_effect_row(item, effect) for effect in item.effects]
        lines += [
            f"  {line}".rstrip()
            for line in table(
                ["follows", "slope", "range", "by chance", "beside", "from", "not apart from"], rows
            ).splitlines()
        ]
    return lines


def _effect_row(item: Weights, effect: Effect) -> list[str]:
    slope = ""
    reach = slope_reach(item, effect)
    if effect.slope is not None and reach is not None:
        slope = f"{effect.slope:+.3g} ± {reach:.2g} {slope_unit(effect)}"
    beside = "" if effect.beside != effect.beside else f"{effect.beside:.2g}"
    return [
        effect.name,
        slope,
        f"{effect.span:.2g} %",
        f"{effect.probability:.2g}",
        beside,
        source_words(item, effect),
        ", ".join(effect.like),
    ]


def _json(item: Weights) -> dict[str, Any]:
    charts = item.charts
    level, ratio = item.level, item.ratio
    return {
        "station": item.station,
        "what": item.what,
        "action": item.action,
        "sentence": item.sentence,
        "correction_percent": item.correction,
        "count": len(item.weights),
        "mean_percent": float(item.deviations.mean()) if item.weights else None,
        "sd_percent": item.sd if len(item.weights) > 1 else None,
        "limits_percent": item.limits,
        "level": None
        if level is None
        else {
            "since": level.since,
            "count": level.count,
            "mean_percent": level.mean,
            "error_percent": level.error,
            "probability": level.probability,
        },
        "capability": dict(
            zip(("cp", "cpk", "cp_low", "cp_high", "cpk_low", "cpk_high"), item.capability, strict=False)
        ),
        "ratio": None
        if ratio is None
        else {
            "pairs": ratio.count,
            "a_percent": ratio.a,
            "b_percent": ratio.b,
            "ratio_percent": ratio.ratio,
            "probability": ratio.probability,
        },
        "effects": [
            {
                "follows": effect.name,
                "slope": effect.slope,
                "error": effect.error,
                "range_percent": effect.span,
                "probability": effect.probability,
                "beside_others": None if effect.beside != effect.beside else effect.beside,
                "not_apart_from": list(effect.like),
            }
            for effect in item.effects
        ],
        "signals": item.signals,
        "outside_limits": item.outside,
        "individuals": charts["individuals"].tolist() if charts else None,
        "weights": [
            {
                "time": each.entry.time,
                "grams": each.grams,
                "target": each.target,
                "low": each.low,
                "high": each.high,
                "shots": each.count,
                "deviation_percent": each.deviation,
                "cell": each.entry.cell,
                **({"ewma_percent": float(charts["ewma"][place, 1])} if charts else {}),
            }
            for place, each in enumerate(item.weights)
        ],
        "notes": list(item.notes),
    }


def weights_file(
    plan_path: str | os.PathLike[str],
    *,
    station: str | None = None,
    out: str | os.PathLike[str] | None = None,
    paper: str = "A4",
) -> WeightsReport:
    """The weights in a plan's journal, judged; with `out` also their workbook."""
    if out is not None and Path(out).suffix.lower() != ".xlsx":
        raise InputError(Problem("out", "file", str(out), "a name that ends in .xlsx"))
    paper_code(paper, "weights")
    plan = load_plan(plan_path)
    names = [row.station for row in plan.stations]
    if station is not None and station not in names:
        raise InputError(
            Problem("weights", "station", station, f"a station of the plan ({listed(names, 12)})", code=NA)
        )
    path = journal_path(plan_path)
    journal = read_journal(path)
    series = weights_of(plan, journal.current().values(), station)
    findings = gravest_first(finding for item in series for finding in weights_findings(item))
    report = WeightsReport(series, findings, [words for item in series for words in item.notes])
    of_all = []
    if series:
        of_all.append(
            f"a series in control asks for something to be set or looked at in {FALSE_ALARMS:.0%} of the "
            f"looks at most, for five more weights in {WEIGH_MORE:.0%}"
        )
    report.notes += of_all
    if out is not None:
        data = weights_workbook(series, of_all, paper)
        report.out, kept = save_signed(out, data, "weights", [plan_path, path])
        if kept:
            report.notes.append(f"the old workbook had been filled in and is kept as {kept.name}")
    return report


__all__ = ["WeightsReport", "weights_file"]
