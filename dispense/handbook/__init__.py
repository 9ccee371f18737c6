"""The handbook: pure functions on SI numbers and arrays, declared once for cell, shell and Python.

Imports `formulas`, `xlsx`, `base`.
"""
