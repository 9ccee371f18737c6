"""One file a command: load, compute, write.

Imports `books` and below.
"""
