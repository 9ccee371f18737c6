"""The names by which LibreOffice knows the add-in; `component.py` has the same ones."""

from __future__ import annotations

IDENTIFIER = "dispense-planner.calc"
IMPLEMENTATION = "dispense.calc.Functions"
RESPELL = "dispense.calc.Respell"
JOB = "DispenseRespell"
MODULE = "dispenseaddin"
INTERFACE = "XFunctions"
MENU = "dispense.calc.Menu"
PANELS = "dispense.calc.Panels"
PROTOCOL = "dispense.planner:"
DECK = "DispenseDeck"
TOLD = "told"
PANEL = "DispensePanel"
TOOLBAR = "DispenseBar"
