"""What is not collected: what only LibreOffice's own Python can import, and the list for `vulture`."""

_CALC = "dispense/addin/calc"
collect_ignore = [
    f"{_CALC}/component.py",
    f"{_CALC}/desk.py",
    f"{_CALC}/manage.py",
    f"{_CALC}/menu.py",
    "tests/alive.py",
]
