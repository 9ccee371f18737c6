"""What each printed sheet says.

Imports `reports` and below.
"""
