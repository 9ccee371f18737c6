"""Words of menu and ribbon in every language that comes with the planner: both hosts show the same."""

from __future__ import annotations

from ..base.language import ENGLISH, languages, shipped_language

TITLE = "Dispense"  # of menu, toolbar, pane and tab: a name, the same in every language
PANE = ("pane", "Show the pane")  # an entry that a host answers by itself


def said_in_each(label: str) -> dict[str, str]:
    """A label in the languages that come with the planner, by their codes.

    >>> said_in_each("Forecast…")["de"]
    'Vorschau…'
    """
    words, dots = label.rstrip("…"), "…" * label.endswith("…")
    codes = (code for code in languages() if code != ENGLISH)
    return {code: shipped_language(code).translate(words) + dots for code in codes}


__all__ = ["PANE", "TITLE", "said_in_each"]
