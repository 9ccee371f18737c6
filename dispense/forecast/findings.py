"""What must be known before acting on a forecast."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict

from ..base.findings import NOTE, QUALITY, SHORTAGE, STOP, Finding, gravest_first
from ..base.numbers import EQUAL
from ..base.printed import counted, listed
from ..base.units import rounded_volume_text, volume_text
from ..plan.holidays import built_on_holidays
from ..plan.routes import lines
from ..plan.workdays import work_days
from ..shift.play import play_plan
from ..shift.store import NANO
from .kits import kit_findings
from .orders import latest_order
from .response import Occurrence
from .results import GOING_ON, Forecast, PhaseOut
from .stock import Key

SAMPLING = 3.0  # standard errors of the mean of the futures that sampling explains
EQUAL_USE = 1e-6  # of the use: what lies nearer to a quantile is at it
#: of the mean use, outside which a material phases out or in (common practice, no source)
PHASES = (0.5, 1.5)


def forecast_findings(found: Forecast) -> list[Finding]:
    """What must be known before acting on a forecast, the gravest first."""
    return gravest_first(
        [
            *_shortages(found),
            *_overdue(found),
            *_too_old(found),
            *_phase_outs(found),
            *kit_findings(found),
            *_unfinished(found),
            *built_on_holidays(found.plan),
            *_gaps(found),
            *_uncovered(found),
            *_known(found),
        ]
    )


def _shortages(found: Forecast) -> list[Finding]:
    """What runs short although the proposed orders arrive."""
    told, work = [], work_days(found.plan)
    for key, day in sorted(found.ordered.runs_out.items(), key=lambda pair: (pair[1], pair[0])):
        view, lacking = found.components[key], found.ordered.missing[key].used / NANO
        (station, _, shift), *others = found.shorts(key)
        also = listed([f"{name} from {date:%a} {date} {later}".strip() for name, date, later in others])
        latest = latest_order(view.component, day, work)
        overdue = (found.horizon.as_of - latest).days
        if overdue > 0:
            fix = (
                f"an order {counted(overdue, 'day')} ago, by {latest:%a} {latest}, would have helped: "
                f"{_sooner(found, key)}ask for a faster delivery or build less"
            )
        else:
            fix = f"order more, to arrive by {day:%a} {day} (order by {latest:%a} {latest})"
        told.append(
            Finding(
                STOP,
                f"{view.name} runs short on {day:%a} {day} at {station}, also with the proposed orders: "
                f"{found.lacking(key)} lacking by {found.horizon.last_build}"
                + (f"; then at {also}" if also else ""),
                fix,
                SHORTAGE,
                station,
                key[0],
                day=day,
                shift=shift,
                numbers={"lacking [mL]": lacking * 1e6, "overdue [d]": float(max(overdue, 0))},
                component=key[1],
            )
        )
    return told


def _sooner(found: Forecast, key: Key) -> str:
    """Open orders to call, where one serves."""
    calls = [call.words() for call in found.calls(key)]
    return f"call {listed(calls)}, " if calls else ""


def _overdue(found: Forecast) -> list[Finding]:
    """Orders whose day has passed; a shortage where they come too late for the builds of the plan."""
    told = []
    for view in found.components.values():
        last_known = found.horizon.end + datetime.timedelta(days=len(view.later_use))
        for order in view.orders:
            if (
                not order.late_days
                or order.with_kit
                or (order.short_from and view.key in found.ordered.runs_out)
            ):
                continue
            short = order.short_from
            is_short = short is not None and short < last_known
            words = (
                f"order of {order.containers} × {volume_text(view.component.container)} {view.name} "
                f"is overdue by {counted(order.late_days, 'day')}"
            )
            if short is not None:
                assumed = "" if is_short else " if the use goes on"
                words += f", short from {short:%a} {short}{assumed}"
                fix = "order at once and ask for a faster delivery"
            else:
                words += ", safety stock is touched before it arrives"
                fix = f"order at once, it arrives on {order.arrival}"
            told.append(
                Finding(
                    STOP if is_short else QUALITY,
                    words,
                    fix,
                    SHORTAGE if is_short else "order overdue",
                    material=view.key[0],
                    day=short or order.order_by,
                    numbers={"overdue [d]": float(order.late_days)},
                    component=view.key[1],
                )
            )
    return sorted(told, key=lambda finding: (finding.topic != SHORTAGE, finding.day or datetime.date.max))


def _too_old(found: Forecast) -> list[Finding]:
    """Lots and open containers past their last day before today: no stock, and no loss of these weeks."""
    told = []
    for key, walk in found.walk.of_component.items():
        view = found.components[key]
        stale = [
            (lot.lot, lot.last_day(view.component.open_life), lot.opening, "", "")
            for lot in walk.lots
            if walk.was_too_old(lot)
        ]
        stale += [
            (each.lot.lot, each.last_day, each.standing, "the open container of ", station)
            for station, each in walk.stale.items()
        ]
        for lot, last, volume, what, station in stale:
            worth = volume * found.price(key, found.horizon.as_of)
            cost = f", worth {worth:,.0f} {found.currency}".rstrip() if worth else ""
            told.append(
                Finding(
                    QUALITY,
                    f"{what}{view.name} lot {lot} may not be used: last day was {last} "
                    f"({rounded_volume_text(volume / NANO)}{cost}); it counts as no stock",
                    "set it aside",
                    "expired lot",
                    station,
                    material=key[0],
                    day=last,
                    numbers={"too old [mL]": volume / NANO * 1e6, "worth": worth},
                    component=key[1],
                )
            )
    return told


def _phase_outs(found: Forecast) -> list[Finding]:
    """Components that no station uses any more after a day: the last order, and what is left."""
    told = []
    for view in found.components.values():
        out = view.phase_out
        if out is None:
            continue
        order, content = out.last_order, view.component.container
        words = (
            f"{view.name} is used for the last time on {out.last_use}"
            if out.last_use
            else (f"{view.name} is used no more")
        )
        words += (
            ", no order is needed"
            if order is None
            else (f", last order of {order.containers} × {volume_text(content)} by {order.order_by}")
        )
        words += f"; {rounded_volume_text(out.left / NANO)} left over"
        if out.cost:
            words += f", {out.cost:,.0f} {found.currency}".rstrip()
        words += _smaller(out) + _other_days(out)
        words += "".join(f"; {cut.containers} of open order {cut.order} may be cut" for cut in out.cuts)
        is_much = out.left / NANO > content * view.component.pack_multiple * (1.0 + EQUAL)
        told.append(
            Finding(
                QUALITY if is_much else NOTE,
                words,
                "use it up elsewhere, ask for less, or change over on another day" if is_much else "",
                "phase-out",
                material=view.key[0],
                day=out.last_use,
                numbers={"left over [mL]": out.left / NANO * 1e6, "worth": out.cost},
                component=view.key[1],
            )
        )
    return told


def _smaller(out: PhaseOut) -> str:
    """How far a smaller pack would help."""
    smaller = out.smaller
    if smaller is None or not out.left:
        return ""
    how = (
        "bought singly" if smaller.container is None else f"in containers of {volume_text(smaller.container)}"
    )
    if smaller.left >= out.left:
        return f"; {how} as much would be"
    return f"; {how} {rounded_volume_text(smaller.left / NANO) if smaller.left else 'nothing'} would be"


def _other_days(out: PhaseOut) -> str:
    """What changing over earlier or later would leave."""
    words = ""
    if out.earlier is not None:
        left = rounded_volume_text(out.earlier.left / NANO)
        words += f"; without that order it lasts until {out.earlier.last_use}, {left} would be left then"
    if out.later is not None and out.last_use is not None and out.later.last_use > out.last_use:
        left = rounded_volume_text(out.later.left / NANO)
        words += f"; at this pace it lasts until {out.later.last_use}, {left} would be left then"
    return words


def _unfinished(found: Forecast) -> list[Finding]:
    """Stations whose parts do not fit into their shifts."""
    short: dict[str, list[Occurrence]] = defaultdict(list)
    of_lines = _short_on_lines(found)
    for item in found.shifts:
        if item.station in lines(found.plan):
            is_short = (item.date, item.shift, item.station) in of_lines
        else:
            is_short = found.responses[item.key].is_short
        if is_short:
            short[item.station].append(item)
    return [
        Finding(
            STOP,
            f"not all parts fit into their shifts at {station}: {len(items)} of its shifts, first "
            f"on {items[0].date} {items[0].shift}",
            "move parts, or change takt or shift",
            "unfinished",
            station,
            day=items[0].date,
            shift=items[0].shift,
            numbers={"shifts": float(len(items))},
        )
        for station, items in sorted(short.items())
    ]


def _short_on_lines(found: Forecast) -> set[tuple[datetime.date, str, str]]:
    """Date, shift and station of what a line does not finish, played as its sheets play it.

    What comes when, and what stands between the stations from the shift before, no station knows by itself.
    """
    joined = [item for item in found.shifts if item.station in lines(found.plan)]
    if not joined:
        return set()
    until = joined[-1].date, joined[-1].shift
    played = play_plan(found.plan, until=until, stations={item.station for item in joined})
    return {(item.date, item.shift, item.station.station) for item in played if item.is_short}


def _gaps(found: Forecast) -> list[Finding]:
    """Weeks that were asked for and are not covered."""
    horizon = found.horizon
    if horizon.is_empty:
        return [
            Finding(
                NOTE,
                f"No builds from {horizon.first_build} on: nothing is used, nothing is proposed",
                topic="no builds",
            )
        ]
    if horizon.weeks >= horizon.asked:
        return []
    words = (
        f"Builds end on {horizon.last_build}: the forecast covers {horizon.weeks} of the "
        f"{horizon.asked} weeks asked for"
    )
    coming = min((row.date for row in found.plan.builds if row.date >= horizon.end), default=None)
    if coming is None:
        return [Finding(NOTE, words, topic="horizon")]
    return [
        Finding(
            QUALITY,
            f"{words}; the next is on {coming}",
            "correct the dates, or ask for as many weeks as reach it",
            "horizon",
            day=coming,
        )
    ]


def _uncovered(found: Forecast) -> list[Finding]:
    """Where the planned use lies outside P50 to P90, and why; one finding for each reason."""
    alike: dict[tuple[str, str], list[str]] = defaultdict(list)
    for view in found.components.values():
        planned, near = sum(view.day_use) / NANO, SAMPLING * view.total_sd / math.sqrt(found.draws)
        tiny = EQUAL_USE * planned
        if view.total_p50 - tiny <= planned <= view.total_p90 + tiny:
            continue
        is_above = planned > view.total_p90
        place = "above P90" if is_above else "below P50"
        if abs(view.total_mean - planned) > near + tiny:
            why = (
                "purges, mixer changes and short shifts answer in steps, so that the simulation runs use "
                "another volume on average than the plan"
            )
        elif not is_above and view.total_p50 - planned < near:
            why = f"by no more than the sampling error of {found.draws} simulation runs"
        else:
            why = "losses are rare and large: most simulation runs have none, and the mean lies to one side"
        alike[place, why].append(view.name)
    return [
        Finding(NOTE, f"Planned use lies {place} for {', '.join(names)}: {why}", topic="planned and futures")
        for (place, why), names in alike.items()
    ]


def _known(found: Forecast) -> list[Finding]:
    """What the figures rest on."""
    plan, views = found.plan, list(found.components.values())
    told = []
    if not found.horizon.is_empty:
        told.append(
            Finding(
                NOTE,
                "Orders count on all builds of the plan that they must cover, and after "
                f"the last on the use of its last {GOING_ON} days going on; dates by which to "
                "order fall on working days",
                topic="orders",
            )
        )
    for view in views:
        daily = sum(view.day_use) / NANO / view.days_of_use
        if view.phase_out is None and daily and not daily * PHASES[0] <= view.going_on <= daily * PHASES[1]:
            words = "phases out" if view.going_on < daily else "phases in"
            told.append(
                Finding(
                    NOTE,
                    f"{view.name} {words}: {rounded_volume_text(view.going_on)} a day at the end of "
                    f"the builds, {rounded_volume_text(daily)} on the mean of these weeks. Orders follow "
                    "the dated use; the reorder point is for the mean",
                    topic="phase",
                    material=view.key[0],
                )
            )
    if not plan.settings["demand_spread"]:
        told.append(
            Finding(
                NOTE,
                "Demand spread is 0 in Settings: P90 holds only if builds come as planned",
                topic="demand spread",
            )
        )
    unpriced = [view.name for view in views if not view.component.price]
    if unpriced:
        told.append(Finding(NOTE, "No price: " + ", ".join(unpriced), topic="price"))
    return told
