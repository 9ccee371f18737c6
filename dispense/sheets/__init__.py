"""What each printed sheet says and how it is laid out, one file a sheet; `catalogue` has all.

Imports `reports` and below.
"""
