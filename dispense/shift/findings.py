"""What is wrong with a played shift beyond its clock times."""

from __future__ import annotations

from ..base.findings import NOTE, QUALITY, Finding
from .cure_times import cure_basis
from .results import ShiftResult


def batch_findings(result: ShiftResult) -> list[Finding]:
    """What is wrong with the cure of a shift's parts: one finding for each part and cause."""
    material, found = result.material, []

    def add(kind: str, part: str, text: str, fix: str) -> None:
        found.append(
            Finding(
                kind,
                text,
                fix,
                topic="cure",
                station=result.station.station,
                part=part,
                material=material.material,
            )
        )

    for part, cure in {batch.part: batch.cure for batch in result.batches}.items():
        if cure.profile and cure.unreached:
            names = ", ".join(cure.unreached)
            add(
                QUALITY,
                part,
                f"{part}: oven profile {cure.profile} does not reach the time to {names}",
                "hold longer or hotter, or state the times that this oven gives",
            )
        elif cure.unreached:
            add(
                QUALITY,
                part,
                f"{part}: {material.material} cures in an oven and none is stated",
                "add a row to Ovens",
            )
        elif cure.is_never:
            add(
                QUALITY,
                part,
                f"{part}: {material.material} never cures, the air holds no water",
                "check the humidity of the station and of its record",
            )
    if material.cure == "moisture" and material.moisture_energy is None:
        add(NOTE, "", f"cure of {material.material}: {cure_basis(material, result.temperatures[1])}", "")
    return found


__all__ = ["batch_findings"]
