"""Results workbook: all figures of a plan, with sums by material and by day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

from ..base.fields import date, number, text, whole
from ..base.findings import DANGER, MARKS, STOP, Finding, gravest_first, grouped, tally
from ..base.language import translated
from ..base.printed import counted
from ..base.units import from_si
from ..plan.amounts import applications
from ..plan.cautions import CAUTION
from ..plan.materials import mixed_density
from ..plan.records import Plan
from ..reports.findings import not_played, plan_findings
from ..shift.results import ShiftResult
from ..shift.weighing import driver_text
from .layout import DASHED, KILOGRAMS, PERCENT, THREE, WHOLE, Axes, Book, Calculated, Drawn
from .pieces import (
    ML,
    USE,
    amount_ml,
    folded,
    head,
    letter_name,
    marked,
    mass_drawn,
    mixed_drawn,
    mixed_mass,
    use_row,
)
from .sheet import Sheet
from .spec import HEAD, Content, Row, SheetSpec

MOST_GRAVEST = 8  # sorts of findings on the summary
CHART_ROWS = 12

RESULTS = SheetSpec(
    "results",
    "results.xlsx",
    "Results",
    "all figures of a plan: amounts, shifts, use by component, warnings",
    (
        *HEAD,
        text("headline", "containers connected and mass used, all together"),
        text("period", "first and last day"),
        text(
            "passes_through_stations",
            "good parts finished of those asked for, each counted at every station",
            labels=("Operations",),
        ),
        whole("station_shifts", "stations times shifts"),
        whole("warnings", "warnings, notes left out"),
        text("findings", "how many of each kind"),
        text("chosen", "material shown by day; choose another"),
    ),
    {
        "ResultGravest": (text("warning", "the gravest findings: where, what, what to do"),),
        "ResultDays": (date("day", "date"),),
        "ResultAmounts": (
            text("part", "part"),
            text("application", "bead, pot or joint"),
            whole("shot", "shot"),
            text("station", "station"),
            text("material", "material"),
            number("volume", "mL", "volume"),
            number("low", "mL", "low"),
            number("high", "mL", "high"),
            number("worst_low", "mL", "worst case low"),
            number("worst_high", "mL", "worst case high"),
            text("matters_most", "input that makes most of the spread", labels=("Main tolerance",)),
            number("mass", "g", "mass"),
            number(
                "time",
                "s",
                "what it takes at the station, with starts and press time",
                labels=("At the station", "Time"),
            ),
            text("detail", "size"),
        ),
        "ResultShifts": (
            date("day", "date"),
            text("shift", "shift"),
            text("station", "station"),
            text("material", "material"),
            whole("good", "good parts asked for", labels=("Asked",)),
            whole("finished", "good parts finished"),
            whole("started", "parts started"),
            whole("scrapped", "parts scrapped"),
            whole("taken_over", "parts taken over half done"),
            whole("lost", "parts lost that were taken over"),
            whole("handed_over", "parts handed over half done"),
            number("takt", "s", "takt"),
            number("busy", "", "share of the working time in use"),
            number("mixed", "mL", "mixed material used"),
            number("on_parts", "mL", "on good parts"),
            number("on_parts_low", "mL", "low"),
            number("on_parts_high", "mL", "high"),
            number("mass", "kg", "mixed material used, as mass"),
            whole("purges", "purges"),
            whole("mixers", "mixers"),
            whole("warnings", "warnings"),
        ),
        "ResultUse": (
            date("day", "date"),
            text("shift", "shift"),
            text("station", "station"),
            text("material", "material"),
            *USE,
            number("mass", "kg", "used, as mass"),
        ),
        "ResultMaterials": (
            text("material", "material"),
            text("component", "component"),
            number("drawn", "mL", "used", labels=("Used",)),
            number("mass", "kg", "as mass"),
            whole("containers", "containers connected"),
            number("on_parts", "mL", "on good parts"),
            number("missing", "mL", "missing in store"),
        ),
        "ResultWarnings": (
            date("day", "date"),
            text("shift", "shift"),
            text("station", "station"),
            text("kind", "DANGER, STOP, CHECK or note"),
            text("warning", "what to look at"),
            text("what_to_do", "what mends it"),
        ),
    },
    needed={
        "ResultDays": ("day",),
        "ResultAmounts": ("part", "application", "shot", "volume"),
        "ResultShifts": ("day", "shift", "station"),
        "ResultUse": ("day", "shift", "station", "material", "component", "drawn"),
        "ResultMaterials": ("material", "component", "drawn"),
        "ResultWarnings": ("warning",),
    },
    bulk=("ResultShifts", "ResultUse", "ResultMaterials", "ResultDays"),
    computed={
        "ResultMaterials": (number("waste_share", "", "share that is not on good parts"),),
        "ResultDays": (
            number("A_or_one_part", "mL", "used of the chosen material"),
            number("B", "mL", "used of the chosen material"),
            number("all_materials", "kg", "used of all materials"),
            whole("all_purges", "purges"),
            whole("all_mixers", "mixers"),
        ),
    },
)


def results_content(plan: Plan, results: Sequence[ShiftResult], stamp: str) -> Content:
    """The results workbook."""
    totals = _totals(results)
    findings = results_findings(plan, results)
    days = sorted({result.date for result in results})
    headline, period, passes = "No builds", "–", "0"
    if days:
        good = sum(job.asked for result in results for job in result.jobs)
        finished = sum(job.finished for result in results for job in result.jobs)
        period = f"{days[0]}" if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
        passes = f"{finished:,} of {good:,}"
        mass = sum(total.mass for total in totals.values())
        count = sum(total.containers for total in totals.values())
        lacking = sum(use.containers for result in results for use in result.lots if use.is_missing)
        short = f" ({lacking} of them missing)" if lacking else ""
        headline = f"{counted(count, 'container')}{short}, {figure(mass)} kg used"
    return Content(
        RESULTS,
        {
            **head(plan, stamp),
            "headline": headline,
            "period": period,
            "passes_through_stations": passes,
            "station_shifts": len(results),
            "warnings": sum(item.is_warning for item in findings),
            "findings": tally(findings).replace(", ", "; "),
            "cautions": translated(CAUTION),
            "chosen": _heaviest(totals),
        },
        {
            "ResultDays": [{"day": day} for day in days] or [{"day": None}],
            "ResultAmounts": _amount_rows(plan),
            "ResultShifts": [_shift_row(result) for result in results],
            "ResultUse": [
                {**_key(result), **use_row(result, letter), "mass": mass_drawn(result, letter)}
                for result in results
                for letter in result.letters
            ],
            "ResultMaterials": [
                {"material": material, "component": component, **asdict(total)}
                for (material, component), total in totals.items()
            ],
            "ResultWarnings": _finding_rows(findings),
            "ResultGravest": _gravest_rows(findings),
        },
    )


def _amount_rows(plan: Plan) -> list[Row]:
    """What each application of each part takes."""
    rows: list[Row] = []
    for part in plan.parts:
        for item in applications(plan, part.part):
            material = plan.material(plan.station(item.station).material)
            density = mixed_density(material, plan.components_of(material.material))
            volume, low, high = amount_ml(item.amount)
            rows.append(
                {
                    "part": item.part,
                    "application": item.name,
                    "shot": item.shot,
                    "station": item.station,
                    "material": material.material,
                    "volume": volume,
                    "low": low,
                    "high": high,
                    "worst_low": from_si(item.amount.worst_low, "mL"),
                    "worst_high": from_si(item.amount.worst_high, "mL"),
                    "matters_most": driver_text(item.amount.main_driver),
                    "mass": from_si(item.amount.nominal * density, "g"),
                    "time": item.time,
                    "detail": item.detail,
                }
            )
    return rows


def _key(result: ShiftResult) -> Row:
    """What tells a shift of a station from all others."""
    return {
        "day": result.date,
        "shift": result.shift,
        "station": result.station.station,
        "material": result.material.material,
    }


def _shift_row(result: ShiftResult) -> Row:
    """One shift of one station."""
    nominal, low, high = amount_ml(result.parts_amount)
    return {
        **_key(result),
        "good": sum(job.asked for job in result.jobs),
        "finished": sum(job.finished for job in result.jobs),
        "started": sum(job.begun for job in result.jobs),
        "scrapped": sum(job.scrapped for job in result.jobs),
        "taken_over": sum(job.taken for job in result.jobs),
        "lost": sum(job.lost for job in result.jobs),
        "handed_over": sum(job.carried for job in result.jobs),
        "takt": result.takt_stated,
        "busy": result.busy / result.station.nozzles / result.calendar.available,
        "mixed": mixed_drawn(result) / ML,
        "on_parts": nominal,
        "on_parts_low": low,
        "on_parts_high": high,
        "mass": mixed_mass(result),
        "purges": result.purges,
        "mixers": result.mixers,
        "warnings": sum(item.is_warning for item in result.findings),
    }


@dataclass(slots=True)
class _Total:
    """What is drawn of one component in all shifts, as a row of the table."""

    drawn: float = 0.0
    mass: float = 0.0
    containers: int = 0
    on_parts: float = 0.0
    missing: float = 0.0


def _totals(results: Sequence[ShiftResult]) -> dict[tuple[str, str], _Total]:
    """What is drawn in all shifts, by material and component."""
    totals: dict[tuple[str, str], _Total] = {}
    for result in results:
        for letter in result.letters:
            key = (result.material.material, letter_name(letter, result.letters))
            total = totals.setdefault(key, _Total())
            total.drawn += result.drawn(letter) / ML
            total.mass += mass_drawn(result, letter)
            total.containers += result.containers[letter]
            total.on_parts += result.used[letter]["parts"] / ML
            total.missing += result.missing.get(letter, 0) / ML
    return totals


def _finding_rows(findings: Iterable[Finding]) -> list[Row]:
    """All findings, each in one row."""
    rows: list[Row] = [
        {
            "day": item.day,
            "shift": item.shift,
            "station": item.station,
            "kind": MARKS[item.kind],
            "warning": f"{'▲ ' if item.is_warning else ''}{translated(item.text)}",
            "what_to_do": translated(item.fix),
        }
        for item in findings
    ]
    return rows or [{"day": None, "shift": "", "station": "", "warning": translated("no warning")}]


def results_findings(plan: Plan, results: Sequence[ShiftResult]) -> list[Finding]:
    """All findings of the stations that were played: of their plan, and of their shifts."""
    stations = {result.station.station for result in results}
    played = [finding for result in results for finding in result.findings]
    return gravest_first([*not_played(plan_findings(plan, stations), played), *played])


def _gravest_rows(findings: Sequence[Finding]) -> list[Row]:
    """The gravest sorts of findings in lines, dangers and stops; all stand on the sheet of warnings."""
    groups = [group for group in grouped(findings) if group.first.kind in (DANGER, STOP)]
    rows: list[Row] = []
    for group in groups[:MOST_GRAVEST]:
        first = group.first
        where = " ".join(str(item) for item in (first.station, first.day, first.shift) if item)
        times = f" ({translated(f'{group.count} of this sort')})" if group.count > 1 else ""
        rows += [{"warning": line} for line in folded(f"{marked(first)} · {where}{times}", 116)]
    if len(groups) > MOST_GRAVEST:
        rows.append(
            {"warning": translated(f"and {len(groups) - MOST_GRAVEST} more sorts on the sheet Warnings")}
        )
    return rows or [{"warning": translated("nothing dangerous, nothing that stops the line")}]


def _heaviest(totals: dict[tuple[str, str], _Total]) -> str:
    """The material of which most is drawn by mass."""
    masses: dict[str, float] = {}
    for (material, _), total in totals.items():
        masses[material] = masses.get(material, 0.0) + total.mass
    return max(masses, key=lambda name: masses[name], default="")


def figure(value: float) -> str:
    """A number as it is worth printing: three or four significant figures."""
    if value >= 1000.0:
        return f"{value:,.0f}"
    return f"{value:.2f}" if value < 10.0 else f"{value:.1f}"


def layout(book: Book) -> None:
    """A summary with sums by material and by day, and a worksheet for each table it sums up."""
    columns = {table: [item.name for item in items] for table, items in RESULTS.tables.items()}
    summary = book.page("Summary", [16, 14.4, 12, 13.6, 12, 12, 12, 12], landscape=False)

    shifts = book.page(
        "Shifts", [16, 9, 17, 16, 8, 9, 9, 9, 8, 8, 9, 8, 8, *[10] * 5, 8, 8, 9], landscape=True
    )
    shifts.head(named=False)
    shifts.table("ResultShifts", columns["ResultShifts"], forms={"busy": PERCENT}, repeat=True, filtered=True)
    shifts.total(
        "ResultShifts",
        ["good", "finished", "started", "scrapped", "lost", "mass", "purges", "mixers", "warnings"],
    )
    shifts.freeze("ResultShifts", 3)

    use = book.page("Use", [16, 9, 17, 16, 11.4, *[9.0] * 16], landscape=True)
    use.head(named=False)
    volumes = [item.name for item in RESULTS.tables["ResultUse"] if item.unit == "mL"]
    use.table(
        "ResultUse", columns["ResultUse"], forms=dict.fromkeys(volumes, DASHED), repeat=True, filtered=True
    )
    use.freeze("ResultUse", 3)

    amounts = book.page("Amounts", [16, 16, 7.2, 16, 15, *[9] * 5, 15, 9, 8, 34], landscape=True)
    amounts.head(named=False)
    amounts.table("ResultAmounts", columns["ResultAmounts"], repeat=True, filtered=True)
    amounts.freeze("ResultAmounts", 2)

    warnings = book.page("Warnings", [14, 9, 18, 10, 80, 60], landscape=True)
    warnings.head(named=False)
    warnings.table("ResultWarnings", columns["ResultWarnings"], repeat=True, filtered=True)

    summary.head()
    summary.cards(
        ("period", 2),
        ("passes_through_stations", 2),
        ("station_shifts", 1),
        ("warnings", 1),
        ("prepared_by", 2),
    )
    summary.cards(("findings", 6), ("stamp", 2), small=True)
    summary.section("Look at first")
    summary.warnings("ResultGravest")
    summary.section("By material", "used in all shifts")
    drawn, material, component, mass, day = (
        use.outer("ResultUse", name) for name in ("drawn", "material", "component", "mass", "day")
    )
    summary.table(
        "ResultMaterials",
        [
            "material",
            "component",
            "drawn",
            "mass",
            "containers",
            "on_parts",
            Calculated("waste_share", "=IF({drawn}>0,1-{on_parts}/{drawn},0)", PERCENT),
            "missing",
        ],
        forms={"missing": DASHED},
    )
    summary.total("ResultMaterials", ["mass", "containers"])
    apart = f"=ROUND(SUM({drawn})-SUM({summary.area('ResultMaterials', 'drawn')}),3)"
    summary.figure("Check: sum of sheet Use less this table [mL]", apart, "0.000", 4)
    summary.skip()
    summary.section("By day", "for one material; choose another in the framed cell")
    chosen = summary.choice("chosen", 2, "ResultMaterials", "material")
    summary.skip()
    chart = summary.room(CHART_ROWS)
    by_day = f"SUMIFS({drawn},{day},{{day}},{material},{chosen},{component}"
    shift_day, purges, mixers = (shifts.outer("ResultShifts", name) for name in ("day", "purges", "mixers"))
    summary.table(
        "ResultDays",
        [
            "day",
            Calculated("A_or_one_part", f'=SUMIFS({drawn},{day},{{day}},{material},{chosen})-{by_day},"B")'),
            Calculated("B", f'={by_day},"B")'),
            Calculated("all_materials", f"=SUMIFS({mass},{day},{{day}})", KILOGRAMS),
            Calculated("all_purges", f"=SUMIFS({purges},{shift_day},{{day}})", WHOLE),
            Calculated("all_mixers", f"=SUMIFS({mixers},{shift_day},{{day}})", WHOLE),
        ],
    )
    summary.bars(
        "ResultDays",
        "day",
        (Drawn("A_or_one_part", "A or one-part", "dark"), Drawn("B", "B", "light")),
        Axes("Day", "Used of the chosen material [mL]", "d mmm", "#,##0"),
        at=chart,
        size=(19.5, 6.0),
    )
    digits = {"A_or_one_part": THREE, "B": THREE, "all_materials": KILOGRAMS}
    digits |= {"all_purges": WHOLE, "all_mixers": WHOLE}
    summary.total("ResultDays", list(digits), digits)
    summary.cautions()


SHEET = Sheet(RESULTS, layout, "results workbooks", "results.xlsx", of_plan=results_content)
