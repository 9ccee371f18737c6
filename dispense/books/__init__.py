"""Workbooks that are written whole: plan, cure, fit, forecast, templates, and their look.

Imports `sheets` and below.
"""
