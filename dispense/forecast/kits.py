"""Components bought as kits of which one runs out first: what is left over of the others, and its worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from ..base.findings import NOTE, QUALITY, Finding
from ..base.printed import counted
from ..base.units import rounded_volume_text
from ..plan.materials import usable_volume
from ..shift.store import NANO
from .results import ComponentView, Forecast

TOPIC = "kit"
MUCH = 0.05  # of a component that is bought for nothing (common practice, no source)
NOTHING = 0.001  # of it: what rounds to nothing


@dataclass(frozen=True, slots=True)
class KitRest:
    """What of a kit is left over of a component when another one is used up; volumes in m³.

    left = n·U − u·(n'·U')/u', with n containers of usable volume U in a kit and the use u, n', U' and u'
    those of the component that is used up first.
    """

    kit: str
    view: ComponentView
    first: ComponentView
    left: float  # of one kit
    cost: float  # of one kit, at the price of a full container
    share: float  # of what can be drawn of it
    kits: int  # to be ordered


def kit_rests(found: Forecast) -> Iterator[KitRest]:
    """What is left over of each kit whose components are used, at the use of these weeks."""
    kits: dict[str, list[ComponentView]] = defaultdict(list)
    for view in found.components.values():
        if view.component.kit and _use(view) > 0.0:
            kits[view.component.kit].append(view)
    for kit, views in sorted(kits.items()):
        lasts = {view.key: _holds(view) / _use(view) for view in views}
        first = min(views, key=lambda view: lasts[view.key])
        count = sum(order.containers for order in first.orders) // first.component.pack_multiple
        for view in views:
            left = _holds(view) - _use(view) * lasts[first.key]
            share = left / _holds(view)
            if share > NOTHING:
                cost = left * NANO * found.price(view.key, found.horizon.as_of)
                yield KitRest(kit, view, first, left, cost, share, count)


def kit_findings(found: Forecast) -> list[Finding]:
    """What is bought with each kit and never used."""
    told = []
    for rest in kit_rests(found):
        worth, all_worth = (_worth(cost, found.currency) for cost in (rest.cost, rest.kits * rest.cost))
        words = (
            f"kit {rest.kit}: {rounded_volume_text(rest.left)} {rest.view.name} of each{worth} are left over "
            f"when {rest.first.name} is used up"
        )
        if rest.kits:
            volume = rounded_volume_text(rest.kits * rest.left)
            words += f"; {volume}{all_worth} of the {counted(rest.kits, 'kit')} to order"
        is_much = rest.share > MUCH
        told.append(
            Finding(
                QUALITY if is_much else NOTE,
                words,
                f"ask for kits with less {rest.view.name}, or buy {rest.first.name} apart" if is_much else "",
                TOPIC,
                material=rest.view.key[0],
                numbers={"left over [mL]": rest.left * 1e6, "worth": rest.cost, "kits": float(rest.kits)},
                component=rest.view.key[1],
            )
        )
    return told


def _holds(view: ComponentView) -> float:
    """What can be drawn of a component of one kit [m³]."""
    return view.component.pack_multiple * usable_volume(view.component)


def _use(view: ComponentView) -> float:
    """What is drawn of a component in these weeks, without heels [m³]."""
    return (sum(view.use.values()) - view.use["heel"]) / NANO


def _worth(cost: float, currency: str) -> str:
    return f" ({cost:,.0f} {currency})".replace(" )", ")") if cost else ""


__all__ = ["KitRest", "kit_findings", "kit_rests"]
