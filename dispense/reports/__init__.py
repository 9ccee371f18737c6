"""Pot life, cure, heat, pressed joints and fits of a station or of measurements.

Imports `forecast` and below.
"""
