"""Add-ins for spreadsheets, generated from the registry."""
