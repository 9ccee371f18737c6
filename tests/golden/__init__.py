"""Golden plans, and an independent reckoning of every printed cell (see README.md)."""
