"""The usual cautions of a material, for every sheet and report; the safety data sheet stands above them."""

from __future__ import annotations

from ..base.language import translated
from .rows import Material

CAUTION = (
    "Follow the safety data sheet, local codes and the plant's licensed practice; this sheet "
    "replaces none of them."
)


HAZARDS = {
    "two-part": "Mixed material warms itself: never let a large mass stand, move purges to a safe "
    "place in thin layers. Amines and isocyanates sensitize: gloves, goggles, extraction.",
    "oven": "Hot oven and hot parts: guard, gloves, let cool before handling.",
    "light": "UV light harms eyes and skin: closed shield, rated eyewear.",
    "moisture": "Gives off vapour while it cures: ventilate.",
    "cells": "Charged modules: insulated tools, no metal on terminals, no bridging; hold the "
    "pour below the cell limit.",
}


def _sentence(words: str) -> str:
    words = words.strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".")


def cautions_text(material: Material, *, cells: bool = False) -> str:
    """The cautions of a material, from its record and its kind, in the language that is printed."""
    words = [_sentence(material.cautions)] if material.cautions else []
    if material.kind == "two-part":
        words.append(translated(HAZARDS["two-part"]))
    if material.cure in HAZARDS:
        words.append(translated(HAZARDS[material.cure]))
    if cells:
        words.append(translated(HAZARDS["cells"]))
    words.append(translated(CAUTION))
    return " ".join(words)


__all__ = ["CAUTION", "HAZARDS", "cautions_text"]
