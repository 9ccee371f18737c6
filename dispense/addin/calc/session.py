"""A headless LibreOffice with its own profile, driven from Python: for tests and measurements.

with Session(profile) as calc:
    calc.open("plan.xlsx")
    calc.get("Sheet1!A1:B3")
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

from ...base.errors import DispenseError
from .office import clean_environment, find_office


class Session:
    """Each method of `desk.Desk` is a method here: open, save, set, array, get, calculate, …

    A file is opened as LibreOffice starts, by itself, as when a user opens it.
    """

    def __init__(self, profile: str | Path, file: str | Path | None = None):
        office = find_office()
        if office.python is None:
            raise DispenseError("this LibreOffice has no Python")
        script = Path(__file__).with_name("desk.py")
        self._process = subprocess.Popen(
            [
                str(office.python),
                str(script),
                str(office.soffice),
                Path(profile).resolve().as_uri(),
                *([] if file is None else [str(file)]),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env=clean_environment(),
        )
        self._answer()

    def _answer(self) -> Any:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise DispenseError("LibreOffice has ended")
        answer = json.loads(line)
        if "error" in answer:
            raise DispenseError(answer["error"])
        return answer["ok"]

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)

        def request(*arguments: Any) -> Any:
            assert self._process.stdin is not None
            self._process.stdin.write(json.dumps([name, *arguments]) + "\n")
            self._process.stdin.flush()
            return self._answer()

        return request

    def end(self) -> None:
        """Close LibreOffice."""
        if self._process.stdin and not self._process.stdin.closed:
            self._process.stdin.close()
        try:
            self._process.wait(90)
        except subprocess.TimeoutExpired:
            self._process.kill()

    def __enter__(self) -> Session:
        return self

    def __exit__(self, *_: object) -> None:
        self.end()
