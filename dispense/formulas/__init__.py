"""Formulas of a spreadsheet: parsed, evaluated, spelled for each host.

Imports `xlsx` and `base`; knows nothing of dispensing.
"""
