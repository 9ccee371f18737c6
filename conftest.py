"""Modules that only LibreOffice's own Python can import are not collected."""

_CALC = "dispense/addin/calc"
collect_ignore = [f"{_CALC}/component.py", f"{_CALC}/desk.py", f"{_CALC}/manage.py"]
