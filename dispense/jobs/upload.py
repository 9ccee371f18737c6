"""Proposed orders in the shape that another system's upload takes: its columns, in its order."""

from __future__ import annotations

import math

from ..base.errors import NA, InputError, Problem
from ..base.naming import field_name, nearest
from ..base.tidy import TidyColumn, TidyTable
from ..base.units import from_si
from ..forecast.results import ML, Forecast

#: what a column may hold: its unit and kind
CONTENTS = {
    "item": ("", "text"),
    "material": ("", "text"),
    "component": ("", "text"),
    "supplier": ("", "text"),
    "kit": ("", "text"),
    "quantity": ("", "whole"),
    "packs": ("", "whole"),
    "unit": ("", "text"),
    "volume": ("mL", "number"),
    "mass": ("kg", "number"),
    "cost": ("", "number"),
    "currency": ("", "text"),
    "due_date": ("", "date"),
    "order_date": ("", "date"),
}
EACH = "EA"  # each: code of a piece in UNECE Recommendation 20 (recalled)


def upload_columns(text: str, where: str = "upload columns") -> list[tuple[str, str]]:
    """Header and content of each column of a text such as "Article=item, quantity, due date".

    >>> upload_columns("Article = item, Due date")
    [('Article', 'item'), ('Due date', 'due_date')]
    """
    found, problems = [], []
    for piece in filter(None, (part.strip() for part in text.replace(";", ",").split(","))):
        header, sign, content = (part.strip() for part in piece.partition("="))
        name = field_name(content if sign else header)
        if name not in CONTENTS:
            known = [each.replace("_", " ") for each in CONTENTS]
            near = nearest(name.replace("_", " "), known)
            problems.append(
                Problem(
                    where,
                    "column",
                    piece,
                    "one of " + ", ".join(known) + ", or HEADER=one of them",
                    f"did you mean {near}?" if near else "",
                    NA,
                )
            )
        found.append((header, name))
    if not found and not problems:
        problems.append(Problem(where, message="names no column", fix="item, quantity, unit, due date"))
    if problems:
        raise InputError(problems)
    return found


def order_table(found: Forecast, columns: list[tuple[str, str]]) -> TidyTable:
    """Each proposed order as a row; quantities count whole containers, the soonest to order first."""
    orders = [(order, view) for view in found.components.values() for order in view.orders]
    orders.sort(key=lambda pair: (pair[0].order_by, pair[0].arrival, pair[0].key))
    table = TidyTable(
        "order_upload",
        "Orders to place",
        tuple(TidyColumn(header, *CONTENTS[name]) for header, name in columns),
    )
    for order, view in orders:
        part = view.component
        values = {
            "item": part.item_number or view.name,
            "material": order.material,
            "component": order.component.upper(),
            "supplier": part.supplier,
            "kit": part.kit,
            "quantity": order.containers,
            "packs": math.ceil(order.containers / part.pack_multiple),
            "unit": EACH,
            "volume": order.volume / ML,
            "mass": float(from_si(part.density * part.container * order.containers, "kg")),
            "cost": order.cost,
            "currency": found.currency,
            "due_date": order.arrival,
            "order_date": order.order_by,
        }
        table.rows.append([values[name] for _, name in columns])
    return table


__all__ = ["CONTENTS", "order_table", "upload_columns"]
