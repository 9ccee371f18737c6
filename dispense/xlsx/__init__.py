"""Packages, rows, templates, targets and atomic writing of .xlsx files.

Imports `base`; knows nothing of dispensing.
"""
