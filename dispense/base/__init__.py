"""Errors, units, fields, findings, paper and terminal: what every other folder rests on.

Imports nothing of the project.
"""
